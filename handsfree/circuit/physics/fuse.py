"""Blade fuses: how long a current is carried, and what a cold fuse resists.

Sources:
    ISO 8820-3 (blade fuse-links), operating times by multiple of the rated current.
    Values from memory of the standard's table for type C (medium) blades; a maker's data
    sheet decides.
"""

from __future__ import annotations

import math

from handsfree.units import Quantity, ureg

OPERATING_TIME: dict[float, tuple[float, float]] = {
    1.10: (360_000.0, math.inf),
    1.35: (0.75, 600.0),
    1.60: (0.25, 50.0),
    2.00: (0.15, 5.0),
    3.50: (0.04, 0.5),
    6.00: (0.02, 0.1),
}
"""Multiple of the rated current: shortest and longest time in seconds (ISO 8820-3)."""


def operating_time(rating: Quantity, current: Quantity) -> tuple[Quantity, Quantity]:
    """Shortest and longest time until a blade fuse opens (ISO 8820-3).

    Between the multiples of the table the bounds are those of the neighbours on the safe
    side: the shortest time of the next higher multiple, the longest of the next lower.
    """
    ratio = (current / rating).to("dimensionless").magnitude
    above = [m for m in OPERATING_TIME if m >= ratio - 1e-9]
    below = [m for m in OPERATING_TIME if m <= ratio + 1e-9]
    shortest = OPERATING_TIME[min(above)][0] if above else 0.0
    longest = OPERATING_TIME[max(below)][1] if below else math.inf
    return ureg.Quantity(shortest, "s"), ureg.Quantity(longest, "s")


def cold_resistance(rating: Quantity) -> Quantity:
    """Typical cold resistance of a medium blade: some 80 mV at its rated current.

    Makers' data sheets, from memory: 5 A 17.5 mΩ, 10 A 7.7 mΩ, 20 A 3.4 mΩ, 30 A 2.0 mΩ.
    """
    resistance: Quantity = (ureg.Quantity(0.08, "V") / rating).to("ohm")
    return resistance


def blows(rating: Quantity, current: Quantity, within: Quantity) -> bool:
    """Whether a blade is sure to have opened `within` a time (ISO 8820-3)."""
    longest: Quantity = operating_time(rating, current)[1]
    return bool(longest <= within)
