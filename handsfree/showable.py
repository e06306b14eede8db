"""Text as it may be shown: what comes from a plan, a log or a file name commands no terminal."""

from __future__ import annotations

import re

#: Controls but newline and tab, and signs that turn the direction of what follows.
_CONTROLS = (
    "\\x00-\\x08\\x0b-\\x1f\\x7f-\\x9f\u061c\u200e\u200f\u2028\u2029\u202a-\u202e\u2066-\u2069"
)
_COMMANDS = re.compile(f"[{_CONTROLS}\ud800-\udfff]")
INSTEAD = "\N{REPLACEMENT CHARACTER}"


def showable(text: str) -> str:
    """`text` with a sign in place of each character that a terminal would obey."""
    return _COMMANDS.sub(INSTEAD, text)


def escaped(json: str) -> str:
    """JSON text with each such character written as an escape; it says the same."""
    return _COMMANDS.sub(lambda found: f"\\u{ord(found[0]):04x}", json)


#: What a spreadsheet takes for a formula, where it stands first; a number may begin with a sign.
_FORMULA = re.compile(r"[=@\t\r]|[-+](?!\.?\d)|[-+].*[=+@|!(\"']", re.DOTALL)


def cell(value: object) -> object:
    """A value for a cell of a table; a text that would be a formula begins with an apostrophe."""
    if not isinstance(value, str):
        return value
    return f"'{showable(value)}" if _FORMULA.match(value) else showable(value)
