"""How a number goes wrong between the display and the log.

A mis-heard reading is not any number: one digit is another, the decimal point has moved by
one place, or a -teen was heard as a -ty.  That these are rarely what a fault would read is
why one bad number need not convict a part.  Shares: common practice, no published source.

Plain floats; a reading is counted in the last digit of the display.
"""

from __future__ import annotations

import numpy as np

from handsfree.circuit.values import Array

_DIGIT, _SLIP, _TEEN = 0.6, 0.2, 0.2
"""Shares of the three ways, each spread evenly over what it can give."""


def mishearings(counts: Array, places: int = 4) -> tuple[Array, Array]:
    """What each number may be heard as instead.

    Args:
        counts: (n,) displayed numbers in counts of the last digit.
        places: digits of the display.

    Returns:
        heard: (n, K) in the same counts; a moved point may give fractions.
        weights: (n, K), each row sums to 1.
    """
    size, sign = np.abs(np.round(counts)), np.where(counts < 0, -1.0, 1.0)
    power = 10.0 ** np.arange(places)
    digit = size[:, None] // power % 10
    wanted = np.arange(10)
    heard = size[:, None, None] + (wanted - digit[..., None]) * power[:, None]
    spoken = (size[:, None] >= power) | (power == 1)
    other = (spoken[..., None] & (wanted != digit[..., None])).astype(np.float64)
    replaced, replaced_weight = heard.reshape(len(size), -1), other.reshape(len(size), -1)

    slipped = size[:, None] * np.array([10.0, 0.1])
    slip_weight = np.ones_like(slipped) * (size > 0)[:, None]

    top = 10.0 ** np.maximum(np.floor(np.log10(np.maximum(size, 1))) - 1, 0)
    lead = size // top
    ty = (lead - 10) * 10
    teen = 10 + lead / 10
    is_teen, is_ty = (lead > 12) & (lead < 20), (lead >= 30) & (lead % 10 == 0)
    swapped = np.where(is_teen, ty, np.where(is_ty, teen, lead))
    teenty = (size + (swapped - lead) * top)[:, None]
    teen_weight = (is_teen | is_ty).astype(np.float64)[:, None]

    weights = np.concatenate(
        [
            _DIGIT * replaced_weight / replaced_weight.sum(axis=1, keepdims=True),
            _SLIP * slip_weight / 2,
            _TEEN * teen_weight,
        ],
        axis=1,
    )
    every = np.concatenate([replaced, slipped, teenty], axis=1) * sign[:, None]
    return every, weights / weights.sum(axis=1, keepdims=True)
