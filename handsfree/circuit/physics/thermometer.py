"""NTC thermistors.

Source:
    IEC 60539-1: the B value of an NTC thermistor, R = R₀·exp(B·(1/T − 1/T₀)).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_T25 = 298.15


def ntc_ratio(beta: Floats | float, kelvin: Floats) -> Floats:
    """Resistance of an NTC thermistor over that at 25 °C (IEC 60539-1); arrays of one shape."""
    return np.asarray(np.exp(beta * (1 / kelvin - 1 / _T25)))
