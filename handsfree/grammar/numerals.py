"""From the number tags of a sentence to a number.

The tags work on a stack, so that one rule of arithmetic serves every language that
counts by adding and multiplying: "add N" pushes, "times N" multiplies what was pushed
since the last larger number.  Digits that are strung together are kept as text, so
that "point oh two" keeps its zeros and a reading keeps the places it was read to.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

Form = Literal[
    "plain", "written", "hundred left out", "point left out", "point left out late", "unit left out"
]

#: How much is left out of a number that is spoken in a form.
LEFT_OUT: dict[Form, int] = {
    "plain": 0,
    "written": 0,
    "hundred left out": 1,
    "point left out": 2,
    "point left out late": 3,
    "unit left out": 3,
}

#: Tags that `number_of` understands, by their first word.
NUMBER_TAGS = frozenset(
    {"numeral", "add", "times", "digit", "point", "gap", "late", "elided", "plus", "minus"}
)


@dataclass(frozen=True, slots=True)
class Number:
    """A number as it was spoken.

    Attributes:
        value: exact, with the decimal places that were spoken.
        form: "plain" if every part was spoken; else what has to be supplied.
    """

    value: Decimal
    form: Form = "plain"


def _times(stack: list[int], factor: int) -> None:
    total = 0
    while stack and stack[-1] < factor:
        total += stack.pop()
    stack.append((total or 1) * factor)


def number_of(tags: Iterable[str]) -> Number:
    """The number that `tags` describe.

    Raises:
        ValueError: they hold no number.
    """
    parts: list[str] = []  # whole part, then fraction, as digits
    stack: list[int] = []
    digits = ""
    extra = Decimal(0)
    negative = False
    form: Form = "plain"

    def flush() -> None:
        nonlocal digits
        parts.append(digits or (str(sum(stack)) if stack else ""))
        digits = ""
        stack.clear()

    for tag in tags:
        verb, _, argument = tag.partition(" ")
        match verb:
            case "add":
                stack.append(int(argument))
            case "times":
                _times(stack, int(argument))
            case "digit":
                digits += argument
            case "point":
                flush()
            case "gap":
                form = "point left out"
                flush()
            case "late":
                form = "point left out late"
                flush()
            case "elided":
                form = "hundred left out"
            case "plus":
                extra += Decimal(argument)
            case "minus":
                negative = True
            case "numeral":
                form = "written"
                whole, _, fraction = argument.partition(".")
                parts += [whole, fraction] if fraction else []
                digits = "" if fraction else whole
    if digits or stack:
        flush()
    if not any(parts) and not extra:
        raise ValueError("no number")
    text = (parts[0] if parts else "") or "0"
    value = Decimal(f"{text}.{parts[1]}" if len(parts) > 1 else text)
    value += extra
    return Number(-value if negative else value, form)
