"""The meter: how it loads the circuit, and how far its display may be off.

Accuracy is specified as makers do: percent of the reading plus counts of the last digit, the
value of a count depending on the range that the meter chooses.
"""

from __future__ import annotations

from typing import Literal, Self

import numpy as np
from pydantic import Field, model_validator

from handsfree.circuit.faults import Model
from handsfree.circuit.values import Amperes, Array, Measured, Ohms, Volts, parse_spread

Measurable = Literal["voltage", "resistance", "current"]


def count(finest: float, display: int, values: Array) -> Array:
    """One count of the range in which values are displayed; ranges go up by tens.

    Args:
        finest: one count of the lowest range.
        display: counts of the display.
        values: readings in the unit of `finest`, infinite for OL; any shape.
    """
    full = display * finest
    size = np.where(np.isfinite(values), np.abs(values), full)
    decades = np.ceil(np.log10(np.maximum(size / full, 1.0)) - 1e-12)
    return np.asarray(finest * 10.0**decades)


class Accuracy(Model):
    """Percent of the reading plus counts of the last digit."""

    percent: float = Field(ge=0)
    counts: float = Field(ge=0)
    finest: Measured = Field(description="one count of the lowest range, such as '0.1 mV'")


class Meter(Model):
    """A digital multimeter. The usual values are common practice, no published source."""

    name: str = "digital multimeter"
    display: int = Field(6000, ge=100, description="counts of the display")
    input_resistance: Ohms = Field(parse_spread("10 MΩ", "Ω"), description="on volts")
    ohms_limit: Ohms = Field(parse_spread("60 MΩ", "Ω"), description="above this it shows OL")
    test_current: Amperes = Field(parse_spread("0.1 mA", "A"), description="on ohms, shorted")
    test_voltage: Volts = Field(parse_spread("3 V", "V"), description="on ohms, open")
    burden: Ohms = Field(parse_spread("0.03 Ω", "Ω"), description="in series, on amperes")
    voltage: Accuracy = Accuracy(percent=0.5, counts=2, finest=parse_spread("0.1 mV", "V"))
    resistance: Accuracy = Accuracy(percent=0.8, counts=3, finest=parse_spread("0.1 Ω", "Ω"))
    current: Accuracy = Accuracy(percent=1.0, counts=3, finest=parse_spread("0.1 mA", "A"))

    @model_validator(mode="after")
    def _units(self) -> Self:
        for quantity, unit in (("voltage", "V"), ("resistance", "Ω"), ("current", "A")):
            if (found := getattr(self, quantity).finest.unit) != unit:
                raise ValueError(f"the finest count of {quantity} is in {unit}, not in {found}")
        return self

    def resolution(self, quantity: Measurable, values: Array) -> Array:
        """One count of the range in which `values` (SI) are displayed. Shape of `values`."""
        return count(getattr(self, quantity).finest.nominal, self.display, values)

    def error(self, quantity: Measurable, values: Array) -> Array:
        """Largest error of the display at `values`, same unit and shape; 0 where it shows OL."""
        accuracy: Accuracy = getattr(self, quantity)
        counts = accuracy.counts * self.resolution(quantity, values)
        finite = np.where(np.isfinite(values), np.abs(values), 0.0)
        return np.where(np.isfinite(values), accuracy.percent / 100 * finite + counts, 0.0)

    def show(self, quantity: Measurable, values: Array, rng: np.random.Generator) -> Array:
        """What the display shows: `values` with an error within the limits, rounded to a count.

        The error is drawn evenly between the limits (JCGM 100:2008, 4.3.7).
        """
        seen = values + rng.uniform(-1, 1, values.shape) * self.error(quantity, values)
        count = self.resolution(quantity, seen)
        with np.errstate(invalid="ignore"):
            return np.where(np.isfinite(values), np.round(seen / count) * count, values)
