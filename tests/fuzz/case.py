"""What a case is: an input, which is taken, or refused with a message for people."""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal

from handsfree.errors import HandsfreeError

Outcome = Literal["taken", "refused"]


def need(holds: object, what: str) -> None:
    """A case is lost unless this holds."""
    if not holds:
        raise AssertionError(what)


def tried(read: Callable[[], object], *errors: type[Exception]) -> Outcome:
    """Whether an input is taken.

    Args:
        read: reads it.
        errors: what it says that it raises, besides errors for people.
    """
    try:
        read()
    except (HandsfreeError, *errors) as error:
        need(str(error).strip(), "refused without a word")
        return "refused"
    return "taken"
