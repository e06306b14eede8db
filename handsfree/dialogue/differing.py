"""The difference of two readings under one condition, told on request."""

from __future__ import annotations

from decimal import Decimal

from handsfree.dialogue.desk import Desk
from handsfree.dialogue.session import Session
from handsfree.dialogue.turn import Turn
from handsfree.events import DifferenceTold, Entry, Spoke
from handsfree.meaning import Difference, Reading
from handsfree.meaning.plain import unit_symbol
from handsfree.units import Quantity, difference


def tell_difference(desk: Desk, session: Session, wanted: Difference) -> Turn:
    """Say the first less the second, and log it; or why there is no such difference."""
    say, plan = desk.say, desk.plan
    condition = session.condition or plan.conditions[0].id
    one, other = (plan.pin(label) for label in (wanted.first, wanted.second))
    names = {"one": desk.wording.pin(one), "other": desk.wording.pin(other)}
    if one is other:
        return Turn(session).then(Spoke(say("difference_same", **names)))
    read = [_read(desk, session, pin.number, condition) for pin in (one, other)]
    for pin, found in zip((one, other), read, strict=True):
        if not found:
            wire, said = desk.wording.pin(pin), plan.condition(condition).say
            missing = say("difference_missing", wire=wire, condition=said)
            return Turn(session).then(Spoke(missing))
    pairs = (
        ((a, first), (b, second))
        for a, first in read[0]
        for b, second in read[1]
        if first.is_compatible_with(second.units)
    )
    pair = next(pairs, None)
    if pair is None:
        return Turn(session).then(Spoke(say("difference_units", **names)))
    (a, first), (b, second) = pair
    less = difference(first, second)
    told = DifferenceTold(
        (one.wire, other.wire),
        (one.number, other.number),
        condition,
        (a.number, b.number),
        float(first.magnitude),
        float(second.m_as(first.units)),
        round(float(less.magnitude), 9),
        unit_symbol(first),
        wanted.drop,
    )
    key = "drop_is" if wanted.drop else "difference_is"
    value = desk.wording.quantity(first * 0 + less if less.check("[temperature]") else less,
                                  _exact(a, b, first, second))  # fmt: skip
    return Turn(session).then(told, Spoke(say(key, value=value, **names)))


def _read(desk: Desk, session: Session, pin: str, condition: str) -> list[tuple[Entry, Quantity]]:
    """The numbers that stand for a wire under a condition, the latest first."""
    return [
        (entry, entry.take.value)
        for entry in reversed(session.entries)
        if entry.stands
        and entry.condition == condition
        and desk.plan.step(entry.step).pins == (pin,)
        and isinstance(entry.take, Reading)
        and entry.take.value is not None
    ]


def _exact(one: Entry, other: Entry, first: Quantity, second: Quantity) -> Decimal | None:
    """The difference with the places that were spoken, where both were said in one unit."""
    a, b = one.take, other.take
    if not (isinstance(a, Reading) and isinstance(b, Reading)) or first.units != second.units:
        return None
    if a.number is None or b.number is None or a.minus_leads or b.minus_leads:
        return None
    return a.number - b.number
