"""The plan: what is to be probed, under which condition, and what is expected.

A plan is written in YAML (see `handsfree.plan.load`); these models say what it may hold
and are exported as a JSON Schema.  All models are frozen.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field, PrivateAttr

from handsfree.circuit import Circuit, Meter
from handsfree.fields import (
    COMMON_PRACTICE,
    Colours,
    FieldPath,
    Identifier,
    OneOrSeveral,
    PinLabel,
    PlanModel,
    PlanQuantity,
    Spoken,
    Text,
    refuse,
)
from handsfree.plan.measure import (
    OHMMETER_KINDS,
    VOLTS_JACK_KINDS,
    Expect,
    Measure,
    Option,
    StateName,
)
from handsfree.units import KINDS, Kind, Quantity, fits, show

__all__ = [
    "COMMON_PRACTICE",
    "NO_OHMMETER",
    "CircuitClass",
    "Condition",
    "Expect",
    "Finding",
    "Measure",
    "Option",
    "Outcome",
    "Pin",
    "Pinout",
    "Plan",
    "Probe",
    "StateName",
    "Step",
    "Subject",
]

CircuitClass = Literal["plain", "airbag", "high_voltage", "fuel", "rotating"]
Outcome = Literal["pass", "fail", "low", "high", "skipped"]

#: Circuits on which a resistance or continuity test is never prompted.
NO_OHMMETER: dict[str, str] = {
    "airbag": "the ohmmeter's test current can fire an igniter",
    "high_voltage": "an ohmmeter on a high-voltage circuit endangers life and meter",
}


def _supply(supply: Quantity) -> Quantity:
    if not fits(supply, "V"):
        raise ValueError(f"{show(supply)} is no voltage")
    return supply


def _limits(limits: dict[Kind, Quantity]) -> dict[Kind, Quantity]:
    refuse(
        ((kind,), f"{show(limit)} is no {kind}")
        for kind, limit in limits.items()
        if not fits(limit, KINDS[kind])
    )
    return limits


class Subject(PlanModel):
    """What is being tested, in the shop's own words."""

    vehicle: str = ""
    component: str = ""
    complaint: str = ""
    stored_code: str = ""
    live_value: str = ""


class Pin(PlanModel):
    """One pin of the connector and the wire in it."""

    number: PinLabel = Field(description="pin (terminal) as printed on the connector")
    colour: Spoken = Field(description="main colour, a colour word of the grammar")
    stripe: Spoken | None = Field(None, description="stripe colour, if there is one")
    function: Spoken = Field(description="what the wire does, as it may be spoken")
    names: tuple[Spoken, ...] = Field((), description="other spoken names")

    @property
    def wire(self) -> str:
        """The colours, as "red" or "red/white"."""
        return f"{self.colour}/{self.stripe}" if self.stripe else self.colour


class Pinout(PlanModel):
    """The connector at which is probed: what is in each of its pins."""

    name: Text
    pins: tuple[Pin, ...] = Field(min_length=1)


class Condition(PlanModel):
    """Something the technician sets before a reading, such as "control at hot"."""

    id: Identifier
    say: Spoken = Field(description="how it is spoken")
    names: tuple[Spoken, ...] = Field((), description="other ways to say it")
    caution: str = Field("", description="said when the condition is asked for")


class Probe(PlanModel):
    """Where the two leads go."""

    red: Text
    black: Text
    how: str = Field("", description="how to hold or fit them, for the apprentice")


