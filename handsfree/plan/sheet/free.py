"""The plan of a free job: it grows by what is told, a piece of a sheet at a time."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pydantic import Field

from handsfree.fields import Identifier, PinLabel, PlanModel
from handsfree.plan.schema import Condition, Pin, Pinout, Plan, Step
from handsfree.plan.sheet.sheet import (
    Sheet,
    SheetCondition,
    SheetTest,
    SheetWire,
    sheet_condition,
    sheet_pin,
    sheet_step,
)
from handsfree.units import Kind

#: Wires, conditions and tests of a free job, at most: more than anybody names by voice.
MOST_WIRES, MOST_CONDITIONS, MOST_TESTS = 300, 300, 3000


class _Pinout(Pinout):
    pins: tuple[Pin, ...] = ()


class FreePlan(Plan):
    """A plan in which nothing is expected; it may have no wire and no step yet."""

    connector: _Pinout
    steps: tuple[Step, ...] = ()


class _More(PlanModel):
    """A piece of a sheet that is told while it is dictated."""

    wires: tuple[SheetWire, ...] = ()
    conditions: tuple[SheetCondition, ...] = ()
    tests: tuple[SheetTest, ...] = ()
    without: tuple[PinLabel, ...] = Field((), description="wires that were told wrongly")


def grown(plan: FreePlan, more: Mapping[str, Any]) -> FreePlan:
    """The plan with what was told.

    Raises:
        ValueError: that is no piece of a sheet, or a wire, condition or test is there already, or
            what a test names is not.
    """
    told = _More.model_validate(dict(more))
    tested = {label for one in plan.steps for label in one.pins}
    if unknown := [one for one in told.without if one in tested or one not in _labels(plan)]:
        raise ValueError(f"pin {unknown[0]} has tests, or is not there")
    pins = tuple(one for one in plan.connector.pins if one.number not in told.without)
    pins += tuple(Pin.model_validate(sheet_pin(wire)) for wire in told.wires)
    conditions = plan.conditions
    conditions += tuple(Condition.model_validate(sheet_condition(one)) for one in told.conditions)
    by_pin = {one.number: SheetWire(colour=one.wire, pin=one.number) for one in pins}
    steps = plan.steps + tuple(_step(one, by_pin, conditions) for one in told.tests)
    for names, most in (
        ([one.number.upper() for one in pins], MOST_WIRES),
        ([one.id for one in conditions], MOST_CONDITIONS),
        ([one.id for one in steps], MOST_TESTS),
    ):
        if len(set(names)) < len(names) or len(names) > most:
            raise ValueError("a wire, a condition or a test is told twice, or there are too many")
    connector = plan.connector.model_copy(update={"pins": pins})
    update = {"connector": connector, "conditions": conditions, "steps": steps}
    return plan.model_copy(update=update)


def _labels(plan: Plan) -> set[str]:
    return {one.number for one in plan.connector.pins}


def _step(
    one: SheetTest, wires: Mapping[str, SheetWire], conditions: tuple[Condition, ...]
) -> Step:
    if one.pin not in wires or one.condition not in {known.say for known in conditions}:
        raise ValueError(f"a test names pin {one.pin} or {one.condition!r}, which is not there")
    source = Sheet.model_fields["source"].default
    return Step.model_validate(sheet_step(one, wires[one.pin], source))


def test_of(plan: Plan, label: str, condition_id: Identifier, quantity: Kind | None) -> Step | None:
    """The test of a wire under a condition: of a quantity, or of a state; None if there is none."""
    return next(
        (
            one
            for one in plan.steps
            if one.wire == label
            and one.condition == condition_id
            and one.measure.quantity == quantity
        ),
        None,
    )
