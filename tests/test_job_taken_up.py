"""A job that is left and taken up: where it stood is said, and who tests from then on is logged."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from by_hand import by_hand

from handsfree.dialogue import Dialogue
from handsfree.events import Asked, JobTakenUp, Spoke
from handsfree.export.tidy import tidy
from handsfree.heard import Heard
from handsfree.job import Job
from handsfree.languages import load_language
from handsfree.log import JobRecord, open_job, verify

PLAN = by_hand("flap-actuator-5wire")
BEGAN = 1_700_000_000.0


def dialogue() -> Dialogue:
    return Dialogue(PLAN.plan, load_language())


def test_after_five_minutes_it_is_said_where_the_job_stood() -> None:
    talk = dialogue()
    session = talk.start().session

    def hear(text: str, at: float) -> str:
        nonlocal session
        response = talk.respond(session, replace(Heard.of_text(text), at=BEGAN + at))
        session = response.session
        return " ".join(e.text for e in response.events if isinstance(e, Spoke | Asked))

    assert hear("twelve six", 0).startswith("twelve point six volts, in range.")
    assert hear("what is expected", 299).startswith("Expect")
    again = hear("point oh two", 299 + 420)
    assert again.startswith("After seven minutes, at black with yellow stripe: black with yellow")
    session = session.after(JobTakenUp())  # then it is said at once where the job stands
    assert hear("violet four point nine", 5000).startswith("violet, four point nine volts")


def dictated(folder: Path, *texts: str, taken_up_by: str = "") -> None:
    details = {"subject": {"technician": "Ada"}} if not folder.exists() else {}
    title, text = PLAN.plan.title, PLAN.text.encode()
    with open_job(folder, text, title=title, details=details, taken_up_by=taken_up_by) as log:
        job = Job(dialogue(), log, lambda _: None, lambda _: None)
        job.begin()
        for text in texts:
            job.hear(Heard.of_text(text))


def test_who_takes_it_up_is_logged_from_then_on(tmp_path: Path) -> None:
    folder = tmp_path / "job"
    dictated(folder, "twelve six")
    dictated(folder, "point oh two", taken_up_by="Ben")
    dictated(folder, "four point nine eight")  # nobody else is told
    record = JobRecord.read(folder)
    assert [one.taken_by for one in record.readings.history] == [None, "Ben", "Ben"]
    assert [row.technician for row in tidy(record)] == ["Ada", "Ben", "Ben"]
    assert verify(folder).state == "open"
