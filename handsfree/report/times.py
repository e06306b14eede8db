"""Times of the log as people read them: local, with their zone."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime, tzinfo

#: A moment as it stands in a log and in a seal.
_MOMENT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(?:\.\d+)?Z")


@dataclass(frozen=True, slots=True)
class Clock:
    """Tells times in one zone.

    Attributes:
        zone: in which; None for that of this machine.
    """

    zone: tzinfo | None = None

    def local(self, time: str) -> datetime | None:
        """A time of the log here; None if it is none, in a damaged log."""
        try:
            return datetime.fromisoformat(time).astimezone(self.zone)
        except (ValueError, OverflowError):
            return None

    def day(self, time: str) -> str:
        """ "28 November 2026, 14:32 UTC+01:00"."""
        here = self.local(time)
        return time if here is None else f"{here.day} {here:%B %Y, %H:%M} {_zone(here)}"

    def hour(self, time: str) -> str:
        """ "14:32:07"."""
        here = self.local(time)
        return time if here is None else f"{here:%H:%M:%S}"

    def within(self, sentence: str) -> str:
        """A sentence whose times are told as days."""
        return _MOMENT.sub(lambda found: self.day(found[0]), sentence)


def _zone(here: datetime) -> str:
    offset = f"{here:%z}"
    return f"UTC{offset[:3]}:{offset[3:5]}" if offset.strip("+0") else "UTC"
