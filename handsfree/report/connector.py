"""The connector face-on: its pins by number, each with its wire and what was found of it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from markupsafe import Markup

from handsfree.log import JobRecord
from handsfree.log.standing import LoggedReading
from handsfree.plan import Pin
from handsfree.report.colours import paints
from handsfree.report.svg import BAD, GOOD, INK, PAPER, SOFT_INK, Drawing

_ROW, _BODY, _SIDE, _TOP = 46.0, 64.0, 330.0, 26.0


@dataclass(frozen=True, slots=True)
class PinMark:
    """What was found of a pin, as a sign and a word."""

    sign: str
    word: str
    colour: str


def mark(pin: str, readings: Iterable[LoggedReading]) -> PinMark:
    """What the readings that stand say of a pin before the repair: the worst of them counts."""
    here = [r for r in readings if pin in r.pins]
    logged = [r.entry for r in here if r.entry.verdict.result == "logged"]
    failed = [r for r in here if not r.entry.verdict.passed and r.entry not in logged]
    if logged and not failed:
        return PinMark("–", f"logged: {', '.join(one.figures for one in logged)}", INK)
    if failed:
        first = failed[0].entry
        return PinMark("✗", f"{first.verdict.result}: #{first.number} {first.figures}", BAD)
    if here:
        return PinMark("✓", "as expected", GOOD)
    return PinMark("–", "not tested", SOFT_INK)


def connector(record: JobRecord) -> Markup:
    """The connector of the plan, in one column of pins, or two where there are many."""
    plan = record.plan
    pins = plan.connector.pins
    test = [r for r in record.readings.standing if plan.step(r.entry.step).phase == "test"]
    marks = {pin.number: mark(pin.number, test) for pin in pins}
    told = "; ".join(
        f"pin {p.number} {p.wire}, {p.function}: {marks[p.number].sign} {marks[p.number].word}"
        for p in pins
    )
    drawing = Drawing("face", f"{plan.connector.name}, face-on", told)
    double = len(pins) > 6
    rows = (len(pins) + 1) // 2 if double else len(pins)
    left = _SIDE if double else 4.0
    body = 2 * _BODY if double else _BODY
    height = _TOP + rows * _ROW + 16
    drawing.text(left, 14, plan.connector.name, 12, font_weight="bold")
    drawing.box(left, _TOP, body, rows * _ROW + 10, rx=10, stroke_width=2)
    for place, pin in enumerate(pins):
        mirrored = double and place < rows
        y = _TOP + 5 + (place % rows + 0.5) * _ROW
        x = left + body - _BODY / 2 if not mirrored else left + _BODY / 2
        edge = left if mirrored else left + body
        _pin(drawing, pin, marks[pin.number], x, y, edge, -1 if mirrored else 1)
    return drawing.sized(left + body + _SIDE, height)


def _pin(
    drawing: Drawing, pin: Pin, found: PinMark, x: float, y: float, edge: float, way: int
) -> None:
    """One pin, its wire to the side, and the words beside it."""
    drawing.box(x - 19, y - 13, 38, 26, rx=2, fill=PAPER, stroke=INK, stroke_width=1.5)
    size = 12 if len(pin.number) < 4 else 9
    drawing.text(x, y + 4, pin.number, size, text_anchor="middle", font_weight="bold")
    ends = sorted((edge, edge + way * 60))
    drawing.wire(ends[0], ends[1], y, *paints(pin))
    anchor = "start" if way > 0 else "end"
    at = edge + way * 70
    drawing.text(at, y - 4, f"{pin.wire}, {pin.function}", 11, text_anchor=anchor)
    words = f"{found.sign} {found.word}"
    drawing.text(at, y + 12, words, 11, text_anchor=anchor, fill=found.colour, font_weight="bold")
