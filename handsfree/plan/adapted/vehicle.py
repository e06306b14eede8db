"""What differs in one vehicle from the kind of circuit that it has, as it is written in a file."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Annotated, Any

from pydantic import AfterValidator, BeforeValidator, Field, TypeAdapter, WithJsonSchema

from handsfree.circuit.values import Volts
from handsfree.fields import (
    Colours,
    FieldPath,
    PinLabel,
    PlanModel,
    PlanQuantity,
    Spoken,
    Text,
)
from handsfree.units import Quantity, show

_WIRE = re.compile(
    r"(?P<colour>[^\d,]*?)"
    r"(?:,?\s*(?<![^\s,])pin\s+(?P<pin>\w+))?"
    r"(?:,?\s*(?<![^\s,])far pin\s+(?P<far_pin>\w+))?\s*"
)
_STRIPE = re.compile(r"\s+with\s+(?:an?\s+)?(\S+)\s+(?:stripe|tracer)")
_SPOKEN: TypeAdapter[str] = TypeAdapter(Spoken)


class OwnWire(PlanModel):
    """One wire as it is in the vehicle; what is not given is as in the kind."""

    colour: str | None = Field(None, description="main colour, with its stripe: white/green")
    stripe: Spoken | None = None
    pin: PinLabel | None = Field(None, description="at the connector at which is probed")
    far_pin: PinLabel | None = Field(None, description="at the other end")

    def contradictions(self) -> Iterator[tuple[FieldPath, str]]:
        """Two stripes; a colour that cannot be spoken."""
        main, slash, stripe = (self.colour or "").partition("/")
        if slash and self.stripe:
            yield ("stripe",), "the colour has a stripe already; give it once"
        try:
            for word in [main] * (self.colour is not None) + [stripe] * bool(slash):
                _SPOKEN.validate_python(word)
        except ValueError:
            yield ("colour",), f"{self.colour!r} is no colour; write white, or white/green"

    def looks(self, kind: str) -> str:
        """Its colours, given those of the kind: another colour has no stripe but its own."""
        main = kind.partition("/")[0] if self.colour is None else self.colour
        if self.colour is None and self.stripe is None:
            return kind
        return f"{main}/{self.stripe}" if self.stripe else main


def own_wire(value: Any) -> Any:
    """A wire in one text, "white/green pin A2 far pin 7", as the fields that it gives.

    Raises:
        ValueError: the text is none.
    """
    if isinstance(value, int) and not isinstance(value, bool):
        raise ValueError(f"write 'pin {value}', or a colour")
    if not isinstance(value, str):
        return value
    value = _STRIPE.sub(r"/\1", value)
    found = _WIRE.fullmatch(value.strip())
    if not found or not value.strip():
        raise ValueError(f"{value!r} is no wire; write 'white/green pin 4', or one of the two")
    return {name: text.strip() for name, text in found.groupdict().items() if text}


def _supply(supply: Quantity) -> Quantity:
    if not supply.is_compatible_with("V") or not supply.magnitude > 0:
        raise ValueError(f"{show(supply)} is no supply voltage")
    return supply


class Vehicle(PlanModel):
    """A kind of circuit and what differs from it."""

    like: Text = Field(description="a shipped plan's name, or the path of a plan")
    title: str = ""
    vehicle: str = ""
    complaint: str = ""
    stored_code: str = ""
    live_value: str = ""
    wires: dict[
        str,
        Annotated[
            OwnWire,
            BeforeValidator(own_wire),
            WithJsonSchema({"type": ["string", "object"], "examples": ["white/green pin 4"]}),
        ],
    ] = Field(default_factory=dict, description="a wire by what it does, to how it is here")
    reference: Volts | None = Field(None, description="that the module gives or pulls up to")
    supply: Annotated[PlanQuantity, AfterValidator(_supply)] | None = None
    colours: Colours = Field(default_factory=dict)


def is_vehicle(data: object) -> bool:
    """Whether plain data names a kind and what differs from it."""
    return isinstance(data, dict) and "like" in data
