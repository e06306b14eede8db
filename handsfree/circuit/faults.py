"""How parts break: the fault modes that a part of the circuit may list.

Each mode is written with the part it belongs to:

    faults:
      - {mode: open, odds: 3}
      - {mode: high resistance, resistance: 10 Ω to 5 kΩ, odds: 2}
      - {mode: short to ground, at: 3}

`odds` are relative to those of the other faults of the circuit: common practice, no
published source, unless the circuit names one.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, WithJsonSchema

from handsfree.circuit.values import Ohms, Share, Volts, parse_spread


def _word(value: Any) -> Any:
    """Node, state and slot names: YAML reads a bare 3 as a number and `on` as true."""
    if isinstance(value, bool):
        return "on" if value else "off"
    return str(value) if isinstance(value, int) else value


Word = Annotated[
    str,
    BeforeValidator(_word),
    Field(min_length=1),
    WithJsonSchema({"type": ["string", "integer", "boolean"], "minLength": 1}),
]
"""A name of a node, of a state or of one place in a part."""


class Model(BaseModel):
    """Base of everything in the circuit section: no unknown fields, no changes afterwards."""

    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True)


class _Mode(Model):
    id: str | None = Field(
        None, pattern=r"^[a-z][a-z0-9_]*$", description="name of the fault; made up if not given"
    )
    odds: float = Field(1.0, gt=0, description="how likely, relative to the other faults")
    say: str = Field("", description="the verdict in a few words, such as 'motor winding open'")
    repair: str = Field("", description="what to do; defers to the maker's procedure")
    grade: str = Field("", description="which of several strengths of this mode: slight, hard ...")
    blames: str = Field("", description="what is at fault, if it is not the part itself")


class _Placed(_Mode):
    at: Word | None = Field(
        None, description="place in the part (pin, coil, wiper ...); everywhere if not given"
    )


class Open(_Placed):
    """No connection any more."""

    mode: Literal["open"]


class HighResistance(_Placed):
    """Corroded, chafed or loose: a resistance in series."""

    mode: Literal["high resistance"]
    resistance: Ohms = Field(
        parse_spread("1 Ω to 10 kΩ", "Ω"), description="in series, usually a range"
    )


class Short(_Placed):
    """Shorted within itself: a resistance across it."""

    mode: Literal["short"]
    resistance: Ohms = parse_spread("0.05 Ω to 2 Ω", "Ω")


class _ToNode(_Placed):
    node: Word | None = Field(None, description="where; the last terminal of the part if not given")
    resistance: Ohms = parse_spread("0.05 Ω to 2 Ω", "Ω")


class ShortToGround(_ToNode):
    """Touches ground."""

    mode: Literal["short to ground"]


class ShortToSupply(_ToNode):
    """Touches the supply."""

    mode: Literal["short to supply"]


class ShortTo(_ToNode):
    """Touches another wire."""

    mode: Literal["short to"]
    other: Word = Field(description="node that it touches")


class Drifted(_Mode):
    """A resistance that has aged beyond its tolerance: a share of what it should have."""

    mode: Literal["drifted"]
    share: Share = Field(description="of what it should have, such as '30 % to 80 %'")


class Weak(_Mode):
    """A source that no longer gives its voltage."""

    mode: Literal["weak"]
    voltage: Volts


class Stuck(_Mode):
    """Stays in one state whatever it is told: driver, switch, relay, module."""

    mode: Literal["stuck"]
    state: Word


class StuckPosition(_Mode):
    """Potentiometer: the wiper no longer follows; it stays somewhere."""

    mode: Literal["stuck position"]
    position: Share = parse_spread("5 % to 95 %", "")


class WornSegment(_Mode):
    """Potentiometer: the wiper loses the track over a part of its travel."""

    mode: Literal["worn segment"]
    start: Share = Field(description="begin of the worn segment")
    end: Share = Field(description="end of the worn segment")
    resistance: Ohms = Field(
        parse_spread("50 kΩ to 10 MΩ", "Ω"), description="of the wiper while on it"
    )


class Swapped(_Mode):
    """Two wires changed places at their far ends."""

    mode: Literal["swapped"]
    other: Word = Field(description="name of the other wire")


class Jammed(_Mode):
    """Motor or mechanism: does not move, by motor or by hand."""

    mode: Literal["jammed"]


class Slipping(_Mode):
    """Mechanism: the motor runs, nothing follows."""

    mode: Literal["slipping"]


FaultMode = Annotated[
    Open
    | HighResistance
    | Short
    | ShortToGround
    | ShortToSupply
    | ShortTo
    | Drifted
    | Weak
    | Stuck
    | StuckPosition
    | WornSegment
    | Swapped
    | Jammed
    | Slipping,
    Field(discriminator="mode"),
]
"""One way in which a part breaks."""


class Misreads(_Mode):
    """The meter shows a share of every voltage: off its calibration, or with a dead jack."""

    mode: Literal["misreads"] = "misreads"
    gain: Share


class WrongPin(_Mode):
    """Readings taken on the wrong pin: no fault of the circuit, yet it explains readings."""

    meant: Word = Field(description="node the lead should be on")
    probed: Word = Field(description="node the lead is on")
