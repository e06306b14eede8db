"""What was meant, from the fields of a line.  `handsfree.meaning.plain` is the other way."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal, InvalidOperation
from typing import cast

from handsfree.events import fields
from handsfree.meaning import (
    Ambiguous,
    Aside,
    Command,
    Difference,
    Meaning,
    Note,
    Observation,
    Reading,
    Repair,
    Seen,
    SetCondition,
    Several,
    State,
    Take,
    Telling,
    Unclear,
    Understood,
    Unread,
)
from handsfree.meaning.meanings import AsideKind, OneValue, SeenShows, ToldOf
from handsfree.units import parse_quantity, quantity


def take_of(told: fields.MeaningFields) -> Take:
    """The take that was told.

    Raises:
        ValueError: it is no take.
    """
    match told.kind:
        case "state":
            shown = None if told.take is None else take_of(told.take)
            return State(str(told.value), told.pin, shown if isinstance(shown, Reading) else None)
        case "observation":
            return Observation(str(told.value), told.pin)
        case "reading":
            number = None if told.spoken is None else _spoken(told.spoken)
            value = None
            if not told.over_limit and isinstance(told.value, int | float):
                value = quantity(told.value, told.unit or "")
            leads = None if told.minus_leads is None else quantity(told.minus_leads, "Ω")
            how = told.form, told.unit_spoken, told.hold, leads
            return Reading(value, told.pin, number, *how)
    raise ValueError(f"{told.kind} is nothing that can be taken")


#: Places before or behind the point of a spoken number, at most.
MOST_PLACES = 30


def _spoken(text: str) -> Decimal:
    """The number with the places that were spoken.

    Raises:
        ValueError: it is none that anybody could say.
    """
    try:
        number = Decimal(text)
    except InvalidOperation as error:
        raise ValueError(f"{text!r} is no number") from error
    _, digits, exponent = number.as_tuple()
    if not isinstance(exponent, int) or max(len(digits), abs(exponent)) > MOST_PLACES:
        raise ValueError(f"{text[:40]!r} is no number that was spoken")
    return number


def takes_of(told: Sequence[fields.MeaningFields]) -> tuple[Take, ...]:
    """The takes that were told."""
    return tuple(map(take_of, told))


def meaning_told(told: fields.MeaningFields) -> Meaning:
    """The meaning that was told."""
    match told.kind:
        case "command":
            take = None if told.take is None else take_of(told.take)
            return Command(str(told.value), take, told.pin, told.choice, tuple(told.others))
        case "condition":
            return SetCondition(str(told.value))
        case "note":
            return Note(str(told.value))
        case "seen":
            reading = None if told.take is None else take_of(told.take)
            if not isinstance(reading, Reading | None):
                raise ValueError("what is seen has no value but a reading")
            return Seen(cast(SeenShows, told.value), reading, approximate=told.approximate)
        case "telling":
            return _telling(told)
        case "difference":
            first, second = told.others
            return Difference(first, second, drop=told.value == "drop")
        case "several":
            return Several(tuple(map(_one_of_several, told.candidates)), told.announced)
        case "ambiguous":
            return Ambiguous(takes_of(told.candidates), told.reason or "")
        case "aside":
            return Aside(cast(AsideKind, told.value), told.about)
        case "unclear":
            return Unclear(told.reason or "")
    return take_of(told)


def _one_of_several(told: fields.MeaningFields) -> OneValue:
    match told.kind:
        case "unread":
            return Unread(told.pin or "", cast(AsideKind, told.reason or "unknown"))
        case "ambiguous":
            return Ambiguous(takes_of(told.candidates), told.reason or "")
    return take_of(told)


def _telling(told: fields.MeaningFields) -> Telling:
    volts = told.told.get("volts")
    return Telling(
        cast(ToldOf, str(told.value)),
        told.pin,
        told.told.get("colour"),
        told.told.get("pin"),
        None if volts is None else parse_quantity(volts),
        tuple(_telling(one) for one in told.candidates),
    )


def understood_of(told: fields.UnderstoodFields) -> Understood:
    """What was understood."""
    repairs = tuple(Repair(one.heard, one.taken) for one in told.repairs)
    return Understood(meaning_told(told), told.text, repairs, float(told.share), told.by_gist)
