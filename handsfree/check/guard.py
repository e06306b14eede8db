"""How near to a limit a reading proves nothing.

Sources:
    ISO 14253-1: conformity is proven only where its probability is at least 95 %,
    non-conformity likewise.
    JCGM 106:2012 (role of measurement uncertainty in conformity assessment): guard bands.
    JCGM 100:2008, 4.3.7: a maker's limits ±a mean a standard uncertainty of a/√3.
"""

from __future__ import annotations

import math
from statistics import NormalDist

from handsfree.units import Quantity

#: Probability asked of a pass or a fail (ISO 14253-1).
PROVEN = 0.95


def guard_band(error: Quantity, proven: float = PROVEN) -> Quantity:
    """How far from a limit a reading must lie to pass or to fail.

    Args:
        error: largest error of the meter at the reading, of any unit.
        proven: probability asked of it; 1.64 standard uncertainties at 95 %.
    """
    band: Quantity = error * (NormalDist().inv_cdf(proven) / math.sqrt(3))
    return band
