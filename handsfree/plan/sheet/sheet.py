"""The sheet as it is written, and the plan that it comes to, step by step."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Annotated, Any, get_args

from pydantic import BeforeValidator, Field, WithJsonSchema

from handsfree.circuit import Meter
from handsfree.fields import (
    COMMON_PRACTICE,
    Colours,
    FieldPath,
    PinLabel,
    PlanModel,
    PlanQuantity,
    Spoken,
    Text,
)
from handsfree.plan.adapted import own_wire
from handsfree.plan.derived.wiring import Data
from handsfree.plan.derived.wording import spoken
from handsfree.plan.measure import StateName
from handsfree.plan.schema import CircuitClass, Subject
from handsfree.units import KINDS, Kind, Quantity, kind_of, parse_quantity, show

_TO = re.compile(r"\s+to\s+")
_NO_WORD = re.compile(r"[^a-z0-9]+")
#: How a sheet writes that the meter shows beyond its range.
_OVER = "over limit"
_STATES: tuple[str, ...] = get_args(StateName)


class SheetWire(PlanModel):
    """A wire by what it looks like and where it is."""

    colour: Text = Field(description="main colour, with its stripe: white/green")
    pin: PinLabel

    def contradictions(self) -> Iterator[tuple[FieldPath, str]]:
        """More colours than a wire has."""
        if self.colour.count("/") > 1 or not all(self.colour.split("/")):
            yield ("colour",), f"{self.colour!r} is no colour; write white, or white/green"


class SheetCondition(PlanModel):
    """Something that a person sets before a reading."""

    say: Spoken
    names: tuple[Spoken, ...] = ()
    caution: str = ""


def _condition(value: Any) -> Any:
    return {"say": value} if isinstance(value, str) else value


class SheetTest(PlanModel):
    """What a wire reads under a condition, or only what is measured there."""

    pin: PinLabel
    condition: Spoken
    expect: str = Field("", description="4.73 V to 5.23 V; over limit; or a state, such as ground")
    quantity: Kind | None = Field(None, description="what is measured, where nothing is expected")

    def contradictions(self) -> Iterator[tuple[FieldPath, str]]:
        """What is expected cannot be read."""
        try:
            measured(self)
        except ValueError as error:
            yield ("expect",), str(error)


class Sheet(PlanModel):
    """A plan of wires and readings."""

    title: Text
    free: bool = Field(False, description="it grows while it is dictated, and nothing is expected")
    language: str = "en"
    source: Text = COMMON_PRACTICE
    subject: Subject = Subject()
    cautions: tuple[str, ...] = ()
    circuit_class: CircuitClass = "plain"
    supply: PlanQuantity
    limits: dict[str, PlanQuantity] = Field(default_factory=dict)
    meter: Meter = Meter()
    colours: Colours = Field(default_factory=dict)
    wires: tuple[
        Annotated[
            SheetWire,
            BeforeValidator(own_wire),
            WithJsonSchema({"type": ["string", "object"], "examples": ["white/green pin 4"]}),
        ],
        ...,
    ]
    conditions: tuple[
        Annotated[
            SheetCondition,
            BeforeValidator(_condition),
            WithJsonSchema({"type": ["string", "object"], "examples": ["ignition on"]}),
        ],
        ...,
    ] = Field(min_length=1)
    tests: tuple[SheetTest, ...] = ()

    def contradictions(self) -> Iterator[tuple[FieldPath, str]]:
        """Tests of wires or under conditions that are not there; a plan that says nothing."""
        pins = [wire.pin for wire in self.wires]
        says = [one.say for one in self.conditions]
        for index, test in enumerate(self.tests):
            if test.pin not in pins:
                yield ("tests", index, "pin"), f"no wire is at pin {test.pin}"
            if test.condition not in says:
                known = ", ".join(says)
                yield ("tests", index, "condition"), f"{test.condition!r} is not among: {known}"
            if not (self.free or test.expect):
                yield ("tests", index), "expect is missing"
        if not self.free and not self.tests:
            yield ("tests",), "has too few entries"


def is_sheet(data: object) -> bool:
    """Whether plain data is a plan of wires and readings."""
    known = isinstance(data, dict) and "wires" in data and "conditions" in data
    return known and not {"loom", "like", "steps"} & set(data)  # type: ignore[call-overload]


def written_out(sheet: Sheet) -> Data:
    """The plan of a sheet with every step, as plain data."""
    by_pin = {wire.pin: wire for wire in sheet.wires}
    shared = {"title", "language", "cautions", "circuit_class", "supply", "limits", "colours"}
    return sheet.model_dump(include=shared) | {
        "subject": sheet.subject,
        "meter": sheet.meter,
        "connector": {
            "name": "the wires as they were told",
            "pins": list(map(sheet_pin, sheet.wires)),
        },
        "conditions": list(map(sheet_condition, sheet.conditions)),
        "no_finding": "This plan is one of wires and readings; it names no part.",
        "steps": [sheet_step(one, by_pin[one.pin], sheet.source) for one in sheet.tests],
    }


def in_sheet(path: FieldPath) -> FieldPath:
    """Where a field of the plan that is written out stands in the sheet."""
    match path:
        case ("steps", int(place), *_):
            return ("tests", place)
        case ("connector", "pins", int(place), *_):
            return ("wires", place)
    return path


def sheet_pin(wire: SheetWire) -> Data:
    """The wire as a pin of the plan, called after its place."""
    colour, _, stripe = wire.colour.partition("/")
    function = f"pin {spoken(wire.pin.lower())}"
    return {
        "number": wire.pin,
        "colour": colour,
        "stripe": stripe or None,
        "function": function,
    }


def sheet_condition(one: SheetCondition) -> Data:
    """The condition with its id."""
    return {"id": identifier(one.say), "say": one.say, "names": one.names, "caution": one.caution}


def identifier(*words: str) -> str:
    """A name for reference made of words."""
    return "_".join(_NO_WORD.sub("_", word.lower()).strip("_") for word in words if word)


def measured(one: SheetTest) -> tuple[Data, Data]:
    """What is measured at a test, and what is expected of it.

    Raises:
        ValueError: it is neither a range, nor a state, nor "over limit".
    """
    said = one.expect.strip()
    if said == _OVER:
        return {"quantity": "resistance"}, {"over_range": True}
    if said in _STATES:
        return {"states": _STATES}, {"state": said}
    if not said:
        how = {"quantity": one.quantity} if one.quantity else {"states": _STATES}
        return how, {"nothing": True}
    ends = list(map(_quantity, _TO.split(said)))
    kind = one.quantity or kind_of(ends[0])
    if len(ends) != 2 or kind is None:
        raise ValueError(
            f"{said!r} is no range; write '4.8 V to 5.2 V', 'over limit', or a state: "
            f"{', '.join(_STATES)}"
        )
    unit = f"{ends[0].units:~P}".replace("Δ", "")
    base = {} if unit == KINDS[kind] else {"unit": unit}
    return {"quantity": kind, **base}, {"low": show(ends[0]), "high": show(ends[1])}


def _quantity(text: str) -> Quantity:
    return parse_quantity(text)


def sheet_step(one: SheetTest, wire: SheetWire, source: str) -> Data:
    """The step of a test."""
    how, expect = measured(one)
    kind = how.get("quantity", "state")
    more = "" if kind == "voltage" else kind
    where = f"{wire.colour.replace('/', ' with ')}{' stripe' * ('/' in wire.colour)}"
    return {
        "id": identifier(wire.colour, wire.pin, one.condition, more),
        "prompt": f"{where.capitalize()}, pin {wire.pin}, {one.condition}.",
        "probe": {
            "red": f"{where}, pin {wire.pin}",
            "black": "as it was held when this was read first",
        },
        "why": f"It shows what {where} has with {one.condition}.",
        "wire": wire.pin,
        "condition": identifier(one.condition),
        "measure": how,
        "expect": expect,
        "source": source,
    }
