"""A sweep after the repair: does the feedback follow the command over the whole travel?

Judged are the two end stops, the direction (monotone), dead segments (the command moves
and the feedback does not), jumps, and the hysteresis between the way up and the way down.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from handsfree.check.expected import Taken
from handsfree.meaning.meanings import Reading
from handsfree.plan.schema import Plan
from handsfree.units import Quantity, ureg

Flaw = Literal["end stop", "direction", "dead segment", "jump", "hysteresis", "too few points"]

#: A segment that changes less than this share of the mean slope is dead, one that changes
#: more than `JUMP` times as much is a jump.  Common practice, no published source.
DEAD, JUMP = 0.25, 2.5


@dataclass(frozen=True, slots=True)
class SweepLimits:
    """What a sweep must show.

    Attributes:
        at_zero, at_full: lowest and highest feedback allowed at 0 % and at 100 % command.
        hysteresis: largest difference between the way up and the way down.
    """

    at_zero: tuple[Quantity, Quantity]
    at_full: tuple[Quantity, Quantity]
    hysteresis: Quantity


@dataclass(frozen=True, slots=True)
class SweepFault:
    """One thing that is wrong.

    Attributes:
        flaw: its kind.
        command: the command at which it is, in percent; None for the whole sweep.
        value: the feedback there, or the difference for hysteresis.
    """

    flaw: Flaw
    command: Quantity | None = None
    value: Quantity | None = None


def limits_of(plan: Plan) -> SweepLimits | None:
    """The limits of the plan's sweep: those of the steps at its two ends."""
    sweep = plan.sweep
    if sweep is None:
        return None
    ends = [
        plan.step(end(sweep.command, key=lambda s: sweep.command[s])).expect for end in (min, max)
    ]
    (low, high) = [(e.low, e.high) for e in ends]
    if low[0] is None or low[1] is None or high[0] is None or high[1] is None:
        return None
    return SweepLimits((low[0], low[1]), (high[0], high[1]), sweep.hysteresis)


def taken_sweep(plan: Plan, taken: Taken) -> tuple[SweepFault, ...]:
    """What is wrong with the sweep that was dictated; empty if nothing is, or none was."""
    limits = limits_of(plan)
    if plan.sweep is None or limits is None:
        return ()
    takes = [(command, taken.get(step)) for step, command in plan.sweep.command.items()]
    points = [(c, t.value) for c, t in takes if isinstance(t, Reading) and t.value is not None]
    return judge_sweep(points, limits) if len(points) == len(takes) else ()


def judge_sweep(
    points: Sequence[tuple[Quantity, Quantity]], limits: SweepLimits
) -> tuple[SweepFault, ...]:
    """Everything that is wrong with a sweep; empty if nothing is.

    Args:
        points: command (percent) and feedback, in the order in which they were taken.
        limits: what it must show.

    Raises:
        pint.DimensionalityError: feedback and limits are not of one kind.
    """
    unit = limits.hysteresis.units
    command = np.array([float(c.m_as("percent")) for c, _ in points])
    feedback = np.array([float(f.m_as(unit)) for _, f in points])
    if len(points) < 3 or np.ptp(command) < 90:
        return (SweepFault("too few points"),)

    def fault(flaw: Flaw, at: float, value: float) -> SweepFault:
        return SweepFault(flaw, ureg.Quantity(at, "percent"), ureg.Quantity(value, unit))

    faults = []
    for end, (low, high) in ((command.min(), limits.at_zero), (command.max(), limits.at_full)):
        for value in feedback[command == end]:
            if not float(low.m_as(unit)) <= value <= float(high.m_as(unit)):
                faults.append(fault("end stop", end, float(value)))
    middle = [sum(float(q.m_as(unit)) for q in end) / 2 for end in (limits.at_zero, limits.at_full)]
    slope = (middle[1] - middle[0]) / 100
    moved, changed = np.diff(command), np.diff(feedback)
    for index in np.flatnonzero(moved):
        with np.errstate(over="ignore"):  # a step of nearly nothing is endlessly steep
            share = changed[index] / (moved[index] * slope)
        flaw: Flaw | None = None
        if share < -DEAD:
            flaw = "direction"
        elif share < DEAD:
            flaw = "dead segment"
        elif share > JUMP:
            flaw = "jump"
        if flaw:
            faults.append(fault(flaw, float(command[index + 1]), float(feedback[index + 1])))
    gap, at = _hysteresis(command, feedback)
    if gap > float(limits.hysteresis.m_as(unit)):
        faults.append(fault("hysteresis", at, gap))
    return tuple(faults)


def _hysteresis(
    command: np.ndarray[tuple[int], np.dtype[np.float64]],
    feedback: np.ndarray[tuple[int], np.dtype[np.float64]],
) -> tuple[float, float]:
    """Largest difference between the way up and the way down, and the command there."""
    turn = int(np.argmax(command))
    up, down = slice(0, turn + 1), slice(turn, None)
    if turn == 0 or turn == len(command) - 1:
        return 0.0, 0.0
    order = np.argsort(command[up])
    there = np.interp(command[down], command[up][order], feedback[up][order])
    gaps = np.abs(feedback[down] - there)
    worst = int(np.argmax(gaps))
    return float(gaps[worst]), float(command[down][worst])
