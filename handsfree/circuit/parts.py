"""The parts of a circuit, as they are written in a plan."""
# ruff: noqa: D102 - what the methods do is said once, in `elements.Part`

from __future__ import annotations

from functools import cached_property
from typing import Annotated, ClassVar, Literal, Self

from pydantic import Field, model_validator

from handsfree.circuit.elements import OPEN, Branch, Curve, Pair, Part, States
from handsfree.circuit.faults import Word
from handsfree.circuit.physics.copper import wire_resistance
from handsfree.circuit.values import (
    Amperes,
    Gauge,
    Kelvins,
    Metres,
    Ohms,
    Share,
    Spread,
    Volts,
    Watts,
    parse_spread,
)


class _TwoTerminal(Part):
    between: Pair

    def _one(self, ohms: Spread, volts: Spread | None = None) -> tuple[Branch, ...]:
        return (Branch("", *self.between, ohms, volts),)


class Resistor(_TwoTerminal):
    """A resistance: resistor, heater, coil, module input."""

    kind: Literal["resistor"]
    resistance: Ohms

    def branches(self, name: str) -> tuple[Branch, ...]:
        return self._one(self.resistance)


class Fuse(_TwoTerminal):
    """A fuse."""

    kind: Literal["fuse"]
    resistance: Ohms = parse_spread("5 mΩ ± 20 %", "Ω")

    def branches(self, name: str) -> tuple[Branch, ...]:
        return self._one(self.resistance)


class Wire(_TwoTerminal):
    """A copper wire: `length` and `gauge`, or its `resistance`."""

    kind: Literal["wire"]
    length: Metres | None = None
    gauge: Gauge | None = None
    temperature: Kelvins = parse_spread("20 °C ± 20 °C", "K")
    resistance: Ohms | None = None

    @model_validator(mode="after")
    def _known(self) -> Self:
        if self.resistance is None and (self.length is None or self.gauge is None):
            raise ValueError("a wire needs its length and gauge, or its resistance")
        return self

    @cached_property
    def ohms(self) -> Spread:
        """Its resistance (IEC 60028)."""
        if self.resistance is not None:
            return self.resistance
        assert self.length is not None
        assert self.gauge is not None
        length, temperature = self.length, self.temperature
        nominal, low, high = (
            float(wire_resistance(self.gauge.quantity, run, t).to("ohm").magnitude)
            for run, t in (
                (length.quantity, temperature.quantity),
                *zip(length.limits, temperature.limits, strict=True),
            )
        )
        return Spread(nominal, low, high, "Ω")

    def branches(self, name: str) -> tuple[Branch, ...]:
        return self._one(self.ohms)


class Source(_TwoTerminal):
    """A voltage with its inner resistance: battery, alternator, reference; first node plus."""

    kind: Literal["source"]
    voltage: Volts
    resistance: Ohms

    modes: ClassVar[frozenset[str]] = frozenset({"weak", "stuck"})

    def branches(self, name: str) -> tuple[Branch, ...]:
        return self._one(self.resistance, self.voltage)

    def states(self) -> States:
        return {"on": {}, "off": {"": OPEN}}


class Connector(Part):
    """A connector: pin number to the two nodes that it joins."""

    kind: Literal["connector"]
    pins: dict[Word, Pair] = Field(min_length=1)
    contact: Ohms = parse_spread("5 mΩ ± 50 %", "Ω")

    modes: ClassVar[frozenset[str]] = frozenset({"stuck"})

    def branches(self, name: str) -> tuple[Branch, ...]:
        return tuple(Branch(pin, *pair, self.contact) for pin, pair in self.pins.items())

    def states(self) -> States:
        return {"mated": {}, "unplugged": dict.fromkeys(self.pins, OPEN)}


class Switch(_TwoTerminal):
    """A switch or contact, open unless a condition closes it."""

    kind: Literal["switch"]
    contact: Ohms = parse_spread("10 mΩ ± 50 %", "Ω")

    modes: ClassVar[frozenset[str]] = frozenset({"stuck"})

    def branches(self, name: str) -> tuple[Branch, ...]:
        return self._one(self.contact)

    def states(self) -> States:
        return {"open": {"": OPEN}, "closed": {}}


