"""A small job that is typed, with a little sound, made without an engine."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path

import numpy as np
from by_hand import by_hand

from handsfree.dialogue import Dialogue
from handsfree.events import Keep
from handsfree.heard import Heard
from handsfree.job import Job
from handsfree.languages import load_language
from handsfree.log import encode_flac, open_job
from handsfree.plan import LoadedPlan

SAID = ("twelve point six volts", "note the seal is torn", "what is expected", "finish", "yes")
PLAN = "voltage-drop"
BEGAN = datetime(2026, 3, 2, 9, 15, tzinfo=UTC)


def a_plan() -> LoadedPlan:
    return by_hand(PLAN)


@cache
def _dialogue() -> Dialogue:
    return Dialogue(a_plan().plan, load_language("en"))


def flac(number: int = 0) -> bytes:
    samples = np.random.default_rng(number).uniform(-0.5, 0.5, 160).astype(np.float32)
    return encode_flac(samples, 16000)


def ticking(began: datetime = BEGAN, step: float = 1.0) -> Callable[[], datetime]:
    """A clock that goes on by `step` seconds each time it is looked at."""
    ticks = iter(range(10**6))
    return lambda: began + timedelta(seconds=step * next(ticks))


def small_job(
    folder: Path,
    said: tuple[str, ...] = SAID,
    *,
    subject: dict[str, str] | None = None,
    sound: bool = True,
    began: datetime = BEGAN,
    step: float = 1.0,
    keep: Keep = "all",
) -> Path:
    """A job in `folder` in which this was said."""
    plan = a_plan()
    details = {"subject": subject} if subject else {}
    clock = ticking(began, step)
    text = plan.text.encode()
    title = plan.plan.title
    with open_job(folder, text, title=title, details=details, clock=clock, keep=keep) as log:
        job = Job(_dialogue(), log, lambda _: None, lambda _: None, keep)
        job.begin()
        for number, words in enumerate(said):
            job.hear(Heard.of_text(words), flac(number) if sound else None, "microphone")
    return folder
