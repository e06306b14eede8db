"""A plan as one description: the circuit, what can be set and reached, and a short story.

Steps, prompts, probing, limits, order, findings and the tests after the repair follow from it
(`handsfree.plan.derived`).  Each fact stands once: colours and pins in `loom` only.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, WithJsonSchema

from handsfree.circuit.faults import Word, WrongPin
from handsfree.circuit.parts import AnyPart
from handsfree.circuit.values import Amperes, Ohms, Seconds, Volts, parse_spread
from handsfree.plan.fields import FieldPath, Identifier, PlanModel, PlanQuantity, Spoken, Text
from handsfree.plan.schema import CircuitClass, Meter, Subject


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
    drives: Literal["high", "low", "both"] | None = None
    resistance: Ohms = Field(parse_spread("0.4 Ω ± 30 %", "Ω"), description="of a driver")

    def contradictions(self) -> Iterator[tuple[FieldPath, str]]:
        """None or several of them."""
        if sum(x is not None for x in (self.gives, self.reads, self.drives)) != 1:
            yield (), "give exactly one of gives, reads, drives"


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


class Reach(PlanModel):
    """A connector that a probe can get at, and what that costs."""

    say: Spoken
    minutes: Seconds
    by: Text = Field(description="what is done for it, such as 'trim off'")


class Setting(PlanModel):
    """Something that a person sets, and what it does to the parts."""

    say: Spoken
    names: tuple[Spoken, ...] = ()
    sets: dict[str, Word] = Field(default_factory=dict)
    after: Spoken | None = Field(None, description="the setting before it, in which things moved")
    by: str = Field("", description="what must be done once for it, such as 'link off'")
    minutes: Seconds = parse_spread("1 min", "s")
    caution: str = ""


class Look(PlanModel):
    """Something that is watched or moved by hand."""

    part: str
    ask: Text
    setting: Spoken | None = Field(None, description="ignition on, if not given")
    answers: tuple[Spoken, ...] = Field(min_length=2, max_length=4)
    by_hand: bool = False
    by: str = ""
    minutes: Seconds = parse_spread("1 min", "s")
    caution: str = ""


class Ask(PlanModel):
    """A question after the repair: the function that the customer missed."""

    ask: Text
    answer: Literal["yes", "no"] = "yes"
    setting: Spoken | None = None
    caution: str = ""


class Override(PlanModel):
    """What a person says otherwise than the circuit, and why."""

    reason: Text
    prompt: str | None = None
    low: PlanQuantity | None = None
    high: PlanQuantity | None = None
    leave_out: bool = False
    first: bool = Field(False, description="the first test of all")
    id: Identifier | None = None
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
    parts: dict[str, Annotated[Module | AnyPart, Field(discriminator="kind")]] = Field(min_length=1)
    loom: tuple[Strand, ...] = Field(min_length=1)
    reach: dict[Word, Reach] = Field(min_length=1, description="connector: where a probe gets")
    usual: dict[str, Word] = Field(
        default_factory=dict, description="part to its state unless a setting says otherwise"
    )
    settings: tuple[Setting, ...] = ()
    looks: tuple[Look, ...] = ()
    after: tuple[Ask, ...] = ()
    wrong_pins: tuple[WrongPin, ...] = ()
    override: dict[Identifier, Override] = Field(default_factory=dict)
