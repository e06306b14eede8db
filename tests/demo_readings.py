"""The first answers of a demo session and the readings that they are, however dictated."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from handsfree.dialogue import Dialogue
from handsfree.heard import Heard
from handsfree.job import Job
from handsfree.languages import data_folder, load_language
from handsfree.log import open_job, read
from handsfree.plan import load_plan

PLAN = "headlamp-levelling"
ANSWERS = 7

KEPT = ("step", "wire", "condition", "value", "unit", "verdict")


def answers() -> list[Path]:
    """Their sound."""
    return sorted((data_folder("demo_audio") / "low-beam").glob("*.flac"))[:ANSWERS]


def readings(events: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """What was taken, as far as it hangs on what was said."""
    return [{k: e[k] for k in KEPT} for e in events if e["event"] == "reading"]


def logged(job: Path) -> list[dict[str, Any]]:
    """The readings of a job."""
    return readings([event.as_dict() for event in read(job)])


def typed(folder: Path) -> list[dict[str, Any]]:
    """The readings where the same is typed, in a job in this folder."""
    manifest = json.loads(
        (data_folder("demo_audio") / "low-beam" / "manifest.json").read_text("utf-8")
    )
    loaded = load_plan(PLAN)
    with open_job(folder, loaded.text.encode(), title=loaded.plan.title) as log:
        job = Job(Dialogue(loaded.plan, load_language()), log, lambda _: None, lambda _: None)
        job.begin()
        for utterance in manifest["utterances"][:ANSWERS]:
            job.hear(Heard.of_text(utterance["text"]))
    found = logged(folder)
    assert len(found) >= 5
    return found
