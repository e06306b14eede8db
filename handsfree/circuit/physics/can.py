"""High-speed CAN: bus levels.

Source:
    ISO 11898-2 (high-speed medium access unit), output voltages.  Values from memory of the 2016
    edition.
"""

from __future__ import annotations

from dataclasses import dataclass

from handsfree.units import Quantity, show, ureg


@dataclass(frozen=True, slots=True)
class Level:
    """Least, nominal and largest value."""

    low: Quantity
    nominal: Quantity
    high: Quantity

    def __str__(self) -> str:
        return f"{show(self.low)} to {show(self.high)}"


def _level(low: float, nominal: float, high: float, unit: str) -> Level:
    return Level(*(ureg.Quantity(value, unit) for value in (low, nominal, high)))


RECESSIVE = _level(2.0, 2.5, 3.0, "V")
"""Either wire against ground, recessive."""
DOMINANT_HIGH = _level(2.75, 3.5, 4.5, "V")
"""CAN high against ground, dominant."""
DOMINANT_LOW = _level(0.5, 1.5, 2.25, "V")
"""CAN low against ground, dominant."""
DOMINANT_DIFFERENCE = _level(1.5, 2.0, 3.0, "V")
"""CAN high against CAN low, dominant, at the sender."""

TERMINATION = ureg.Quantity(120, "ohm")
"""At each of the two ends of a bus."""
