"""Values as a shop writes them: "4.7 kΩ ± 5 %", "100 Ω to 10 kΩ", "2.5 m".

A `Spread` is a value with its limits.  In the models it is a field of one dimension, for
example `Ohms`; its magnitudes are in the SI unit of that dimension.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from functools import lru_cache
from typing import Annotated, Any

import numpy as np
from numpy.typing import NDArray
from pydantic import BeforeValidator, PlainSerializer, WithJsonSchema

from handsfree.circuit.physics.copper import parse_gauge
from handsfree.units import Quantity, parse_quantity, ureg

Array = NDArray[np.float64]
Ints = NDArray[np.intp]

#: SI units of what a meter measures in a circuit.
SI = ("V", "Ω", "A")

_PLUS_MINUS = re.compile(r"\s*(?:±|\+/-|\+-)\s*")
_TO = re.compile(r"\s+to\s+")
_BARE = re.compile(r"[+\-−]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?")


@dataclass(frozen=True, slots=True)
class Spread:
    """A value and its limits, all in `unit`.

    Attributes:
        nominal: the value when all is as drawn.
        low, high: limits; equal to `nominal` for an exact value.
        unit: an SI unit without prefix.
        log: spread evenly over decades rather than over the value.
    """

    nominal: float
    low: float
    high: float
    unit: str
    log: bool = False

    def at(self, u: Array | float) -> Array:
        """The value at `u` between -1 (low) and +1 (high); 0 is the nominal. Shape of `u`."""
        u = np.asarray(u, dtype=np.float64)
        if self.log:
            return self.nominal * np.exp(u * math.log(self.high / self.low) / 2)
        return np.where(
            u < 0,
            self.nominal + u * (self.nominal - self.low),
            self.nominal + u * (self.high - self.nominal),
        )

    @property
    def exact(self) -> bool:
        """Whether it has no tolerance."""
        return self.low == self.high

    @property
    def quantity(self) -> Quantity:
        """The nominal value."""
        return ureg.Quantity(self.nominal, self.unit)

    @property
    def limits(self) -> tuple[Quantity, Quantity]:
        """Lowest and highest value."""
        return ureg.Quantity(self.low, self.unit), ureg.Quantity(self.high, self.unit)

    def __str__(self) -> str:
        scale, unit = (1, self.unit) if self.unit else (100, "%")
        if self.exact:
            return f"{scale * self.nominal:.10g} {unit}"
        return f"{scale * self.low:.10g} {unit} to {scale * self.high:.10g} {unit}"


@lru_cache(maxsize=4096)
def parse_spread(text: str, unit: str) -> Spread:
    """A value with limits from "5 V", "5 V ± 2 %", "5 V ± 0.1 V" or "1 V to 4 V".

    Args:
        text: as written.
        unit: SI unit of the dimension it must have.

    Raises:
        ValueError: not a value, or of another dimension.
    """
    if len(ends := _TO.split(text.strip())) == 2:
        if _BARE.fullmatch(ends[0]):  # "0.5 to 2 Ω": the unit stands at the end
            ends[0] += " " + re.sub(rf"^\s*{_BARE.pattern}", "", ends[1])
        low, high = (_si(end, unit) for end in ends)
        if low > high:
            raise ValueError(f"{text!r}: the lower limit comes first")
        log = bool(unit) and 0 < 10 * low <= high
        return Spread(math.sqrt(low * high) if log else (low + high) / 2, low, high, unit, log)
    head, *rest = _PLUS_MINUS.split(text.strip(), maxsplit=1)
    nominal = _si(head, unit)
    half = abs(_half(rest[0], nominal, unit)) if rest else 0.0
    return Spread(nominal, nominal - half, nominal + half, unit)


@dataclass(frozen=True, slots=True)
class Range:
    """From `low` to `high`, in `unit`; either may be infinite. OL is above every number."""

    low: float
    high: float
    unit: str

    def holds(self, values: Array) -> NDArray[np.bool_]:
        """Which of `values` lie in it. Shape of `values`."""
        return (values >= self.low) & (values <= self.high)

    def __str__(self) -> str:
        if math.isinf(self.high):
            return f"above {self.low:.10g} {self.unit}"
        if math.isinf(self.low):
            return f"below {self.high:.10g} {self.unit}"
        return f"{self.low:.10g} {self.unit} to {self.high:.10g} {self.unit}"


def parse_range(text: str) -> Range:
    """A range from "11 V to 15 V", "above 1 MΩ" or "below 10 Ω"; units become SI.

    Raises:
        ValueError: it is none.
    """
    word, _, rest = text.strip().partition(" ")
    for unit in SI:
        with suppress(ValueError):
            if word == "above":
                return Range(_si(rest, unit), math.inf, unit)
            if word == "below":
                return Range(-math.inf, _si(rest, unit), unit)
            spread = parse_spread(text, unit)
            return Range(spread.low, spread.high, unit)
    raise ValueError(f"{text!r} is no range; write '11 V to 15 V', 'above 1 MΩ' or 'below 10 Ω'")


def _si(text: str, unit: str) -> float:
    value = parse_quantity(text)
    if not value.is_compatible_with(ureg.Unit(unit)):
        raise ValueError(f"{text!r} is not in {unit}, as is needed here")
    return float(value.to(unit).magnitude)


def _half(text: str, nominal: float, unit: str) -> float:
    value = parse_quantity(text)
    if value.units == ureg.percent and unit != "":
        return float(nominal * value.magnitude / 100)
    if unit == "K":  # a difference of temperatures
        return float(value.magnitude)
    return _si(text, unit)


def _reader(unit: str, example: str, least: float | None) -> Callable[[Any], Spread]:
    def read(value: Any) -> Spread:
        if isinstance(value, Spread):
            return value
        if not isinstance(value, str):
            raise ValueError(f"{value!r} has no unit; write it as {example!r}, for example")
        spread = parse_spread(value, unit)
        if least is not None and spread.low < least:
            raise ValueError(f"{value!r} goes below {least:g}")
        return spread

    return read


def _field(unit: str, example: str, least: float | None = 0.0) -> tuple[Any, ...]:
    return (
        BeforeValidator(_reader(unit, example, least)),
        PlainSerializer(str, return_type=str),
        WithJsonSchema({"type": "string", "examples": [example]}),
    )


Ohms = Annotated[Spread, *_field("Ω", "4.7 kΩ ± 5 %")]
"""A resistance."""
Volts = Annotated[Spread, *_field("V", "12.6 V ± 2 %", None)]
"""A voltage."""
Amperes = Annotated[Spread, *_field("A", "80 mA ± 20 %")]
"""A current."""
Watts = Annotated[Spread, *_field("W", "21 W ± 5 %")]
"""A power."""
Metres = Annotated[Spread, *_field("m", "2.5 m")]
"""A length."""
Kelvins = Annotated[Spread, *_field("K", "20 °C ± 5 °C")]
"""A temperature (kept in kelvin) or the B value of a thermistor."""
Share = Annotated[Spread, *_field("", "30 %")]
"""A share, kept between 0 and 1."""
Seconds = Annotated[Spread, *_field("s", "2 min")]
"""A time."""


def _measured(value: Any) -> Spread:
    if isinstance(value, Spread):
        return value
    if isinstance(value, str):
        for unit in SI:
            with suppress(ValueError):
                return parse_spread(value, unit)
    raise ValueError(f"{value!r} is no voltage, resistance or current; write '0.1 mV'")


Measured = Annotated[
    Spread,
    BeforeValidator(_measured),
    PlainSerializer(str, return_type=str),
    WithJsonSchema({"type": "string", "examples": ["0.1 mV"]}),
]
"""A voltage, resistance or current."""


def _range(value: Any) -> Range:
    if isinstance(value, Range):
        return value
    if not isinstance(value, str):
        raise ValueError(f"{value!r} is no range; write '11 V to 15 V', for example")
    return parse_range(value)


Limits = Annotated[
    Range,
    BeforeValidator(_range),
    PlainSerializer(str, return_type=str),
    WithJsonSchema({"type": "string", "examples": ["11 V to 15 V", "above 1 MΩ"]}),
]
"""A range of a measured quantity."""


def _area(value: Any) -> Spread:
    if isinstance(value, Spread):
        return value
    if not isinstance(value, str):
        raise ValueError(f"{value!r} is no wire gauge; write '0.75 mm2' or '18 AWG'")
    area = float(parse_gauge(value).to("m**2").magnitude)
    return Spread(area, area, area, "m²")


Gauge = Annotated[
    Spread,
    BeforeValidator(_area),
    PlainSerializer(lambda s: f"{s.nominal * 1e6:.6g} mm2", return_type=str),
    WithJsonSchema({"type": "string", "examples": ["0.75 mm2", "18 AWG"]}),
]
"""The cross-section of a wire."""
