"""Excursions in a record: where a value left its own steady level, or the limits of a step.

The level may drift, as a battery's does: it is the median of a stretch of seconds, so that an
excursion does not move it.  The noise is that of the record itself, by the median of its
deviations, which no excursion moves either (P. J. Huber, Robust Statistics, 1981, from memory: a
normal standard deviation is 1.4826 times it).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np
import numpy.typing as npt

_Array = npt.NDArray[np.float64]
Side = Literal["low", "high"]

#: Standard deviations of the noise beyond which a value has left its level.  Of ten minutes at
#: 1 kHz one sample in a thousand records is so far away by chance.
BEYOND = 6.5
#: What is beyond for less time than this is a spike of the meter, seconds.  So is what is but one
#: sample of many within it.
LEAST = 0.01
#: What comes back for less time than this has not come back: a contact bounces, seconds.
BOUNCE = 0.02
#: Seconds of a stretch of which the level is the median, and how many stretches on either side.
STRETCH, ASIDE_STRETCHES = 5.0, 2
#: Share of a record beyond its level above which it has none.
MOST_BEYOND = 0.25
#: Points of an outline, at most.
OUTLINE = 600
_NORMAL = 1.4826


@dataclass(frozen=True, slots=True)
class Excursion:
    """One excursion.

    Attributes:
        after: seconds from the first sample.
        lasted: seconds.
        extreme: the value farthest from the level, in the unit of the record.
        side: where it went.
    """

    after: float
    lasted: float
    extreme: float
    side: Side


@dataclass(frozen=True, slots=True)
class Recorded:
    """What a record holds, in its own unit.

    Attributes:
        lasted: seconds.
        level: median of all.
        band: how far from the level a value may be by its noise, or as it was told.
        limits: those that counted beside the band; None where none did.
        found: the excursions, in order.
        outline: (seconds, lowest, highest) of each stretch, for a drawing.
    """

    lasted: float
    level: float
    band: float
    limits: tuple[float | None, float | None]
    found: tuple[Excursion, ...]
    outline: tuple[tuple[float, float, float], ...]


class NoLevel(ValueError):
    """So much of a record lies beyond its level that it has none."""


def excursions(
    times: _Array,
    values: _Array,
    *,
    limits: tuple[float | None, float | None] = (None, None),
    band: float | None = None,
) -> Recorded:
    """Every excursion of a record.

    Args:
        times: (n,) seconds, rising, n at least 3.
        values: (n,) in any unit.
        limits: lowest and highest value that is right; a limit counts only while the level itself
            keeps it, since what is always wrong is no excursion.
        band: distance from the level that is none, instead of that of the noise.

    Raises:
        NoLevel: the record has no steady level from which anything could go.
    """
    gaps = np.diff(times)
    interval = float(np.median(gaps))
    level = _level(times, values, interval)
    off = values - level
    if band is None:
        noise = _NORMAL * float(np.median(np.abs(off)))
        band = max(BEYOND * noise, 3 * _count(values))
    middle = float(np.median(values))
    low, high = limits
    kept = (
        low if low is not None and middle >= low else None,
        high if high is not None and middle <= high else None,
    )
    below, above = off < -band, off > band
    if kept[0] is not None:
        below |= values < kept[0]
    if kept[1] is not None:
        above |= values > kept[1]
    if float(np.mean(below | above)) > MOST_BEYOND:
        raise NoLevel("the value has no steady level: too much of it is beyond")
    sides: tuple[tuple[Side, npt.NDArray[np.bool_]], ...] = (("low", below), ("high", above))
    found = []
    for side, beyond in sides:
        for first, last in _runs(times, beyond, interval):
            stay = values[first : last + 1]
            lasted = float(times[last] - times[first]) + interval
            extreme = float(stay.min() if side == "low" else stay.max())
            after = float(times[first] - times[0])
            found.append(Excursion(round(after, 4), round(lasted, 4), extreme, side))
    return Recorded(
        lasted=float(times[-1] - times[0]),
        level=middle,
        band=band,
        limits=kept,
        found=tuple(sorted(found, key=lambda one: one.after)),
        outline=_outline(times, values),
    )


def _level(times: _Array, values: _Array, interval: float) -> _Array:
    """The level at each sample: medians of stretches, each the median of its neighbours, joined."""
    size = max(int(STRETCH / interval), 3)
    ends = np.arange(0, len(values), size)
    if len(ends) > 1 and len(values) - ends[-1] < size // 2:
        ends = ends[:-1]  # the last one takes what is left
    bounds = [*ends, len(values)]
    stretches = [slice(a, b) for a, b in pairwise(bounds)]
    medians = np.array([np.median(values[one]) for one in stretches])
    near = [
        medians[max(k - ASIDE_STRETCHES, 0) : k + ASIDE_STRETCHES + 1] for k in range(len(medians))
    ]
    middles = np.array([np.median(times[one]) for one in stretches])
    return np.asarray(np.interp(times, middles, [np.median(one) for one in near]))


def _count(values: _Array) -> float:
    """One count of the display, as far as the record shows it: the smallest step between values."""
    some = np.unique(values[:: max(len(values) // 20_000, 1)])
    steps = np.diff(some)
    return float(steps.min()) if len(steps) else 0.0


def _runs(times: _Array, beyond: npt.NDArray[np.bool_], interval: float) -> list[tuple[int, int]]:
    """First and last sample of each stay beyond, bounces joined and spikes left out."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], beyond.astype(np.int8), [0]))))
    joined: list[list[int]] = []
    for first, after in zip(edges[::2], edges[1::2], strict=True):
        if joined and times[first] - times[joined[-1][1]] <= BOUNCE + interval:
            joined[-1][1] = int(after) - 1
        else:
            joined.append([int(first), int(after) - 1])
    least = LEAST - interval / 2
    return [
        (a, b)
        for a, b in joined
        if times[b] - times[a] + interval > least and _dense(beyond[a : b + 1])
    ]


def _dense(stay: npt.NDArray[np.bool_]) -> bool:
    """Whether most of a stay was spent beyond: two spikes and nothing between are none."""
    return bool(stay.mean() > 0.3)


def _outline(times: _Array, values: _Array) -> tuple[tuple[float, float, float], ...]:
    bounds = np.linspace(0, len(values), min(OUTLINE, len(values)) + 1).astype(np.intp)[:-1]
    lows, highs = np.minimum.reduceat(values, bounds), np.maximum.reduceat(values, bounds)
    rows = zip(times[bounds] - times[0], lows, highs, strict=True)
    return tuple((round(float(t), 3), _six(low), _six(high)) for t, low, high in rows)


def _six(value: float) -> float:
    """To six significant digits."""
    return float(f"{value:.6g}")
