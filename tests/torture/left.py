"""What must be left after a case."""

from __future__ import annotations

import random
from collections.abc import Callable
from pathlib import Path

from handsfree.log import open_job, read, verify
from tests.torture.dictation import LOADED, Outcome

#: Raised by a case that lost something, with what it lost.
Lost = AssertionError
#: One case: an empty folder, and chance.
Case = Callable[[Path, random.Random], None]


def need(holds: object, what: str) -> None:
    """A case is lost unless this holds."""
    if not holds:
        raise Lost(what)


def all_there(job: Path, outcome: Outcome) -> None:
    """Every acknowledged event is in the log as it was told; nothing is damaged; it goes on."""
    logged = {line.seq: line.as_dict() for line in read(job)}
    for event in outcome.told:
        need(
            logged.get(event["seq"]) == event, f"event {event['seq']} was acknowledged, and is gone"
        )
    result = verify(job)
    need(result.ok, f"damaged: {result.problems}")
    with open_job(job, LOADED.text.encode(), title=LOADED.plan.title) as log:
        need(len(log.lines) >= len(outcome.told), "fewer events than were acknowledged")
    need(verify(job).ok, "damaged after it went on")
