"""The differences that were told on request, as a page shows them."""

from __future__ import annotations

from dataclasses import dataclass

from handsfree.events import DifferenceTold
from handsfree.log import JobRecord
from handsfree.report.times import Clock


@dataclass(frozen=True, slots=True)
class ComparedRow:
    """One difference.

    Attributes:
        time: of day, local.
        what: of which wires, or from which to which.
        condition: under which both were read.
        value: it, in figures.
        of: the two readings, by their numbers.
        stands: whether both readings still count.
    """

    time: str
    what: str
    condition: str
    value: str
    of: str
    stands: bool


def compared(record: JobRecord, clock: Clock) -> list[ComparedRow]:
    """Every difference that was told, in order."""
    standing = {reading.entry.number for reading in record.readings.standing}
    return [
        _row(record, told, clock.hour(logged.time), stands=set(told.numbers) <= standing)
        for logged in record.events
        if isinstance(told := logged.event, DifferenceTold)
    ]


def _row(record: JobRecord, told: DifferenceTold, time: str, *, stands: bool) -> ComparedRow:
    (one, other), (a, b) = told.wires, told.numbers
    what = f"drop from {one} to {other}" if told.drop else f"{one} less {other}"
    condition = record.plan.condition(told.condition).say
    of = f"#{a}, {told.first:.6g} {told.unit}; #{b}, {told.second:.6g} {told.unit}"
    return ComparedRow(time, what, condition, told.figures, of, stands)
