"""Lead-acid starter batteries: voltage at rest by state of charge.

Sources:
    Battery Council International, service manual: open-circuit voltage by state of charge
    of a flooded 12 V battery at 80 °F (26.7 °C), after rest.
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

OPEN_CIRCUIT_AGM: tuple[tuple[float, float], ...] = (
    (0, 11.81), (25, 12.05), (50, 12.35), (75, 12.60), (100, 12.85),
)  # fmt: skip
"""The same of an AGM battery, which stands a fifth of a volt higher when full: common practice of
makers' charge tables, from memory."""

VOLTS_PER_KELVIN = 6 * 0.0002
"""Volts per kelvin for six cells: about +0.2 mV per cell and kelvin (Vinal)."""


_REFERENCE = 26.7


def open_circuit_voltage(
    charge: Quantity, temperature: Quantity | None = None, *, agm: bool = False
) -> Quantity:
    """Voltage at rest of a 12 V battery (BCI; temperature after Vinal).

    Args:
        charge: state of charge, 0 to 100 %.
        temperature: of the electrolyte; 26.7 °C if not given.
        agm: its electrolyte is held in glass mat; else it is flooded.
    """
    percent, volts = zip(*(OPEN_CIRCUIT_AGM if agm else OPEN_CIRCUIT), strict=True)
    at_rest = np.interp(charge.to("percent").magnitude, percent, volts)
    return ureg.Quantity(float(at_rest) + _shift(temperature), "V")


def _shift(temperature: Quantity | None) -> float:
    if temperature is None:
        return 0.0
    return float(VOLTS_PER_KELVIN * (temperature.to("degC").magnitude - _REFERENCE))
