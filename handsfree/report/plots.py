"""Sweeps of feedback against command, before and after the repair, with the band that is expected.

Drawn here and not by a plotting library: a dozen points need none, and theirs would be the
heaviest thing that the tool brings.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from markupsafe import Markup

from handsfree.check import limits_of
from handsfree.check.sweep import SweepLimits
from handsfree.events import StepOpened, SweepImported
from handsfree.log import JobRecord
from handsfree.meaning import Reading
from handsfree.report.svg import BAD, FAINT_INK, INK, SOFT_INK, Drawing

_LEFT, _TOP, _WIDE, _HIGH = 62.0, 18.0, 420.0, 220.0


@dataclass(frozen=True, slots=True)
class TakenSweep:
    """A sweep as it was taken.

    Attributes:
        heading: when, and how.
        points: command in percent and feedback in `unit`, in the order taken.
        unit: of the feedback.
        flaws: what is wrong with it, in words.
        at: commands at which something is wrong, as they are written.
    """

    heading: str
    points: tuple[tuple[float, float], ...]
    unit: str
    flaws: tuple[str, ...]
    at: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Plot:
    """A sweep and its drawing."""

    sweep: TakenSweep
    drawing: Markup


def plots(record: JobRecord) -> tuple[Plot, ...]:
    """Every sweep of the job, in order."""
    limits = limits_of(record.plan)
    sweeps = enumerate(_sweeps(record))
    return tuple(Plot(sweep, _drawn(f"sweep-{n}", sweep, limits)) for n, sweep in sweeps)


def _sweeps(record: JobRecord) -> Iterator[TakenSweep]:
    """Those that were imported, and the one whose steps were dictated."""
    when = "Before the repair"
    for logged in record.events:
        match logged.event:
            case StepOpened(phase="after_repair"):
                when = "After the repair"
            case SweepImported(source=source, points=points, unit=unit, flaws=flaws):
                told = tuple(
                    " ".join(filter(None, (f.flaw, f.command and f"at {f.command}", f.value)))
                    for f in flaws
                )
                at = tuple(f.command for f in flaws if f.command)
                yield TakenSweep(f"{when}, from {source}", points, unit, told, at)
    plan = record.plan
    if plan.sweep is None:
        return
    standing = record.session.standing
    points = tuple(
        (float(command.m_as("percent")), float(take.value.m_as(plan.sweep.hysteresis.units)))
        for step, command in plan.sweep.command.items()
        if step in standing
        and isinstance(take := standing[step].take, Reading)
        and take.value is not None
    )
    if len(points) > 1:
        flaws_told = tuple(
            f"{standing[step].verdict.result} at {command:~P}"
            for step, command in plan.sweep.command.items()
            if step in standing and not standing[step].verdict.passed
        )
        unit = f"{plan.sweep.hysteresis.units:~P}"
        yield TakenSweep("After the repair, as dictated", points, unit, flaws_told)


def _drawn(name: str, sweep: TakenSweep, limits: SweepLimits | None) -> Markup:
    told = ", ".join(f"{c:g} %: {f:g} {sweep.unit}" for c, f in sweep.points)
    drawing = Drawing(name, f"Feedback against command. {sweep.heading}", told)
    values = [feedback for _, feedback in sweep.points]
    if limits is not None:
        edges = (*limits.at_zero, *limits.at_full)
        values += [float(edge.m_as(sweep.unit)) for edge in edges]
    low, high = min(values), max(values)
    spare = (high - low or 1.0) * 0.08
    low, high = low - spare, high + spare

    def x(command: float) -> float:
        return _LEFT + min(max(command, -5.0), 105.0) / 100 * _WIDE

    def y(feedback: float) -> float:
        return _TOP + (high - feedback) / (high - low) * _HIGH

    if limits is not None:
        (a, b), (c, d) = limits.at_zero, limits.at_full
        ends = ((0.0, a), (100.0, c), (100.0, d), (0.0, b))
        corners = " ".join(
            f"{x(command):.1f},{y(float(edge.m_as(sweep.unit))):.1f}" for command, edge in ends
        )
        drawing.put(
            "polygon", points=corners, fill="#e8ece9", stroke=SOFT_INK, stroke_dasharray="4 3"
        )
    for mark in (0, 25, 50, 75, 100):
        drawing.line(x(mark), _TOP, x(mark), _TOP + _HIGH, stroke=FAINT_INK, stroke_width=0.6)
        foot = _TOP + _HIGH + 15
        drawing.text(x(mark), foot, f"{mark} %", 10, text_anchor="middle")
    for share in (0.0, 0.25, 0.5, 0.75, 1.0):
        value = low + share * (high - low)
        drawing.line(_LEFT, y(value), _LEFT + _WIDE, y(value), stroke=FAINT_INK, stroke_width=0.6)
        drawing.text(_LEFT - 6, y(value) + 4, f"{value:.3g} {sweep.unit}", 10, text_anchor="end")
    path = " ".join(f"{x(command):.1f},{y(feedback):.1f}" for command, feedback in sweep.points)
    drawing.put("polyline", points=path, fill="none", stroke=INK, stroke_width=1.6)
    for command, feedback in sweep.points:
        if f"{command:g} %" in sweep.at:
            drawing.text(x(command), y(feedback) + 6, "✗", 16, text_anchor="middle", fill=BAD)
        else:
            drawing.dot(x(command), y(feedback), 3.5)
    drawing.text(_LEFT + _WIDE / 2, _TOP + _HIGH + 32, "command", 11, text_anchor="middle")
    return drawing.sized(_LEFT + _WIDE + 30, _TOP + _HIGH + 40)
