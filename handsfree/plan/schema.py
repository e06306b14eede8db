"""The plan: what is to be probed, under which condition, and what is expected.

A plan is written in YAML (see `handsfree.plan.load`); these models say what it may hold
and are exported as a JSON Schema.  All models are frozen.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Any, Literal, Self

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    PlainSerializer,
    WithJsonSchema,
    model_validator,
)

from handsfree.units import KINDS, Quantity, parse_quantity, show, ureg

CircuitClass = Literal["plain", "airbag", "high_voltage", "fuel", "rotating"]
Kind = Literal[
    "voltage",
    "resistance",
    "current",
    "frequency",
    "temperature",
    "duty cycle",
    "share",
    "time",
    "capacitance",
]
StateName = Literal[
    "ground",
    "battery",
    "open",
    "continuity",
    "pulsing",
    "dead",
    "short to ground",
    "short to supply",
    "switches to supply",
    "switches to ground",
    "reverses",
    "unchanged",
]
Outcome = Literal["pass", "fail", "low", "high", "skipped"]

#: Circuits on which a resistance or continuity test is never prompted.
NO_OHMMETER: dict[str, str] = {
    "airbag": "the ohmmeter's test current can fire an igniter",
    "high_voltage": "an ohmmeter on a high-voltage circuit endangers life and meter",
}

COMMON_PRACTICE = "common practice, no published source"


def _quantity(value: Any) -> Any:
    if isinstance(value, ureg.Quantity):
        return value
    if isinstance(value, int | float):
        raise ValueError(f"{value} has no unit; write it as '{value} V', for example")
    if not isinstance(value, str):
        raise ValueError("write a number with a unit, such as '4.8 V'")
    return parse_quantity(value)


PlanQuantity = Annotated[
    Quantity,
    BeforeValidator(_quantity),
    PlainSerializer(show, return_type=str),
    WithJsonSchema({"type": "string", "examples": ["4.8 V", "120 Ω", "5 %"]}),
]
"""A number with a unit, such as "4.8 V"."""


class _Model(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True)


class Subject(_Model):
    """What is being tested, in the shop's own words."""

    vehicle: str = ""
    component: str = ""
    complaint: str = ""
    stored_code: str = ""
    live_value: str = ""


class Pin(_Model):
    """One pin of the connector and the wire in it."""

    number: int = Field(ge=0, description="pin (terminal) number as printed on the connector")
    colour: str = Field(description="main colour, a colour word of the grammar")
    stripe: str | None = Field(None, description="stripe colour, if there is one")
    function: str = Field(description="what the wire does, as it may be spoken")
    names: tuple[str, ...] = Field((), description="other spoken names")

    @property
    def wire(self) -> str:
        """The colours, as "red" or "red/white"."""
        return f"{self.colour}/{self.stripe}" if self.stripe else self.colour