class Step(PlanModel):
    """One test: prompt, probe, measure, compare, go on."""

    id: Identifier
    prompt: Text = Field(description="what is said when the step begins")
    probe: Probe
    why: Text = Field(description="what the reading tells, for the apprentice")
    wire: PinLabel | None = Field(None, description="pin of the wire")
    wires: tuple[PinLabel, PinLabel] | None = Field(
        None, description="a pair: red lead, black lead"
    )
    condition: str
    measure: Measure
    expect: Expect
    source: Text = COMMON_PRACTICE
    caution: str = ""
    phase: Literal["test", "after_repair"] = "test"
    in_doubt: bool = Field(
        False,
        description="asked after all others, while no part is named: what tells most comes first",
    )
    on_pass: str = Field("next", description="'next', 'finish' or the id of a step")
    on_fail: str = "next"
    on_skip: str = "next"

    def contradictions(self) -> Iterator[tuple[FieldPath, str]]:
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
                if bound is not None and not fits(bound, KINDS[measure.quantity]):
                    yield ("expect", name), f"{show(bound)} is no {measure.quantity}"
        elif expect.nothing:
            return
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
    def pins(self) -> tuple[str, ...]:
        """Labels of the pins that are probed."""
        return self.wires or (() if self.wire is None else (self.wire,))

    @property
    def by_volts_jack(self) -> bool:
        """Whether the meter measures it with the lead in the jack for volts and ohms."""
        measure = self.measure
        return measure.states is not None or measure.quantity in VOLTS_JACK_KINDS

    @property
    def needs_ohmmeter(self) -> bool:
        """Whether the meter drives a test current: resistance or continuity."""
        measure = self.measure
        return measure.quantity in OHMMETER_KINDS or "continuity" in (measure.states or ())


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
    faults: tuple[str, ...] = Field(
        (), description="of the circuit: ids of faults for which these are the words"
    )
    source: Text = COMMON_PRACTICE

    def outcomes(self, step_id: str) -> tuple[str, ...]:
        """The outcomes of that step with which the rule agrees."""
        wanted = self.when[step_id]
        return (wanted,) if isinstance(wanted, str) else wanted


class Sweep(PlanModel):
    """The steps after the repair that together are a sweep of feedback against command.

    The limits at the two ends are those of their steps.
    """

    command: dict[str, PlanQuantity] = Field(
        min_length=2, description="step id to the command it is taken at, in percent"
    )
    hysteresis: PlanQuantity = Field(
        description="largest difference between the way up and the way down"
    )
    source: Text = COMMON_PRACTICE

    def contradictions(self) -> Iterator[tuple[FieldPath, str]]:
        """A command that is no percentage."""
        for step_id, command in self.command.items():
            if not command.dimensionless:
                yield ("command", step_id), f"{show(command)} is no percentage"


class Plan(PlanModel):
    """A complete test plan.

    `handsfree.plan.parse_plan` makes one from text, and also checks that its parts fit together.
    """

    title: Text
    language: str = "en"
    subject: Subject = Subject()
    cautions: tuple[str, ...] = ()
    circuit_class: CircuitClass = "plain"
    supply: Annotated[PlanQuantity, AfterValidator(_supply)] = Field(
        description="nominal supply voltage of the system"
    )
    limits: Annotated[dict[Kind, PlanQuantity], AfterValidator(_limits)] = Field(
        default_factory=dict, description="a larger value is absurd here and is asked back"
    )
    meter: Meter = Meter()
    colours: Colours = Field(default_factory=dict)
    connector: Pinout
    conditions: tuple[Condition, ...] = Field(min_length=1)
    steps: tuple[Step, ...] = Field(min_length=1)
    findings: tuple[Finding, ...] = ()
    sweep: Sweep | None = Field(None, description="the sweep after the repair, if there is one")
    circuit: Circuit | None = Field(
        None, description="what is wired to what, what may break, and what each step connects"
    )
    no_finding: str = Field(
        "No rule of this plan names a part. Look at the readings again.",
        description="said when no finding applies",
    )

    _described: Mapping[str, Any] | None = PrivateAttr(None)

    @property
    def described(self) -> Mapping[str, Any] | None:
        """The description that it was derived from, as plain data; None if it has none."""
        return self._described

    def derived_from(self, description: Mapping[str, Any]) -> Plan:
        """The plan, which knows its description."""
        self._described = description
        return self

    def step(self, step_id: str) -> Step:
        """The step of that id.

        Raises:
            KeyError: there is none.
        """
        for step in self.steps:
            if step.id == step_id:
                return step
        raise KeyError(step_id)

    def pin(self, label: str) -> Pin:
        """The pin of that label.

        Raises:
            KeyError: there is none.
        """
        for pin in self.connector.pins:
            if pin.number == label:
                return pin
        raise KeyError(label)

    def in_series(self, step: Step) -> bool:
        """Whether a step puts the meter into the circuit; what is not known to be a clamp does."""
        test = self.circuit.tests.get(step.id) if self.circuit else None
        return step.measure.quantity == "current" and not (test and test.clamp)

    def wires(self, step: Step) -> str | None:
        """The colours of what a step probes, as "red to black"; None if it probes no wire."""
        return " to ".join(self.pin(label).wire for label in step.pins) or None

    def condition(self, condition_id: str) -> Condition:
        """The condition of that id.

        Raises:
            KeyError: there is none.
        """
        for condition in self.conditions:
            if condition.id == condition_id:
                return condition
        raise KeyError(condition_id)
