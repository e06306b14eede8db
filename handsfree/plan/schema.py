"""The plan: what is to be probed, under which condition, and what is expected.

A plan is written in YAML (see `handsfree.plan.load`); these models say what it may hold
and are exported as a JSON Schema.  All models are frozen.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from pydantic import Field

from handsfree.plan.fields import (
    Identifier,
    OneOrSeveral,
    Path,
    PlanModel,
    PlanQuantity,
    Spoken,
    Text,
)
from handsfree.units import KINDS, Quantity, quantity, show, ureg

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


def _fits(value: Quantity, unit: str) -> bool:
    return bool(value.is_compatible_with(ureg.Unit(unit)))


class Subject(PlanModel):
    """What is being tested, in the shop's own words."""

    vehicle: str = ""
    component: str = ""
    complaint: str = ""
    stored_code: str = ""
    live_value: str = ""


class Pin(PlanModel):
    """One pin of the connector and the wire in it."""

    number: int = Field(ge=0, description="pin (terminal) number as printed on the connector")
    colour: Spoken = Field(description="main colour, a colour word of the grammar")
    stripe: Spoken | None = Field(None, description="stripe colour, if there is one")
    function: Spoken = Field(description="what the wire does, as it may be spoken")
    names: tuple[Spoken, ...] = Field((), description="other spoken names")

    @property
    def wire(self) -> str:
        """The colours, as "red" or "red/white"."""
        return f"{self.colour}/{self.stripe}" if self.stripe else self.colour


class Connector(PlanModel):
    """The connector at which is probed."""

    name: Text
    pins: tuple[Pin, ...] = Field(min_length=1)


class Condition(PlanModel):
    """Something the technician sets before a reading, such as "control at hot"."""

    id: Identifier
    say: Spoken = Field(description="how it is spoken")
    names: tuple[Spoken, ...] = Field((), description="other ways to say it")
    caution: str = Field("", description="said when the condition is asked for")


class Accuracy(PlanModel):
    """A meter's accuracy: percent of reading plus counts of its last digit."""

    percent: float = Field(0.5, ge=0, description="percent of the reading")
    counts: float = Field(2, ge=0, description="counts of the last digit")
    resolution: PlanQuantity = Field(description="size of one count")


class Meter(PlanModel):
    """The meter in the technician's hand."""

    name: str = "digital multimeter"
    accuracy: dict[Kind, Accuracy] = Field(default_factory=dict)
    source: Text = COMMON_PRACTICE

    def contradictions(self) -> Iterator[tuple[Path, str]]:
        """A resolution that is not of its quantity."""
        for kind, accuracy in self.accuracy.items():
            if not _fits(accuracy.resolution, KINDS[kind]):
                path = ("accuracy", kind, "resolution")
                yield path, f"{show(accuracy.resolution)} is no {kind}"


class Probe(PlanModel):
    """Where the two leads go."""

    red: Text
    black: Text
    how: str = Field("", description="how to hold or fit them, for the apprentice")


class Option(PlanModel):
    """One answer to an observation."""

    value: Spoken
    names: tuple[Spoken, ...] = Field((), description="other ways to say it")


class Measure(PlanModel):
    """What is measured: exactly one of a quantity, a state or an observation."""

    quantity: Kind | None = None
    unit: str | None = Field(None, description="unit meant when none is spoken")
    states: tuple[StateName, ...] | None = Field(None, min_length=1)
    options: tuple[Option, ...] | None = Field(
        None, min_length=1, description="answers to an observation"
    )

    def contradictions(self) -> Iterator[tuple[Path, str]]:
        """None or several things measured; a unit that is not of the quantity."""
        given = [n for n in ("quantity", "states", "options") if getattr(self, n) is not None]
        if len(given) != 1:
            yield (), "give exactly one of quantity, states, options"
        elif self.unit and not self.quantity:
            yield ("unit",), "a unit belongs to a quantity"
        elif self.unit and self.quantity:
            try:
                fits = _fits(quantity(1, self.unit), KINDS[self.quantity])
            except ValueError as error:
                yield ("unit",), str(error)
            else:
                if not fits:
                    yield ("unit",), f"{self.unit!r} is no unit of {self.quantity}"

    @property
    def base_unit(self) -> str:
        """The unit meant when none is spoken; empty if no quantity is measured."""
        return (self.unit or KINDS[self.quantity]) if self.quantity else ""