class Connector(_Model):
    """The connector at which is probed."""

    name: str
    pins: tuple[Pin, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _numbers_differ(self) -> Self:
        numbers = [p.number for p in self.pins]
        if twice := sorted({n for n in numbers if numbers.count(n) > 1}):
            raise ValueError(f"pin {twice[0]} is listed twice")
        return self


class Condition(_Model):
    """Something the technician sets before a reading, such as "control at hot"."""

    id: str
    say: str = Field(description="how it is spoken")
    names: tuple[str, ...] = Field((), description="other ways to say it")
    caution: str = Field("", description="said when the condition is asked for")


class Accuracy(_Model):
    """A meter's accuracy: percent of reading plus counts of its last digit."""

    percent: float = Field(0.5, ge=0, description="percent of the reading")
    counts: float = Field(2, ge=0, description="counts of the last digit")
    resolution: PlanQuantity = Field(description="size of one count")


class Meter(_Model):
    """The meter in the technician's hand."""

    name: str = "digital multimeter"
    accuracy: dict[Kind, Accuracy] = Field(default_factory=dict)
    source: str = COMMON_PRACTICE


class Probe(_Model):
    """Where the two leads go."""

    red: str
    black: str
    how: str = Field("", description="how to hold or fit them, for the apprentice")


class Option(_Model):
    """One answer to an observation."""

    value: str
    names: tuple[str, ...] = Field((), description="ways to say it")


class Measure(_Model):
    """What is measured: exactly one of a quantity, a state or an observation."""

    quantity: Kind | None = None
    unit: str | None = Field(None, description="unit meant when none is spoken")
    states: tuple[StateName, ...] | None = None
    options: tuple[Option, ...] | None = Field(None, description="answers to an observation")

    @model_validator(mode="after")
    def _one(self) -> Self:
        given = [n for n in ("quantity", "states", "options") if getattr(self, n) is not None]
        if len(given) != 1:
            raise ValueError("give exactly one of quantity, states, options")
        if self.quantity:
            unit = self.unit or KINDS[self.quantity]
            try:
                right = ureg.Unit(unit).is_compatible_with(ureg.Unit(KINDS[self.quantity]))
            except Exception as error:
                raise ValueError(f"unknown unit {unit!r}") from error
            if not right:
                raise ValueError(f"{unit!r} is no unit of {self.quantity}")
        elif self.unit:
            raise ValueError("a unit belongs to a quantity")
        return self

    @property
    def base_unit(self) -> str:
        """The unit meant when none is spoken; empty if no quantity is measured."""
        return (self.unit or KINDS[self.quantity]) if self.quantity else ""


class Expect(_Model):
    """What is expected: exactly one of these forms.

    - `low` and/or `high`: limits;
    - `nominal` with `tolerance` (a quantity, or a percentage of the nominal);
    - `near` (id of an earlier step) with `within`: close to another reading;
    - `share_of` (id of an earlier step) with `low` and/or `high` in percent of it;
    - `over_range: true`: beyond the meter's range (an open circuit);
    - `state` (one or several that are right);
    - `answer` (one or several that are right).
    """

    low: PlanQuantity | None = None
    high: PlanQuantity | None = None
    nominal: PlanQuantity | None = None
    tolerance: PlanQuantity | None = None
    near: str | None = None
    within: PlanQuantity | None = None
    share_of: str | None = None
    over_range: bool = False
    state: StateName | tuple[StateName, ...] | None = None
    answer: str | tuple[str, ...] | None = None

    @model_validator(mode="after")
    def _one(self) -> Self:
        limits = self.low is not None or self.high is not None
        forms = [
            limits and self.share_of is None,
            self.nominal is not None,
            self.near is not None,
            self.share_of is not None,
            self.over_range,
            self.state is not None,
            self.answer is not None,
        ]
        if sum(map(bool, forms)) != 1:
            raise ValueError(
                "give exactly one of: low/high, nominal with tolerance, near with within, "
                "share_of with low/high, over_range, state, answer"
            )
        if (self.nominal is None) != (self.tolerance is None):
            raise ValueError("nominal and tolerance belong together")
        if (self.near is None) != (self.within is None):
            raise ValueError("near and within belong together")
        if self.share_of is not None and not limits:
            raise ValueError("share_of needs low or high in percent")
        if self.low is not None and self.high is not None:
            if not self.low.is_compatible_with(self.high):
                raise ValueError(f"{show(self.low)} and {show(self.high)} cannot be compared")
            if self.low > self.high:
                raise ValueError(f"low {show(self.low)} is above high {show(self.high)}")
        return self

    @property
    def states(self) -> tuple[str, ...]:
        """The states that are right."""
        return (self.state,) if isinstance(self.state, str) else self.state or ()

    @property
    def answers(self) -> tuple[str, ...]:
        """The answers that are right."""
        return (self.answer,) if isinstance(self.answer, str) else self.answer or ()

    @property
    def refers_to(self) -> str | None:
        """The step whose reading this one is compared with."""
        return self.near or self.share_of


class Step(_Model):
    """One test: prompt, probe, measure, compare, go on."""

    id: str = Field(pattern=r"^[a-z][a-z0-9_]*$")
    prompt: str = Field(description="what is said when the step begins")
    probe: Probe
    why: str
    wire: int | None = Field(None, description="pin number of the wire")
    wires: tuple[int, int] | None = Field(None, description="a pair: red lead, black lead")
    condition: str
    measure: Measure
    expect: Expect
    source: str = COMMON_PRACTICE
    caution: str = ""
    phase: Literal["test", "after_repair"] = "test"
    on_pass: str = Field("next", description="'next', 'finish' or the id of a step")
    on_fail: str = "next"
    on_skip: str = "next"

    @model_validator(mode="after")
    def _matching(self) -> Self:
        if self.wire is not None and self.wires is not None:
            raise ValueError("give wire or wires, not both")
        expect, measure = self.expect, self.measure
        if measure.states and not set(expect.states) <= set(measure.states):
            raise ValueError(f"expected state {expect.state!r} is not among the states measured")
        if measure.states and not expect.states:
            raise ValueError("a step that measures a state expects a state")
        if measure.options:
            values = {o.value for o in measure.options}
            if not expect.answers or not set(expect.answers) <= values:
                raise ValueError(f"expected answer must be one of {', '.join(sorted(values))}")
        if measure.quantity:
            if expect.states or expect.answers:
                raise ValueError("a step that measures a quantity expects a quantity")
            bounds = [expect.nominal, expect.within]
            if expect.share_of is None:
                bounds += [expect.low, expect.high]
            for bound in bounds:
                if bound is not None and not bound.is_compatible_with(ureg.Unit(measure.base_unit)):
                    raise ValueError(f"{show(bound)} is no {measure.quantity}")
        return self

    @property
    def pins(self) -> tuple[int, ...]:
        """Pin numbers that are probed."""
        return self.wires or (() if self.wire is None else (self.wire,))

    @property
    def needs_ohmmeter(self) -> bool:
        """Whether the meter drives a test current: resistance or continuity."""
        measure = self.measure
        return measure.quantity in ("resistance", "capacitance") or "continuity" in (
            measure.states or ()
        )


class Finding(_Model):
    """A rule: if these steps came out so, this part is at fault.

    The first finding whose every condition holds is the verdict.
    """

    part: str
    when: dict[str, Outcome | tuple[Outcome, ...]] = Field(
        min_length=1, description="step id: pass, fail, low, high or skipped"
    )
    say: str = Field(description="the verdict in a sentence")
    repair: str = Field("", description="what to do; defers to the maker's procedure")
    source: str = COMMON_PRACTICE


class Plan(_Model):
    """A complete test plan."""

    title: str
    language: str = "en"
    subject: Subject = Subject()
    cautions: tuple[str, ...] = ()
    circuit_class: CircuitClass = "plain"
    supply: PlanQuantity = Field(description="nominal supply voltage of the system")
    limits: dict[Kind, PlanQuantity] = Field(
        default_factory=dict, description="a larger value is absurd here and is asked back"
    )
    meter: Meter = Meter()
    connector: Connector
    conditions: tuple[Condition, ...] = Field(min_length=1)
    steps: tuple[Step, ...] = Field(min_length=1)
    findings: tuple[Finding, ...] = ()
    no_finding: str = Field(
        "No rule of this plan names a part. Look at the readings again.",
        description="said when no finding applies",
    )

    def step(self, step_id: str) -> Step:
        """The step of that id.

        Raises:
            KeyError: there is none.
        """
        for step in self.steps:
            if step.id == step_id:
                return step
        raise KeyError(step_id)

    def pin(self, number: int) -> Pin:
        """The pin of that number.

        Raises:
            KeyError: there is none.
        """
        for pin in self.connector.pins:
            if pin.number == number:
                return pin
        raise KeyError(number)

    def condition(self, condition_id: str) -> Condition:
        """The condition of that id.

        Raises:
            KeyError: there is none.
        """
        for condition in self.conditions:
            if condition.id == condition_id:
                return condition
        raise KeyError(condition_id)

    def problems(self) -> Iterator[tuple[tuple[str | int, ...], str]]:
        """Everything that is wrong between the parts: path of the field, message."""
        ids = [s.id for s in self.steps]
        pins = {p.number for p in self.connector.pins}
        conditions = {c.id for c in self.conditions}
        for index, step in enumerate(self.steps):
            here = ("steps", index)
            if step.id in ids[:index]:
                yield (*here, "id"), f"the step id {step.id!r} is used twice"
            for field in ("on_pass", "on_fail", "on_skip"):
                if getattr(step, field) not in ("next", "finish", *ids):
                    yield (*here, field), f"there is no step {getattr(step, field)!r}"
            for pin in step.pins:
                if pin not in pins:
                    field = "wire" if step.wire is not None else "wires"
                    yield (*here, field), f"the connector has no pin {pin}"
            if step.condition not in conditions:
                yield (*here, "condition"), f"there is no condition {step.condition!r}"
            refers = step.expect.refers_to
            if refers is not None and refers not in ids[:index]:
                field = "near" if step.expect.near else "share_of"
                yield (*here, "expect", field), f"{refers!r} is no earlier step"
            if self.circuit_class in NO_OHMMETER and step.needs_ohmmeter:
                yield (
                    (*here, "measure"),
                    f"refused: no resistance or continuity test on an {self.circuit_class} "
                    f"circuit ({NO_OHMMETER[self.circuit_class]}); follow the maker's procedure",
                )
        for index, finding in enumerate(self.findings):
            for step_id in finding.when:
                if step_id not in ids:
                    yield ("findings", index, "when", step_id), f"there is no step {step_id!r}"