class Driver(Part):
    """A module's output stage: switches `output` to `supply` (high), `ground` (low) or off."""

    kind: Literal["driver"]
    output: Word
    supply: Word | None = Field(None, description="left out for a low-side driver")
    ground: Word | None = Field(None, description="left out for a high-side driver")
    resistance: Ohms = Field(parse_spread("0.2 Ω ± 50 %", "Ω"), description="while switched on")

    modes: ClassVar[frozenset[str]] = frozenset({"stuck"})

    def branches(self, name: str) -> tuple[Branch, ...]:
        sides = {"high": self.supply, "low": self.ground}
        return tuple(Branch(s, n, self.output, self.resistance) for s, n in sides.items() if n)

    def states(self) -> States:
        slots = [b.slot for b in self.branches("")]
        off = dict.fromkeys(slots, OPEN)
        return {"off": off} | {s: {o: OPEN for o in slots if o != s} for s in slots}


class Motor(_TwoTerminal):
    """A direct-current motor: runs one way or the other if its current suffices.

    At rest it is its winding.  Running, it takes `running_current`, whatever the voltage:
    the torque asked of it sets the current, the rest of the voltage is induced.
    """

    kind: Literal["motor"]
    resistance: Ohms = Field(description="winding and brushes, at rest")
    running_current: Amperes
    starting_current: Amperes = Field(description="needed to break away")

    modes: ClassVar[frozenset[str]] = frozenset({"jammed"})

    def branches(self, name: str) -> tuple[Branch, ...]:
        return self._one(self.resistance)


class Mechanism(Part):
    """What moves: a gear, a flap, a valve, a linkage.  `rest` is where it is if it does not.

    A condition may send it to a position ("50 %", if its motor can run) or have it "removed"
    from the motor.  Without a motor it is moved by hand or by the vehicle, and observed is
    whether it is attached.  With a stuck position it moves and always ends up there: bent.
    """

    kind: Literal["mechanism"]
    motor: str | None = Field(None, description="name of the motor that moves it, if one does")
    forward: Share = Field(
        parse_spread("95 %", ""), description="position after the motor ran with current "
        "from its first to its second terminal"
    )  # fmt: skip
    reverse: Share = parse_spread("5 %", "")
    rest: Share = parse_spread("10 % to 90 %", "")

    modes: ClassVar[frozenset[str]] = frozenset({"jammed", "slipping", "stuck position"})

    def branches(self, name: str) -> tuple[Branch, ...]:
        return ()

    def states(self) -> States:
        return {"attached": {}, "removed": {}}

    def setting(self) -> Spread | None:
        return self.rest


class Potentiometer(Part):
    """A potentiometer; its position is that of a mechanism or is set by a condition.

    The position is 0 % with the wiper at the second node of `between`, 100 % at the first:
    with the reference on the first and ground on the second, the voltage rises with it.
    """

    kind: Literal["potentiometer"]
    between: Pair
    wiper: Word
    resistance: Ohms
    wiper_resistance: Ohms = parse_spread("10 Ω to 100 Ω", "Ω")
    moved_by: str | None = Field(None, description="name of the mechanism")
    position: Share = Field(parse_spread("50 %", ""), description="if no mechanism moves it")

    modes: ClassVar[frozenset[str]] = frozenset({"stuck position", "worn segment"})

    def branches(self, name: str) -> tuple[Branch, ...]:
        track = f"{name}.track"
        return (
            Branch("first", self.between[0], track, self.resistance),
            Branch("second", track, self.between[1], self.resistance),
            Branch("wiper", track, self.wiper, self.wiper_resistance),
        )

    def setting(self) -> Spread | None:
        return self.position


class Thermistor(_TwoTerminal):
    """An NTC thermistor, by its B value (IEC 60539-1); a condition may set its temperature."""

    kind: Literal["thermistor"]
    resistance: Ohms = Field(description="at 25 °C")
    beta: Kelvins = Field(description="B value, such as '3435 K'")
    temperature: Kelvins = parse_spread("20 °C ± 5 °C", "K")

    def branches(self, name: str) -> tuple[Branch, ...]:
        return self._one(self.resistance)

    def setting(self) -> Spread | None:
        return self.temperature


class Diode(_TwoTerminal):
    """A diode, anode first (Shockley's equation)."""

    kind: Literal["diode"]
    saturation_current: Amperes = parse_spread("1e-9 A", "A")
    ideality: float = Field(1.8, gt=0, le=3)
    contact: Ohms = parse_spread("20 mΩ", "Ω")

    def branches(self, name: str) -> tuple[Branch, ...]:
        return (Branch("", self.between[0], f"{name}.junction", self.contact),)

    def curves(self, name: str) -> tuple[Curve, ...]:
        n = Spread(self.ideality, self.ideality, self.ideality, "")
        ends = (f"{name}.junction", self.between[1])
        return (Curve("diode", *ends, (self.saturation_current, n)),)


