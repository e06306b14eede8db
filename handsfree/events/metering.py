"""What a meter does besides its readings: its leads, its checks, its watches and its records."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from handsfree.meaning.meanings import SeenShows

_QUIET = {"left_out": True}


@dataclass(frozen=True, slots=True)
class LeadMoved:
    """The red lead of the meter counts as in that jack from now on."""

    jack: Literal["current", "volts"]


#: What of the meter is checked.
MeterPart = Literal["leads", "battery"]


@dataclass(frozen=True, slots=True)
class MeterChecked:
    """The meter was checked: its leads shorted on ohms, or a known battery on volts.

    Attributes:
        part: which of the two.
        passed: whether the value is what a sound meter shows.
        value, unit: what it showed; None for over limit.
        spoken: the number with the places that were spoken.
    """

    part: MeterPart
    passed: bool
    value: float | None = None
    unit: str = ""
    spoken: str | None = field(default=None, metadata=_QUIET)


@dataclass(frozen=True, slots=True)
class WatchBegun:
    """A reading is watched while the loom is moved, heated or loaded.

    Attributes:
        number: counts from 1 within the job.
        wire: colours of what is watched; None if it is no wire.
        pins: labels of what is watched.
        step: whose unit and limits count; None if none is there.
        began: seconds since 1970, UTC.
    """

    number: int
    wire: str | None
    pins: tuple[str, ...]
    step: str | None
    began: float


@dataclass(frozen=True, slots=True)
class ExcursionSeen:
    """Something that the meter did within a watch.

    Attributes:
        watch: its number.
        number: counts from 1 within the watch.
        after: seconds from the beginning of the watch.
        shows: what the meter did.
        value, unit: the value said with it; None and empty for none.
        spoken: the number with the places that were spoken.
        approximate: it was about that.
    """

    watch: int
    number: int
    after: float
    shows: SeenShows
    value: float | None = None
    unit: str = ""
    spoken: str | None = field(default=None, metadata=_QUIET)
    approximate: bool = field(default=False, metadata=_QUIET)

    @property
    def figures(self) -> str:
        """What was seen, in figures: "drop, 2.1 V", "jump, about 9 V", "flicker"."""
        if self.value is None:
            return self.shows
        number = f"{self.value:g}" if self.spoken is None else self.spoken
        return f"{self.shows}, {'about ' * self.approximate}{number} {self.unit}"


@dataclass(frozen=True, slots=True)
class ExcursionStruck:
    """What was seen under that number of that watch no longer counts."""

    watch: int
    number: int


@dataclass(frozen=True, slots=True)
class WatchEnded:
    """The watch is over.

    Attributes:
        watch: its number.
        lasted: seconds.
        excursions: how many there were, by ear.
        lowest, highest: of the values that were said, in `unit`.
    """

    watch: int
    lasted: float
    excursions: int
    lowest: float | None = None
    highest: float | None = None
    unit: str = ""

    @property
    def reach(self) -> str:
        """From the lowest to the highest value, in figures; empty if none was said."""
        if self.lowest is None or self.highest is None:
            return ""
        return f"{self.lowest:g} to {self.highest:g} {self.unit}"


@dataclass(frozen=True, slots=True)
class RecordedExcursion:
    """One excursion of a record: when and how long in seconds, how far, and to which side."""

    after: float
    lasted: float
    extreme: float
    side: Literal["low", "high"]


@dataclass(frozen=True, slots=True)
class RecordImported:
    """The record of a clamp, a scope or a logging meter, and the excursions in it.

    Attributes:
        source: name of the file.
        record, record_sha256: the same file in the job, and its hash.
        watch: number of the watch that it was taken in; None if it was none.
        step: whose limits count; None if none do.
        unit: of all values here.
        samples: how many there are.
        lasted: seconds from the first to the last.
        level: the steady value.
        band: how far from it a value may be.
        low, high: limits that counted beside the band.
        excursions: in order; their times count from the first sample.
        outline: (seconds, lowest, highest) of each stretch.
    """

    source: str
    record: str
    record_sha256: str
    watch: int | None
    step: str | None
    unit: str
    samples: int
    lasted: float
    level: float
    band: float
    low: float | None
    high: float | None
    excursions: tuple[RecordedExcursion, ...]
    outline: tuple[tuple[float, float, float], ...]
