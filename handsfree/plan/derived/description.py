"""A plan as one description: the circuit, what can be set and reached, and a short story.

Steps, prompts, probing, limits, order, findings and the tests after the repair follow from it
(`handsfree.plan.derived`).  Each fact stands once: colours and pins in `loom` only.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property
from typing import Annotated, Any, ClassVar, Literal

from pydantic import BeforeValidator, Field, WithJsonSchema

from handsfree.circuit.faults import Word, WrongPin
from handsfree.circuit.meter import Meter
from handsfree.circuit.parts import AnyPart
from handsfree.circuit.values import Amperes, Kelvins, Ohms, Seconds, Volts, parse_spread
from handsfree.fields import (
    Colours,
    FieldPath,
    Identifier,
    PlanModel,
    PlanQuantity,
    Spoken,
    Text,
)
from handsfree.plan.measure import AtTemperature
from handsfree.plan.schema import CircuitClass, Finding, Subject


class Run(PlanModel):
    """A wire by length and gauge: "5 m 0.5 mm2"."""

    length: str
    gauge: str


def _run(value: Any) -> Any:
    if not isinstance(value, str):
        return value
    words = value.split()
    if len(words) != 4:
        raise ValueError(f"{value!r} is no wire; write its length and gauge, '5 m 0.5 mm2'")
    return {"length": " ".join(words[:2]), "gauge": " ".join(words[2:])}


WireRun = Annotated[
    Run,
    BeforeValidator(_run),
    WithJsonSchema({"type": "string", "examples": ["5 m 0.5 mm2", "2 m 18 AWG"]}),
]
"""A wire by length and gauge, written in one text."""


class ModulePin(PlanModel):
    """What a module does at one pin: exactly one of these."""

    gives: Volts | Literal["ground"] | None = Field(None, description="a voltage, or 'ground'")
    reads: Literal["pulled down", "pulled up", "floating"] | None = None
    by: Ohms = Field(parse_spread("100 kΩ ± 10 %", "Ω"), description="the pull of an input")
    to: Volts | None = Field(None, description="what an input is pulled up to, if not to supply")
    drives: Literal["high", "low", "both"] | None = None
    resistance: Ohms = Field(parse_spread("0.4 Ω ± 30 %", "Ω"), description="of a driver")

    def contradictions(self) -> Iterator[tuple[FieldPath, str]]:
        """None or several of them."""
        if sum(x is not None for x in (self.gives, self.reads, self.drives)) != 1:
            yield (), "give exactly one of gives, reads, drives"
        if self.to is not None and self.reads != "pulled up":
            yield ("to",), "only an input that is pulled up is pulled up to something"


class Module(PlanModel):
    """A control module: supply and earth with their faults, what it takes, what its pins do."""

    kind: Literal["module"]
    say: str = ""
    fuse: Amperes | None = Field(None, description="rating of its fuse")
    feed: WireRun = Run(length="3 m", gauge="1 mm2")
    earth: WireRun = Run(length="1 m", gauge="1.5 mm2")
    switched_by: str | None = Field(None, description="a switch, such as the ignition")
    takes: Amperes = Field(parse_spread("0.15 A ± 50 %", "A"), description="while it is awake")
    works_from: Volts = parse_spread("6 V", "V")
    pins: dict[Word, ModulePin] = Field(default_factory=dict)


class Jumper(PlanModel):
    """A lead that is put in by hand for a test: no part of the vehicle, and never broken."""

    kind: Literal["jumper"]
    between: tuple[Word, Word]

    probing: ClassVar[str] = "Use a jumper with fitting terminals and never a paper clip."
    cautions: ClassVar[tuple[str, ...]] = (
        "A jumper carries the full current of the load. Use one with a fuse of the circuit.",
    )


class Strand(PlanModel):
    """One wire of the loom: where it goes, what it is called, what it looks like.

    An end is "CONNECTOR PIN", such as "sensor 2", or a node of the circuit, such as "battery
    minus".  The connector of the end `to` is the one at which is probed.
    """

    name: Spoken = Field(description="what the wire does")
    start: Word = Field(alias="from")
    to: Word
    wire: WireRun
    colour: str = Field(description="a colour of the grammar, with its stripe: green/white")
    names: tuple[Spoken, ...] = ()
    current: Literal["clamp", "in series"] | None = Field(
        None, description="how its current is measured, if it is"
    )


class Reach(PlanModel):
    """What a probe can get at, and what that costs: a connector, a part of a line, or a node.

    At a connector every pin is probed, across a part (fuse, relay contact) what is lost in it, at
    a node (the body) its voltage.
    """

    say: Spoken
    minutes: Seconds
    by: Text = Field(description="what is done for it, such as 'trim off'")
    apart: Spoken | None = Field(
        None,
        description="spoken while it is taken apart, or a fuse is out; 'connector unplugged' or "
        "'fuse out', if not given; of several fuses each by its name",
    )
    apart_names: tuple[Spoken, ...] = ()
    contact: Ohms | None = Field(None, description="of each contact, if it is no small one")
    call: Spoken = Field("pin", description="what a pin is called: 'terminal'")
    at: dict[Word, Word] = Field(
        default_factory=dict,
        description="pin to its node, at posts or a socket, where nothing is unplugged",
    )


class Setting(PlanModel):
    """Something that a person sets, and what it does to the parts."""

    say: Spoken
    names: tuple[Spoken, ...] = ()
    sets: dict[str, Word] = Field(default_factory=dict)
    after: Spoken | None = Field(None, description="the setting before it, in which things moved")
    by: str = Field("", description="what must be done once for it, such as 'link off'")
    minutes: Seconds = parse_spread("1 min", "s")
    how: str = Field(
        "", description="what to mind while it is read, such as 'Wait until it stops.'"
    )
    command: PlanQuantity | None = Field(None, description="its place in a sweep, in percent")
    caution: str = ""


class Look(PlanModel):
    """Something that is watched or moved by hand, or that a module shows of what it reads.

    `part` is a part that can be watched, or a module's pin, such as "module 1": the answer is yes
    if what the module reads there is right.
    """

    part: str
    ask: Text
    id: Identifier | None = None
    setting: Spoken | None = Field(None, description="the working setting, if not given")
    answers: tuple[Spoken, ...] = Field(("yes", "no"), min_length=2, max_length=4)
    names: dict[Spoken, tuple[Spoken, ...]] = Field(
        default_factory=dict, description="answer to other ways to say it"
    )
    by_hand: bool = False
    by: str = ""
    how: str = ""
    minutes: Seconds = parse_spread("1 min", "s")
    caution: str = ""


class Ask(PlanModel):
    """A question that no circuit answers: before the tests, or of the function after the repair."""

    ask: Text
    id: Identifier | None = None
    answer: Literal["yes", "no"] = "yes"
    names: dict[Spoken, tuple[Spoken, ...]] = Field(default_factory=dict)
    setting: Spoken | None = None
    wire: Spoken | None = Field(None, description="in which the meter is, if it is asked of that")
    temperature: Kelvins | None = Field(
        None, description="what a thermometer may show, if it is read instead of yes or no"
    )
    how: str = ""
    caution: str = ""
    source: str = ""


class Override(PlanModel):
    """What a person says otherwise than the circuit, and why."""

    reason: Text
    prompt: str | None = None
    low: PlanQuantity | None = None
    high: PlanQuantity | None = None
    by: Identifier | None = Field(None, description="the test that reads a temperature first")
    points: tuple[AtTemperature, ...] = Field((), description="limits by that temperature, rising")
    leave_out: bool = False
    first: bool = Field(False, description="the first test of all")
    also: tuple[Identifier, ...] = Field((), description="other tests of which the same is said")
    stop: bool = Field(False, description="no test after it, if it fails")
    how: str | None = None
    caution: str | None = None


class Description(PlanModel):
    """A plan from which all else is derived."""

    title: Text
    language: str = "en"
    subject: Subject = Subject()
    function: Text = Field(description="what the circuit is there for, in a sentence")
    cautions: tuple[str, ...] = ()
    circuit_class: CircuitClass = "plain"
    supply: PlanQuantity
    limits: dict[str, PlanQuantity] = Field(default_factory=dict)
    meter: Meter = Meter()
    colours: Colours = Field(default_factory=dict)
    parts: dict[str, Annotated[Module | Jumper | AnyPart, Field(discriminator="kind")]] = Field(
        min_length=1
    )
    loom: tuple[Strand, ...] = Field(min_length=1)
    reach: dict[Word, Reach] = Field(min_length=1, description="connector: where a probe gets")
    ground_pin: Word | None = Field(
        None, description="pin of the socket against which the others are read"
    )
    pairs: tuple[tuple[Word, Word], ...] = Field(
        (), description="nodes between which is read as well, such as a pair of bus wires"
    )
    working: Setting | None = Field(
        None, description="the setting in which it works; ignition on, if not given"
    )
    usual: dict[str, Word] = Field(
        default_factory=dict, description="part to its state unless a setting says otherwise"
    )
    settings: tuple[Setting, ...] = ()
    looks: tuple[Look, ...] = ()
    checks: tuple[Ask, ...] = Field((), description="what is asked first and no circuit answers")
    main_line: tuple[Identifier, ...] = Field(
        (), description="the tests that are made first, in this order; the others follow while "
        "they tell something; all of them, if not given"
    )  # fmt: skip
    again: tuple[Identifier, ...] | None = Field(
        None, description="tests that are made again after the repair; those that settings move, "
        "if not given"
    )  # fmt: skip
    after: tuple[Ask, ...] = ()
    repairs: dict[str, Text] = Field(
        default_factory=dict, description="what is replaced to what is done for it"
    )  # fmt: skip
    hysteresis: PlanQuantity | None = Field(
        None, description="of the sweep after the repair, whose settings have a command"
    )
    findings: tuple[Finding, ...] = Field((), description="what no circuit computes")
    wrong_pins: tuple[WrongPin, ...] = ()
    override: dict[Identifier, Override] = Field(default_factory=dict)

    @cached_property
    def overrides(self) -> dict[str, Override]:
        """What is said by hand of each test."""
        more = {other: one for one in self.override.values() for other in one.also}
        return more | self.override