class Lamp(_TwoTerminal):
    """A filament lamp: its resistance rises to about ten times the cold value."""

    kind: Literal["lamp"]
    rated_voltage: Volts
    rated_power: Watts
    cold: Share = Field(parse_spread("8 % ± 2 %", ""), description="cold over hot resistance")
    contact: Ohms = parse_spread("20 mΩ", "Ω")

    def branches(self, name: str) -> tuple[Branch, ...]:
        return (Branch("", self.between[0], f"{name}.filament", self.contact),)

    def curves(self, name: str) -> tuple[Curve, ...]:
        ends = (f"{name}.filament", self.between[1])
        return (Curve("lamp", *ends, (self.rated_voltage, self.rated_power, self.cold)),)


class Relay(Part):
    """A relay: coil, and a contact from `common` to either of the others."""

    kind: Literal["relay"]
    coil: Pair
    resistance: Ohms = Field(description="of the coil")
    pull_in: Volts = Field(description="coil voltage at which it pulls in, cold")
    common: Word
    normally_open: Word | None = None
    normally_closed: Word | None = None
    contact: Ohms = parse_spread("10 mΩ ± 50 %", "Ω")

    modes: ClassVar[frozenset[str]] = frozenset({"stuck"})

    def branches(self, name: str) -> tuple[Branch, ...]:
        ends = {"normally open": self.normally_open, "normally closed": self.normally_closed}
        contacts = (Branch(s, self.common, n, self.contact) for s, n in ends.items() if n)
        return (Branch("coil", *self.coil, self.resistance), *contacts)

    def states(self) -> States:
        slots = {b.slot for b in self.branches("")}
        closed = {"released": "normally closed", "pulled": "normally open"}
        return {
            state: dict.fromkeys(slots - {"coil", contact}, OPEN)
            for state, contact in closed.items()
        }


class Load(_TwoTerminal):
    """A module as the battery sees it: a current while asleep, another while awake."""

    kind: Literal["load"]
    asleep: Amperes
    awake: Amperes
    voltage: Volts = Field(parse_spread("12.6 V", "V"), description="at which it draws these")

    modes: ClassVar[frozenset[str]] = frozenset({"stuck"})

    def branches(self, name: str) -> tuple[Branch, ...]:
        return self._one(self._ohms(self.asleep))

    def states(self) -> States:
        return {"asleep": {}, "awake": {"": self._ohms(self.awake)}, "off": {"": OPEN}}

    def _ohms(self, current: Spread) -> Spread:
        v = self.voltage.nominal
        nominal, low, high = (
            v / max(i, 1e-12) for i in (current.nominal, current.high, current.low)
        )
        return Spread(nominal, low, high, "Ω")


class CanNode(Part):
    """A node on a CAN bus as a meter sees it (ISO 11898-2): bias, inputs, termination."""

    kind: Literal["can node"]
    high: Word
    low: Word
    ground: Word
    recessive: Volts = parse_spread("2.5 V ± 4 %", "V")
    input_resistance: Ohms = parse_spread("30 kΩ ± 30 %", "Ω")
    termination: Ohms | None = Field(None, description="such as '120 Ω ± 1 %', at a bus end")

    modes: ClassVar[frozenset[str]] = frozenset({"stuck"})

    def branches(self, name: str) -> tuple[Branch, ...]:
        bias, stage = f"{name}.bias", parse_spread("30 Ω", "Ω")
        dominant = (("dominant high", self.high, "3.6 V"), ("dominant low", self.low, "1.4 V"))
        ends = [
            Branch("bias", bias, self.ground, parse_spread("100 Ω", "Ω"), self.recessive),
            Branch("high", self.high, bias, self.input_resistance),
            Branch("low", self.low, bias, self.input_resistance),
            *(Branch(s, n, self.ground, stage, parse_spread(v, "V")) for s, n, v in dominant),
        ]
        if self.termination is not None:
            ends.append(Branch("termination", self.high, self.low, self.termination))
        return tuple(ends)

    def states(self) -> States:
        quiet = {"dominant high": OPEN, "dominant low": OPEN}
        return {"recessive": quiet, "dominant": {}, "off": {**quiet, "bias": OPEN}}


AnyPart = Annotated[
    Source
    | Wire
    | Connector
    | Switch
    | Driver
    | Fuse
    | Resistor
    | Motor
    | Mechanism
    | Potentiometer
    | Thermistor
    | Diode
    | Lamp
    | Relay
    | Load
    | CanNode,
    Field(discriminator="kind"),
]
"""Any part, told apart by its `kind`."""
