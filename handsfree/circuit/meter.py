"""The meter: how it loads the circuit, and how far its display may be off.

Accuracy is specified as makers do: percent of the reading plus counts of the last digit, the
value of a count depending on the range that the meter chooses.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property, partial
from typing import Any, ClassVar, Literal, get_args

import numpy as np
from pydantic import Field

from handsfree.circuit.values import Array
from handsfree.fields import COMMON_PRACTICE, FieldPath, PlanModel, PlanQuantity, Text
from handsfree.units import KINDS, Kind, Quantity, fits, parse_quantity, show, span

#: What a meter measures of a circuit, in the units of `KINDS`.
Measurable = Literal["voltage", "resistance", "current"]


class Accuracy(PlanModel):
    """A meter's accuracy: percent of reading plus counts of its last digit."""

    percent: float = Field(0.5, ge=0, description="percent of the reading")
    counts: float = Field(2, ge=0, description="counts of the last digit")
    resolution: PlanQuantity = Field(description="size of one count in the lowest range")


def _usually(value: str, description: str) -> Any:
    """A quantity that has this value if it is not given."""
    return Field(
        default_factory=partial(parse_quantity, value),
        description=description,
        json_schema_extra={"default": value},
    )


class Meter(PlanModel):
    """The meter in the technician's hand.  What is not given is common practice."""

    name: str = "digital multimeter"
    accuracy: dict[Kind, Accuracy] = Field(default_factory=dict)
    display: int = Field(6000, ge=100, description="counts of the display")
    input_resistance: PlanQuantity = _usually("10 MΩ", "on volts")
    over_limit: PlanQuantity = _usually("60 MΩ", "resistance above which it shows over limit")
    burden: PlanQuantity = _usually("0.03 Ω", "in series, on amperes")
    source: Text = COMMON_PRACTICE

    #: On ohms: the current with the leads shorted, the voltage with them open.
    test_current: ClassVar[Quantity] = parse_quantity("0.1 mA")
    test_voltage: ClassVar[Quantity] = parse_quantity("3 V")
    #: Common practice, no published source.
    usual: ClassVar[dict[Measurable, Accuracy]] = {
        "voltage": Accuracy(percent=0.5, counts=2, resolution=parse_quantity("0.1 mV")),
        "resistance": Accuracy(percent=0.8, counts=3, resolution=parse_quantity("0.1 Ω")),
        "current": Accuracy(percent=1.0, counts=3, resolution=parse_quantity("0.1 mA")),
    }

    def contradictions(self) -> Iterator[tuple[FieldPath, str]]:
        """A resolution that is not of its quantity; a resistance that is none."""
        for kind, accuracy in self.accuracy.items():
            if not fits(accuracy.resolution, KINDS[kind]):
                path = ("accuracy", kind, "resolution")
                yield path, f"{show(accuracy.resolution)} is no {kind}"
        for field in ("input_resistance", "over_limit", "burden"):
            if not fits(ohms := getattr(self, field), "Ω"):
                yield (field,), f"{show(ohms)} is no resistance"
            elif ohms.magnitude <= 0:
                yield (field,), f"{show(ohms)} is not above nought"

    def count(self, kind: Kind, value: Quantity) -> Quantity | None:
        """One count of the range in which the meter shows `value`; None if not known."""
        spec = self.accuracy.get(kind)
        if spec is None:
            return None
        here = np.array(float(value.m_as(spec.resolution.units)))
        one = self._count(float(spec.resolution.magnitude), here)
        return span(float(one), spec.resolution)

    def accuracy_of(self, quantity: Measurable) -> Accuracy:
        """As given, or else the usual one."""
        return self.accuracy.get(quantity, self.usual[quantity])

    @cached_property
    def finest(self) -> dict[Measurable, float]:
        """One count of the lowest range, in the units of `KINDS`."""
        every: tuple[Measurable, ...] = get_args(Measurable)
        return {one: float(self.accuracy_of(one).resolution.m_as(KINDS[one])) for one in every}

    def resolution(self, quantity: Measurable, values: Array) -> Array:
        """One count of the range in which `values` (SI) are displayed. Shape of `values`."""
        return self._count(self.finest[quantity], values)

    def error(self, quantity: Measurable, values: Array) -> Array:
        """Largest error of the display at `values`, same unit and shape; 0 where it shows OL."""
        accuracy = self.accuracy_of(quantity)
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

    def _count(self, finest: float, values: Array) -> Array:
        """One count of the range in which values are displayed; ranges go up by tens.

        Args:
            finest: one count of the lowest range.
            values: readings in the unit of `finest`, infinite for OL; any shape.
        """
        full = self.display * finest
        size = np.where(np.isfinite(values), np.abs(values), full)
        decades = np.ceil(np.log10(np.maximum(size / full, 1.0)) - 1e-12)
        return np.asarray(finest * 10.0**decades)
