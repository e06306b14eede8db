"""Copper: wire resistance by gauge, length and temperature.

Sources:
    IEC 60028: annealed copper has 1/58 Ω·mm²/m at 20 °C and a temperature coefficient of
    0.00393 per kelvin.
    ASTM B258: AWG diameters are a geometric series, 0.005 in × 92^((36 − n)/39).
"""

from __future__ import annotations

import math
import re

from handsfree.units import Quantity, ureg

RESISTIVITY = ureg.Quantity(1 / 58, "ohm * mm**2 / m")
"""Annealed copper at 20 °C (IEC 60028)."""

COEFFICIENT = ureg.Quantity(0.00393, "1 / kelvin")
"""Change of resistance with temperature, relative to 20 °C (IEC 60028)."""

_AWG = re.compile(r"(?:AWG\s*(0{1,4}|\d+(?:/0)?)|(0{1,4}|\d+(?:/0)?)\s*AWG)", re.IGNORECASE)
_AREA = re.compile(r"(\d+(?:\.\d+)?|\.\d+)\s*(?:mm2|mm²|mm\^2|mm\*\*2|sq\s*mm)", re.IGNORECASE)


def awg_diameter(gauge: int) -> Quantity:
    """Diameter in mm of a solid wire of `gauge` AWG; 1/0 is 0, 2/0 is -1 (ASTM B258)."""
    return ureg.Quantity(0.127 * 92 ** ((36 - gauge) / 39), "mm")


def awg_area(gauge: int) -> Quantity:
    """Cross-section in mm² of a wire of `gauge` AWG (ASTM B258)."""
    return ureg.Quantity(math.pi / 4 * awg_diameter(gauge).magnitude ** 2, "mm**2")


def parse_gauge(text: str) -> Quantity:
    """Cross-section from "0.75 mm2", "18 AWG" or "2/0 AWG".

    Raises:
        ValueError: `text` is no gauge.
    """
    if match := _AREA.fullmatch(text.strip()):
        area = ureg.Quantity(float(match[1]), "mm**2")
        if area.magnitude > 0:
            return area
    elif match := _AWG.fullmatch(text.strip()):
        number = match[1] or match[2]
        if set(number) == {"0"}:
            return awg_area(1 - len(number))
        if number.endswith("/0"):
            return awg_area(1 - int(number[:-2]))
        return awg_area(int(number))
    raise ValueError(f"{text!r} is no wire gauge; write '0.75 mm2' or '18 AWG'")


def at_temperature(resistance: Quantity, temperature: Quantity) -> Quantity:
    """A copper resistance known at 20 °C, at `temperature` (IEC 60028)."""
    rise = temperature.to("kelvin") - ureg.Quantity(293.15, "kelvin")
    warm: Quantity = resistance * (1 + COEFFICIENT * rise).to("dimensionless")
    return warm


def wire_resistance(
    area: Quantity, length: Quantity, temperature: Quantity | None = None
) -> Quantity:
    """Resistance of a copper conductor, from its geometry (IEC 60028).

    Args:
        area: cross-section.
        length: one way.
        temperature: of the copper; 20 °C if not given.
    """
    cold: Quantity = (RESISTIVITY * length / area).to("ohm")
    return cold if temperature is None else at_temperature(cold, temperature)
