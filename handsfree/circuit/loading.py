"""A wire that is loaded: a test lamp on the battery feeds it, and a meter shows what is lost in it.

A wire of which one strand is left carries the current of an ohmmeter as well as a sound one; under
load it does not.  The lamp is one of 21 W for the battery's voltage (UN Regulation No. 37: P21W).
"""

from __future__ import annotations

import numpy as np

from handsfree.circuit.network import current
from handsfree.circuit.values import Array

WATTS, COLD = 21.0, 0.08
"""Rated power, and cold over hot resistance as `parts.Lamp` has it."""

_TRUCK = 18.0  # V: above it, a system of 24 V
_ROUNDS = 12  # each leaves less than half of the error
_LEAST = 1e-6  # V


def lost_in(supply: Array, ohms: Array) -> Array:
    """Voltage between the ends of what is loaded.

    Args:
        supply: volts of the battery.
        ohms: resistance between the ends; same shape.
    """
    supply, ohms = np.broadcast_arrays(supply, ohms)
    curve = np.empty((1, 3, supply.size))
    curve[0, 0], curve[0, 1], curve[0, 2] = (
        np.where(supply.ravel() > _TRUCK, 24.0, 12.0),
        WATTS,
        COLD,
    )
    full, ohms = supply.ravel().astype(np.float64), ohms.ravel()
    across = full.copy()  # the lamp; hot at first
    for _ in range(_ROUNDS):
        lamp = across / current(("lamp",), across[None], curve)[0][0]
        across = np.maximum(full * lamp / (lamp + ohms), _LEAST)
    return np.asarray((full - across).reshape(supply.shape))
