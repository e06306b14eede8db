"""Resistance thermometers: NTC thermistors and platinum (Pt100).

Sources:
    IEC 60539-1: the B value of an NTC thermistor, R = R₀·exp(B·(1/T − 1/T₀)).
    Steinhart & Hart 1968, "Calibration curves for thermistors", Deep-Sea Research 15:
    1/T = a + b·ln R + c·(ln R)³.
    IEC 60751: platinum, Callendar–Van Dusen with A, B, C of the standard.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from handsfree.units import Quantity, ureg

Floats = NDArray[np.float64]

PLATINUM = (3.9083e-3, -5.775e-7, -4.183e-12)
"""A, B, C of IEC 60751, per °C, °C², °C⁴."""

_T25 = 298.15


def ntc_resistance(r25: Quantity, beta: Quantity, temperature: Quantity) -> Quantity:
    """Resistance of an NTC thermistor by its B value (IEC 60539-1).

    Args:
        r25: resistance at 25 °C.
        beta: B value, in kelvin.
        temperature: of the thermistor.
    """
    kelvin = np.asarray(temperature.to("kelvin").magnitude)
    resistance: Quantity = r25 * float(ntc_ratio(beta.to("kelvin").magnitude, kelvin))
    return resistance


def ntc_ratio(beta: Floats | float, kelvin: Floats) -> Floats:
    """Resistance of an NTC thermistor over that at 25 °C (IEC 60539-1); arrays of one shape."""
    return np.asarray(np.exp(beta * (1 / kelvin - 1 / _T25)))


def ntc_temperature(r25: Quantity, beta: Quantity, resistance: Quantity) -> Quantity:
    """Temperature in °C of an NTC thermistor from its resistance (IEC 60539-1)."""
    ratio = (resistance / r25).to("dimensionless").magnitude
    kelvin = 1 / (1 / _T25 + math.log(ratio) / beta.to("kelvin").magnitude)
    return ureg.Quantity(kelvin, "kelvin").to("degC")


@dataclass(frozen=True, slots=True)
class SteinhartHart:
    """The three coefficients of a thermistor, for resistances in ohm and kelvin."""

    a: float
    b: float
    c: float

    @classmethod
    def through(cls, points: Sequence[tuple[Quantity, Quantity]]) -> SteinhartHart:
        """The curve through exactly three (resistance, temperature) pairs."""
        if len(points) != 3:
            raise ValueError("the Steinhart-Hart equation takes exactly three points")
        logs = np.log([r.to("ohm").magnitude for r, _ in points])
        inverse = [1 / t.to("kelvin").magnitude for _, t in points]
        a, b, c = np.linalg.solve(np.stack([logs**0, logs, logs**3], axis=1), inverse)
        return cls(float(a), float(b), float(c))

    def temperature(self, resistance: Quantity) -> Quantity:
        """Temperature in °C at `resistance`."""
        log = math.log(resistance.to("ohm").magnitude)
        return ureg.Quantity(1 / (self.a + self.b * log + self.c * log**3), "kelvin").to("degC")

    def resistance(self, temperature: Quantity) -> Quantity:
        """Resistance in ohm at `temperature`: the real root of the cubic (Cardano)."""
        x = (self.a - 1 / temperature.to("kelvin").magnitude) / (2 * self.c)
        y = math.sqrt((self.b / (3 * self.c)) ** 3 + x * x)
        return ureg.Quantity(math.exp(math.cbrt(y - x) - math.cbrt(y + x)), "ohm")


def platinum_resistance(temperature: Quantity, r0: Quantity | None = None) -> Quantity:
    """Resistance of a platinum thermometer, -200 to 850 °C (IEC 60751).

    Args:
        temperature: of the thermometer.
        r0: resistance at 0 °C; 100 Ω (Pt100) if not given.
    """
    a, b, c = PLATINUM
    t = temperature.to("degC").magnitude
    if not -200 <= t <= 850:
        raise ValueError(f"IEC 60751 covers -200 to 850 °C, not {t:g} °C")
    below = c * (t - 100) * t**3 if t < 0 else 0.0
    base: Quantity = ureg.Quantity(100, "ohm") if r0 is None else r0
    resistance: Quantity = base * (1 + a * t + b * t * t + below)
    return resistance


def platinum_temperature(resistance: Quantity, r0: Quantity | None = None) -> Quantity:
    """Temperature in °C of a platinum thermometer: the inverse by Newton's method (IEC 60751)."""
    a, b, c = PLATINUM
    base = ureg.Quantity(100, "ohm") if r0 is None else r0
    ratio = (resistance / base).to("dimensionless").magnitude
    t = (ratio - 1) / a
    for _ in range(50):
        low = t < 0
        value = 1 + a * t + b * t * t + (c * (t - 100) * t**3 if low else 0.0)
        slope = a + 2 * b * t + (c * (4 * t**3 - 300 * t * t) if low else 0.0)
        step = (value - ratio) / slope
        t -= step
        if abs(step) < 1e-10:
            break
    return ureg.Quantity(t, "degC")
