"""What happens to a log besides a dictation: readings of a table, another log, sound that goes."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class ReadingsImported:
    """Readings that follow come from a table; each tells of this event and of its row.

    Attributes:
        source: name of the file.
        table_sha256: over its bytes.
        by: who vouches for it, as it was told; empty if it was not.
    """

    source: str
    table_sha256: str
    by: str = field(default="", metadata={"left_out": True})


@dataclass(frozen=True, slots=True)
class RemovedClip:
    """A recording that is kept no longer, by name and SHA-256."""

    name: str
    sha256: str


@dataclass(frozen=True, slots=True)
class ClipsPurged:
    """Recordings were removed by a rule; it may come after the end of the job.

    Attributes:
        rule: in words.
        by: who had it done.
        clips: that were removed.
    """

    rule: str
    by: str
    clips: tuple[RemovedClip, ...]


@dataclass(frozen=True, slots=True)
class MergedSource:
    """One of the jobs that a job was put together from.

    Attributes:
        name: of its folder.
        technician: who dictated it, as it was told; empty if it was not.
        log_sha256: of its log as it was then.
        fingerprint: of its last event.
        events: how many it had.
    """

    name: str
    technician: str
    log_sha256: str
    fingerprint: str
    events: int


@dataclass(frozen=True, slots=True)
class JobMerged:
    """The job holds what two others hold, in the order of time.

    Each event that was taken over tells of which source it is (`of`, from 0), which event of it
    (`of_seq`), and who said it (`by`).
    """

    sources: tuple[MergedSource, ...]
