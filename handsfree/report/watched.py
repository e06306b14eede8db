"""The watches of a job and its imported records, as a page shows them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from handsfree.check import expected
from handsfree.events import RecordImported, Watch
from handsfree.events.watches import EXCURSIONS, clock
from handsfree.log import JobRecord
from handsfree.report.timeline import TimeLine, TimeMark, timeline


@dataclass(frozen=True, slots=True)
class Shown:
    """One watch or record on the page.

    Attributes:
        heading: what it is of.
        summary: what came of it.
        drawing: SVG of value against time; empty for none.
        rows: time and what was seen.
        source: name of the file and its SHA-256; empty for what was told.
    """

    heading: str
    summary: str
    drawing: str
    rows: tuple[tuple[str, str], ...]
    source: str = ""


def watched(record: JobRecord) -> list[Shown]:
    """Every watch, then every record, in order."""
    told = [_watch(record, watch) for watch in record.session.watches]
    return [*told, *_records(record)]


def _watch(record: JobRecord, watch: Watch) -> Shown:
    ended = watch.ended
    lasted = ended.lasted if ended else max((one.after for one in watch.seen), default=0.0)
    unit = next((one.unit for one in watch.seen if one.value is not None), "")
    limits: tuple[float | None, float | None] = (None, None)
    if watch.begun.step and unit:
        wanted = expected(record.plan.step(watch.begun.step), record.session.taken)
        low, high = (
            float(one.m_as(unit)) if one is not None and one.is_compatible_with(unit) else None
            for one in (wanted.low, wanted.high)
        )
        limits = low, high
    marks = [
        TimeMark(
            one.after,
            one.value if one.unit == unit or one.value is None else None,
            one.figures,
            one.shows in EXCURSIONS,
        )
        for one in watch.seen
    ]
    count = len(watch.excursions)
    reach = f", {ended.reach}" if ended and ended.reach else ""
    over = f"in {clock(lasted)}" if ended else "so far; the watch is not over"
    return Shown(
        f"Watch {watch.begun.number}: {watch.begun.wire}",
        f"{_counted(count)} {over}{reach}",
        timeline(TimeLine(lasted, unit, marks, (), limits)) if marks else "",
        tuple((clock(one.after), one.figures) for one in watch.seen),
    )


def _records(record: JobRecord) -> Iterator[Shown]:
    for logged in record.events:
        if isinstance(logged.event, RecordImported):
            yield _record(record, logged.event)


def _record(record: JobRecord, told: RecordImported) -> Shown:
    at = f"watch {told.watch}" if told.watch else ""
    if told.step and not at:
        step = record.plan.step(told.step)
        at = record.plan.wires(step) or step.id.replace("_", " ")
    marks = [
        TimeMark(one.after, one.extreme, f"{one.side}, {one.extreme:g} {told.unit}")
        for one in told.excursions
    ]
    rows = (
        (
            clock(one.after),
            f"{one.side}, {one.extreme:g} {told.unit}, for {one.lasted * 1000:.0f} ms",
        )
        for one in told.excursions
    )
    limits = told.low, told.high
    return Shown(
        f"Record of {at}",
        f"{_counted(len(told.excursions))} in {clock(told.lasted)}; {told.samples} samples, level "
        f"{told.level:g} {told.unit}, beyond {told.band:.3g} {told.unit} or the limits",
        timeline(TimeLine(told.lasted, told.unit, marks, told.outline, limits)),
        tuple(rows),
        f"{told.source}, SHA-256 {told.record_sha256}",
    )


def _counted(count: int) -> str:
    return "1 excursion" if count == 1 else f"{count} excursions"
