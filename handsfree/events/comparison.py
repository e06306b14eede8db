"""What a take was compared with, to the fields of a line and back."""

from __future__ import annotations

import re
from typing import Any

from handsfree.check import Comparison, Expected
from handsfree.events import fields
from handsfree.plan.schema import Step
from handsfree.units import Quantity, parse_quantity, quantity


def compared_fields(verdict: Comparison) -> fields.Compared:
    """What is written of a comparison; only what there is."""
    wanted = verdict.expected
    told: dict[str, Any] = {
        "low": _amount(wanted.low),
        "high": _amount(wanted.high),
        "over_limit": wanted.over_limit,
        "states": list(wanted.states),
        "answers": list(wanted.answers),
        "missing": wanted.missing,
        "relative_to": wanted.relative_to,
        "distance": _amount(verdict.distance),
    }
    return fields.Compared(**{name: value for name, value in told.items() if value})


def verdict_of_reading(line: fields.ReadingFields, step: Step) -> Comparison:
    """The comparison of a reading; without `compared` it is read from what is for people."""
    told = line.compared
    if told is None:
        distance = parse_quantity(line.distance) if line.distance else None
        return Comparison(line.verdict, line.outcome, _expected(line.expected, step), distance)
    wanted = Expected(
        low=_quantity(told.low),
        high=_quantity(told.high),
        over_limit=told.over_limit,
        states=tuple(told.states),
        answers=tuple(told.answers),
        missing=told.missing,
        relative_to=told.relative_to,
    )
    return Comparison(line.verdict, line.outcome, wanted, _quantity(told.distance))


def _expected(text: str, step: Step) -> Expected:
    """What `handsfree.check.written` has written."""
    other = step.expect.refers_to
    if missing := re.fullmatch(r"depends on (.+)", text):
        return Expected(missing=missing[1], relative_to=other)
    if text == "over limit":
        return Expected(over_limit=True)
    if step.measure.states:
        return Expected(states=tuple(text.split(" or ")))
    if step.measure.options:
        return Expected(answers=tuple(text.split(" or ")))
    low, high = None, None
    if both := re.fullmatch(r"(.+) to (.+)", text):
        low, high = map(parse_quantity, both.groups())
    elif least := re.fullmatch(r"at least (.+)", text):
        low = parse_quantity(least[1])
    elif most := re.fullmatch(r"at most (.+)", text):
        high = parse_quantity(most[1])
    return Expected(low, high, relative_to=other)


def _amount(value: Quantity | None) -> fields.Amount | None:
    if value is None:
        return None
    return fields.Amount(value=float(value.magnitude), unit=f"{value.units:D}")


def _quantity(told: fields.Amount | None) -> Quantity | None:
    return None if told is None else quantity(told.value, told.unit)