class Expect(PlanModel):
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
    state: OneOrSeveral[StateName] | None = None
    answer: OneOrSeveral[str] | None = None

    def contradictions(self) -> Iterator[tuple[Path, str]]:
        """No form or several forms; halves of a form; limits the wrong way round."""
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
        if sum(forms) != 1:
            yield (
                (),
                "give exactly one of: low/high, nominal with tolerance, near with within, "
                "share_of with low/high, over_range, state, answer",
            )
        if (self.nominal is None) != (self.tolerance is None):
            yield (), "nominal and tolerance belong together"
        elif self.nominal is not None and self.tolerance is not None:
            width = self.tolerance
            if not width.dimensionless and not width.is_compatible_with(self.nominal):
                yield ("tolerance",), f"{show(width)} is neither a percentage nor of {self.nominal}"
        if (self.near is None) != (self.within is None):
            yield (), "near and within belong together"
        if self.share_of is not None:
            if not limits:
                yield (), "share_of needs low or high in percent"
            for name in ("low", "high"):
                bound = getattr(self, name)
                if bound is not None and not bound.dimensionless:
                    yield (name,), f"{show(bound)} is no share; write a percentage, such as '80 %'"
        if self.low is not None and self.high is not None:
            if not self.low.is_compatible_with(self.high):
                yield (), f"{show(self.low)} and {show(self.high)} cannot be compared"
            elif self.low > self.high:
                yield (), f"low {show(self.low)} is above high {show(self.high)}"

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


class Step(PlanModel):
    """One test: prompt, probe, measure, compare, go on."""

    id: Identifier
    prompt: Text = Field(description="what is said when the step begins")
    probe: Probe
    why: Text = Field(description="what the reading tells, for the apprentice")
    wire: int | None = Field(None, description="pin number of the wire")
    wires: tuple[int, int] | None = Field(None, description="a pair: red lead, black lead")
    condition: str
    measure: Measure
    expect: Expect
    source: Text = COMMON_PRACTICE
    caution: str = ""
    phase: Literal["test", "after_repair"] = "test"
    on_pass: str = Field("next", description="'next', 'finish' or the id of a step")
    on_fail: str = "next"
    on_skip: str = "next"

    def contradictions(self) -> Iterator[tuple[Path, str]]:
        """A wire and a pair; an expectation that is not of what is measured."""
        if self.wire is not None and self.wires is not None:
            yield ("wires",), "give wire or wires, not both"
        expect, measure = self.expect, self.measure
        if measure.quantity:
            if expect.states or expect.answers:
                yield ("expect",), "a step that measures a quantity expects a quantity"
            bounds = ["nominal", "within"] + ["low", "high"] * (expect.share_of is None)
            for name in bounds:
                bound = getattr(expect, name)
                if bound is not None and not _fits(bound, KINDS[measure.quantity]):
                    yield ("expect", name), f"{show(bound)} is no {measure.quantity}"
        elif measure.states and not expect.states:
            yield ("expect",), "a step that measures a state expects a state"
        elif measure.options and not expect.answers:
            yield ("expect",), "a step that observes expects an answer"
        for state in expect.states:
            if state not in (measure.states or (state,)):
                yield ("expect", "state"), f"{state!r} is not among the states measured"
        values = [option.value for option in measure.options or ()]
        for answer in expect.answers:
            if values and answer not in values:
                yield ("expect", "answer"), f"{answer!r} is not among: {', '.join(values)}"

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


class Finding(PlanModel):
    """A rule: if these steps came out so, this part is at fault.

    The first finding whose every condition holds is the verdict.
    """

    part: Text
    when: dict[str, OneOrSeveral[Outcome]] = Field(
        min_length=1,
        description="step id: pass, fail, low, high or skipped; low and high are fails as well",
    )
    say: Text = Field(description="the verdict in a sentence")
    repair: str = Field("", description="what to do; defers to the maker's procedure")
    source: Text = COMMON_PRACTICE

    def outcomes(self, step_id: str) -> tuple[str, ...]:
        """The outcomes of that step with which the rule agrees."""
        wanted = self.when[step_id]
        return (wanted,) if isinstance(wanted, str) else wanted


class Plan(PlanModel):
    """A complete test plan."""

    title: Text
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

    def contradictions(self) -> Iterator[tuple[Path, str]]:
        """A supply that is no voltage; a limit that is not of its quantity."""
        if not _fits(self.supply, "V"):
            yield ("supply",), f"{show(self.supply)} is no voltage"
        for kind, limit in self.limits.items():
            if not _fits(limit, KINDS[kind]):
                yield ("limits", kind), f"{show(limit)} is no {kind}"

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
