"""A value against time, drawn as SVG: what was seen in a watch, or what a record holds.

Pure: numbers in, text out.  The drawing needs no script, no font and no colour to be read: marks
differ in shape, and every mark has its time and value as a title.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from html import escape

#: In units of the drawing; a page scales it.
WIDTH, _HEIGHT, LEFT, RIGHT, TOP, BOTTOM = 800, 220, 64, 12, 12, 30
#: Labels along each axis, at most.
MOST_TICKS = 6


@dataclass(frozen=True, slots=True)
class TimeMark:
    """Something at a time.

    Attributes:
        after: seconds from the beginning.
        value: None where none is known; it is then marked over the whole height.
        label: for people.
        excursion: whether it counts as one, and so is filled.
    """

    after: float
    value: float | None
    label: str
    excursion: bool = True


@dataclass(frozen=True, slots=True)
class TimeLine:
    """What is drawn.

    Attributes:
        lasted: seconds.
        unit: of the values.
        marks: in order of time.
        trace: (seconds, lowest, highest) of each stretch of a record, in order.
        limits: lowest and highest value that is right; None for no limit.
    """

    lasted: float
    unit: str
    marks: Sequence[TimeMark] = ()
    trace: Sequence[tuple[float, float, float]] = ()
    limits: tuple[float | None, float | None] = (None, None)


def timeline(drawing: TimeLine) -> str:
    """The drawing as an SVG element; empty where there is nothing to draw."""
    values = [mark.value for mark in drawing.marks if mark.value is not None]
    values += [each for _, low, high in drawing.trace for each in (low, high)]
    if not values and not drawing.marks:
        return ""
    values += [limit for limit in drawing.limits if limit is not None and values]
    low, high = (min(values), max(values)) if values else (0.0, 1.0)
    room = (high - low) * 0.06 or abs(high) * 0.1 or 1.0
    low, high = low - room, high + room
    lasted = max([drawing.lasted, *(mark.after for mark in drawing.marks)]) or 1.0

    def x(after: float) -> str:
        return f"{LEFT + (WIDTH - LEFT - RIGHT) * min(max(after / lasted, 0.0), 1.0):.1f}"

    def y(value: float) -> str:
        return f"{TOP + (_HEIGHT - TOP - BOTTOM) * (high - value) / (high - low):.1f}"

    floor, end = _HEIGHT - BOTTOM, WIDTH - RIGHT
    parts = [f'<path d="M{LEFT} {TOP}V{floor}H{end}" fill="none" stroke="currentColor"/>']
    for limit in drawing.limits:
        if limit is not None and values:
            line = f'<path d="M{LEFT} {y(limit)}H{end}" stroke="currentColor" '
            title = f"<title>limit {limit:g} {escape(drawing.unit)}</title>"
            parts.append(f'{line}stroke-dasharray="6 4" opacity="0.6">{title}</path>')
    if drawing.trace:
        above = " ".join(f"{x(at)},{y(top)}" for at, _, top in drawing.trace)
        below = " ".join(f"{x(at)},{y(bottom)}" for at, bottom, _ in reversed(drawing.trace))
        parts.append(
            f'<polygon points="{above} {below}" fill="currentColor" fill-opacity="0.35" '
            'stroke="currentColor" stroke-width="0.8"/>'
        )
    parts += [_mark(mark, x(mark.after), y, floor) for mark in drawing.marks]
    for at in _ticks(0.0, lasted, seconds=True):
        parts.append(_label(x(at), f"{floor + 18}", "middle", _minutes(at)))
    for value in _ticks(low, high) if values else ():
        told = f"{value:.6g} {drawing.unit}".rstrip()
        parts.append(_label(f"{LEFT - 6}", f"{float(y(value)) + 4:.1f}", "end", told))
    count = sum(mark.excursion for mark in drawing.marks)
    name = f"{count} excursions in {_minutes(drawing.lasted)}"
    return (
        f'<svg viewBox="0 0 {WIDTH} {_HEIGHT}" role="img" aria-label="{name}" width="100%" '
        f'font-size="12" font-family="sans-serif">{"".join(parts)}</svg>'
    )


def _mark(mark: TimeMark, x: str, y: Callable[[float], str], floor: int) -> str:
    title = f"<title>{_minutes(mark.after)} {escape(mark.label)}</title>"
    if mark.value is None:
        dashes = 'stroke-width="1.5"' if mark.excursion else 'stroke-dasharray="2 3"'
        return f'<path d="M{x} {TOP}V{floor}" stroke="currentColor" {dashes}>{title}</path>'
    fill = "currentColor" if mark.excursion else "none"
    circle = f'<circle cx="{x}" cy="{y(mark.value)}" r="4" fill="{fill}"'
    return f'{circle} stroke="currentColor">{title}</circle>'


def _label(x: str, y: str, anchor: str, text: str) -> str:
    return f'<text x="{x}" y="{y}" text-anchor="{anchor}" fill="currentColor">{escape(text)}</text>'


def _ticks(low: float, high: float, *, seconds: bool = False) -> list[float]:
    """Round numbers from `low` to `high`."""
    rough = (high - low) / MOST_TICKS
    steps = [10.0**power * one for power in range(-12, 13) for one in (1, 2, 5)]
    if seconds:
        steps = [1, 2, 5, 10, 15, 30, *(60 * one for one in steps if one >= 1)]
    step = next((one for one in sorted(steps) if one >= rough), rough)
    first = -(-low // step)
    return [(first + k) * step for k in range(MOST_TICKS + 1) if (first + k) * step <= high]


def _minutes(seconds: float) -> str:
    whole = round(seconds)
    return f"{whole // 60}:{whole % 60:02d}"
