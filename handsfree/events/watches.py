"""A watch with what was seen in it: the events of one watch, put together."""

from __future__ import annotations

from dataclasses import dataclass, replace

from handsfree.events.metering import (
    ExcursionSeen,
    ExcursionStruck,
    RecordImported,
    WatchBegun,
    WatchEnded,
)
from handsfree.units import Quantity, fits, quantity

#: What counts as an excursion; a value that is told, or that it is steady, is none.
EXCURSIONS = ("drop", "jump", "flicker", "dropout")


def clock(seconds: float) -> str:
    """A time within a watch in figures: "2:05.3"."""
    tenths = round(seconds * 10)
    return f"{tenths // 600}:{tenths % 600 // 10:02d}.{tenths % 10}"


@dataclass(frozen=True, slots=True)
class Watch:
    """One watch.

    Attributes:
        begun: its beginning.
        seen: what was seen, in order, without what was struck.
        last: number of the last that was seen, struck or not.
        ended: its end; None while it is on.
        records: that were taken in it.
    """

    begun: WatchBegun
    seen: tuple[ExcursionSeen, ...] = ()
    last: int = 0
    ended: WatchEnded | None = None
    records: tuple[RecordImported, ...] = ()

    def with_record(self, record: RecordImported) -> Watch:
        """With a record, if it was taken in this watch."""
        mine = record.watch == self.begun.number
        return replace(self, records=(*self.records, record)) if mine else self

    @property
    def moved(self) -> bool:
        """Whether anything was seen to leave its place, by the technician or in a record."""
        return bool(self.excursions) or any(one.excursions for one in self.records)

    def after(self, event: ExcursionSeen | ExcursionStruck | WatchEnded) -> Watch:
        """The watch after one more event of it."""
        match event:
            case ExcursionSeen(number=number):
                return replace(self, seen=(*self.seen, event), last=number)
            case ExcursionStruck(number=number):
                return replace(self, seen=tuple(one for one in self.seen if one.number != number))
            case WatchEnded():
                return replace(self, ended=event)

    @property
    def excursions(self) -> tuple[ExcursionSeen, ...]:
        """What was seen, without steady times and values that were only told."""
        return tuple(one for one in self.seen if one.shows in EXCURSIONS)

    @property
    def values(self) -> tuple[Quantity, ...]:
        """Every value that was said, lowest first."""
        said = [quantity(one.value, one.unit) for one in self.seen if one.value is not None]
        return tuple(sorted(one for one in said if fits(one, f"{said[0].units}")))

    def end(self, now: float) -> WatchEnded:
        """Its end at `now`, seconds since 1970; the summary of what was seen."""
        lasted = round(max(now - self.begun.began, 0.0), 1)
        count, values = len(self.excursions), self.values
        if not values:
            return WatchEnded(self.begun.number, lasted, count)
        unit = f"{values[0].units:~P}"
        low, high = (float(one.m_as(values[0].units)) for one in (values[0], values[-1]))
        return WatchEnded(self.begun.number, lasted, count, low, high, unit)
