"""Lead-acid starter batteries: state of charge at rest, and the load test.

Sources:
    Battery Council International, service manual: open-circuit voltage by state of charge
    of a flooded 12 V battery at 80 °F (26.7 °C), after rest; load test at half the cold
    cranking current for 15 s, least voltage by temperature.
    Vinal, "Storage Batteries": temperature coefficient of the cell's electromotive force.
    The charge values are from memory.
"""

from __future__ import annotations

import numpy as np

from handsfree.units import Quantity, ureg

OPEN_CIRCUIT: tuple[tuple[float, float], ...] = (
    (0, 11.89), (25, 12.06), (50, 12.24), (75, 12.45), (100, 12.65),
)  # fmt: skip
"""State of charge in %, open-circuit voltage in V at 26.7 °C, flooded 12 V battery (BCI)."""

VOLTS_PER_KELVIN = 6 * 0.0002
"""Volts per kelvin for six cells: about +0.2 mV per cell and kelvin (Vinal)."""

LOAD_TEST: tuple[tuple[float, float], ...] = (
    (-18, 8.5), (-12, 8.7), (-7, 8.9), (-1, 9.1), (4, 9.3), (10, 9.4), (16, 9.5), (21, 9.6),
)  # fmt: skip
"""Temperature in °C, least voltage in V after 15 s at half the cold cranking current (BCI)."""

_REFERENCE = 26.7


def open_circuit_voltage(charge: Quantity, temperature: Quantity | None = None) -> Quantity:
    """Voltage at rest of a flooded 12 V battery (BCI; temperature after Vinal).

    Args:
        charge: state of charge, 0 to 100 %.
        temperature: of the electrolyte; 26.7 °C if not given.
    """
    percent, volts = zip(*OPEN_CIRCUIT, strict=True)
    at_rest = np.interp(charge.to("percent").magnitude, percent, volts)
    return ureg.Quantity(float(at_rest) + _shift(temperature), "V")


def state_of_charge(voltage: Quantity, temperature: Quantity | None = None) -> Quantity:
    """State of charge in % from the voltage at rest, held between 0 and 100 %.

    Valid after rest without load or charge (surface charge gone): common practice is
    several hours, or a short load first.
    """
    percent, volts = zip(*OPEN_CIRCUIT, strict=True)
    at_rest = voltage.to("V").magnitude - _shift(temperature)
    return ureg.Quantity(float(np.interp(at_rest, volts, percent)), "percent")


def load_test_voltage(temperature: Quantity) -> Quantity:
    """Least voltage after 15 s at half the cold cranking current (BCI)."""
    degrees, volts = zip(*LOAD_TEST, strict=True)
    return ureg.Quantity(float(np.interp(temperature.to("degC").magnitude, degrees, volts)), "V")


def _shift(temperature: Quantity | None) -> float:
    if temperature is None:
        return 0.0
    return float(VOLTS_PER_KELVIN * (temperature.to("degC").magnitude - _REFERENCE))
