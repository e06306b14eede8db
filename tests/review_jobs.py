"""Jobs of a workshop for the tests of the review: typed sessions about the flap actuator."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
from by_hand import by_hand

from handsfree.dialogue import Dialogue
from handsfree.heard import Heard
from handsfree.job import Job
from handsfree.languages import load_language
from handsfree.log import encode_flac, open_job

PLAN = "flap-actuator-5wire"
TITLE = by_hand(PLAN).plan.title

#: A whole job; what is said of the repair stands at its end.
SAID = """\
twelve point six volts
point oh two
violet four point nine eight
point six one
note rust at the connector
point six two
dead
ground
ground
battery voltage
four volts
over limit
four nine
the second
one point two k
nothing
yes
repair done
""".splitlines()


def write(
    folder: Path,
    said: Sequence[str],
    *,
    apprentice: bool = False,
    day: int = 1,
    **subject: str,
) -> Path:
    """Dictate into a job folder on a day of March 2026, each utterance with a sound of its own."""
    loaded = by_hand(PLAN)
    dialogue = Dialogue(loaded.plan, load_language("en"), apprentice=apprentice)
    begun = datetime(2026, 3, day, 9, tzinfo=UTC)
    ticks = (begun + timedelta(seconds=n) for n in range(10_000))
    details = {"subject": subject}
    text = loaded.text.encode()
    with open_job(folder, text, title=TITLE, details=details, clock=lambda: next(ticks)) as log:
        job = Job(dialogue, log, lambda _: None, lambda _: None)
        job.begin()
        for number, text in enumerate(said):
            tone = np.sin(np.arange(8000) * (0.05 + number / 1000)).astype(np.float32) / 2
            job.hear(Heard.of_text(text), encode_flac(tone, 16_000), "microphone", "microphone")
    return folder


def workshop(jobs: Path) -> Path:
    """Three jobs: one whole, one begun, one of an apprentice."""
    write(jobs / "one", SAID, vehicle="Panel van, fleet no. 12", technician="Idris", order="A-17")
    write(jobs / "two", SAID[:4], day=2, vehicle="Tipper “Ömer”", technician="Marit", order="A-18")
    learnt = ["twelve volts", "twelve point six volts", "nought", "point oh two"]
    write(jobs / "three", learnt, apprentice=True, day=3, vehicle="Bus 7", technician="Noor")
    return jobs
