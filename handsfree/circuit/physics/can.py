"""High-speed CAN: bus levels and termination.

Source:
    ISO 11898-2 (high-speed medium access unit), output and input voltages, internal
    resistances and the terminating resistor.  Values from memory of the 2016 edition.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from handsfree.units import Quantity, ureg


@dataclass(frozen=True, slots=True)
class Level:
    """Least, nominal and largest value."""

    low: Quantity
    nominal: Quantity
    high: Quantity


def _level(low: float, nominal: float, high: float, unit: str) -> Level:
    return Level(*(ureg.Quantity(value, unit) for value in (low, nominal, high)))


RECESSIVE = _level(2.0, 2.5, 3.0, "V")
"""Either wire against ground, nobody sending."""
DOMINANT_HIGH = _level(2.75, 3.5, 4.5, "V")
"""CAN high against ground, dominant."""
DOMINANT_LOW = _level(0.5, 1.5, 2.25, "V")
"""CAN low against ground, dominant."""
DOMINANT_DIFFERENCE = _level(1.5, 2.0, 3.0, "V")
"""CAN high against CAN low, dominant, at the sender."""
RECEIVED_DOMINANT = ureg.Quantity(0.9, "V")
"""A receiver reads a difference above this as dominant."""
RECEIVED_RECESSIVE = ureg.Quantity(0.5, "V")
"""A receiver reads a difference below this as recessive."""
TERMINATION = _level(100, 120, 130, "ohm")
"""One terminating resistor; there is one at each end of the bus."""
INTERNAL = _level(6, 30, 50, "kiloohm")
"""Single-ended resistance of one node's input."""


def bus_state(high: Quantity, low: Quantity) -> str:
    """ "dominant", "recessive" or "undefined", as a receiver reads the two wires."""
    difference = high - low
    if difference >= RECEIVED_DOMINANT:
        return "dominant"
    return "recessive" if difference <= RECEIVED_RECESSIVE else "undefined"


def bus_resistance(terminations: Sequence[Quantity]) -> Quantity:
    """Resistance between the wires of an unpowered bus: the terminations in parallel."""
    return ureg.Quantity(1 / sum(1 / t.to("ohm").magnitude for t in terminations), "ohm")
