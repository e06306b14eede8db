"""What a job is opened with, how it ends, and what follows it; from the command line."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from by_hand import FOLDER
from typer.testing import CliRunner, Result

from handsfree.cli.app import app
from handsfree.dialogue import Dialogue
from handsfree.errors import BadInput
from handsfree.grammar import Language
from handsfree.heard import Heard
from handsfree.job import Job
from handsfree.job.progress import load_progress
from handsfree.languages import data_folder
from handsfree.log import open_job, read, verify
from handsfree.plan import load_plan
from handsfree.words import Transcriber

FLAP = str(FOLDER / "flap-actuator-5wire.yaml")


def run(*args: object) -> Result:
    return CliRunner().invoke(app, [*map(str, args)])


@pytest.fixture
def typed(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Any:
    """Utterances in place of sound: a recording is one utterance, and its words are these."""
    said: list[str] = []

    def hear(self: Transcriber, utterance: object, *_: object) -> Heard:
        return Heard.of_text(said.pop(0))

    monkeypatch.setattr(Transcriber, "__init__", lambda *_, **__: None)
    monkeypatch.setattr(Transcriber, "name", "typed")
    monkeypatch.setattr(Transcriber, "hear", hear)
    monkeypatch.setattr("handsfree.job.progress.user_data_path", lambda _: tmp_path)
    recordings = sorted((data_folder("demo_audio") / "low-beam").glob("*.flac"))

    def dictate(*args: object, words: tuple[str, ...] = ()) -> Result:
        said[:] = words
        used = recordings[: max(len(words), 1)]
        sounds = [part for path in used for part in ("--audio", path)]
        return run("dictate", *args, *sounds, "--voice", "off")

    return dictate


@pytest.fixture
def finished(tmp_path: Path, english: Language) -> Path:
    job, loaded = tmp_path / "done", load_plan(FLAP)
    details = {"subject": {"vehicle": "Corvid 300", "order": "4711"}}
    with open_job(job, loaded.text.encode(), title=loaded.plan.title, details=details) as log:
        session = Job(Dialogue(loaded.plan, english), log, lambda _: None, lambda _: None)
        session.begin()
        for text in ("twelve six", "over limit", "finish", "yes"):
            session.hear(Heard.of_text(text))
    return job


def test_a_finished_job_is_left_as_it_is(typed: Any, finished: Path) -> None:
    before = {path: path.read_bytes() for path in finished.rglob("*") if path.is_file()}
    fingerprint = verify(finished).fingerprint
    done = typed(FLAP, "--job", finished, words=("twelve six",))
    assert isinstance(done.exception, BadInput)
    assert f"--after {finished}" in str(done.exception)
    assert {path: path.read_bytes() for path in finished.rglob("*") if path.is_file()} == before
    assert verify(finished).fingerprint == fingerprint


def test_another_job_goes_on_from_it_and_names_it(
    typed: Any, finished: Path, tmp_path: Path
) -> None:
    args = ("--job", tmp_path / "new", "--after", finished, "--order", "4712")
    done = typed(FLAP, *args, words=("twelve six",))
    assert done.exception is None, done.output
    opened = read(tmp_path / "new")[0].fields
    assert opened["follows"] == verify(finished).fingerprint
    assert opened["subject"] == {"vehicle": "Corvid 300", "order": "4712"}


def test_a_job_that_is_open_is_gone_on_with_itself(typed: Any, tmp_path: Path) -> None:
    typed(FLAP, "--job", tmp_path / "open", words=("twelve six",))
    done = typed(FLAP, "--job", tmp_path / "new", "--after", tmp_path / "open")
    assert isinstance(done.exception, BadInput)
    assert f"--job {tmp_path / 'open'}" in str(done.exception)
    assert not (tmp_path / "new").exists()


def test_what_is_tested_is_told_when_the_job_begins(typed: Any, tmp_path: Path) -> None:
    told = {
        "vehicle": "Corvid 300",
        "registration": "KX 12",
        "odometer": "81,200 km",
        "order": "4711",
        "technician": "Ilya",
        "complaint": "blows cold",
    }
    options = [part for name, text in told.items() for part in (f"--{name}", text)]
    done = typed(FLAP, "--job", tmp_path / "job", *options, words=("twelve six",))
    assert done.exception is None, done.output
    assert read(tmp_path / "job")[0].fields["subject"] == told
    assert run("report", tmp_path / "job").exit_code == 0
    report = (tmp_path / "job" / "report.html").read_text(encoding="utf-8")
    assert all(text in report for text in told.values())
    explained = run("explain", tmp_path / "job").output
    assert all(text in explained for text in told.values())
    asked = [e.fields["text"] for e in read(tmp_path / "job") if e.kind in ("said", "asked")]
    assert not any("Corvid" in text for text in asked)


def test_without_it_the_scenario_of_the_plan_is_nowhere(typed: Any, tmp_path: Path) -> None:
    typed(FLAP, "--job", tmp_path / "job", words=("twelve six",))
    assert "subject" not in read(tmp_path / "job")[0].fields
    run("report", tmp_path / "job")
    report = (tmp_path / "job" / "report.html").read_text(encoding="utf-8")
    invented = load_plan(FLAP).plan.subject.model_dump()
    assert not [text for text in invented.values() if text and text in report]


def test_progress_is_kept_also_if_the_session_breaks_off(
    typed: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = tmp_path / "job"
    args = (FLAP, "--job", job, "--apprentice", "--person", "Maren")
    heard = ("blah five", "five volts", "ten volts")
    assert typed(*args, words=heard).exception is None
    assert load_progress("Maren").asked == {"Flap actuator, five wires: battery voltage": 1}

    def broken(*_: object) -> Heard:
        raise KeyboardInterrupt

    monkeypatch.setattr(Transcriber, "hear", broken)
    typed(*args, words=("five volts",))
    progress = load_progress("Maren")  # nothing is counted twice
    assert sum(progress.asked.values()) == 1
    monkeypatch.undo()


def test_over_limit_and_pin_in_the_table(typed: Any, tmp_path: Path) -> None:
    said = ("twelve six", "go to blue with red stripe", "both ends off", "go to violet")
    typed(FLAP, "--job", tmp_path / "job", words=(*said, "both ends off", "over limit"))
    table = run("log", tmp_path / "job", "--csv").output.splitlines()
    assert table[0].startswith("seq,time,step,wire,pin,condition,value,unit,")
    assert ",violet,5,both_ends_off,over limit,," in table[2]
    assert "violet (pin 5)" in run("log", tmp_path / "job").output


def test_an_unknown_colour_is_named_with_its_line_and_the_known_ones(
    typed: Any, tmp_path: Path
) -> None:
    plan = tmp_path / "lilac.yaml"
    text = load_plan(FLAP).text.replace("colour: violet", "colour: lilac")
    line = next(n for n, row in enumerate(text.splitlines(), 1) if "lilac" in row)
    plan.write_text(text, encoding="utf-8")
    for args in (["plan", "check", plan], ["parse", "five", "--plan", plan]):
        error = str(run(*args).exception)
        assert f"{plan}, line {line}, connector.pins" in error
        assert "the grammar has no colour 'lilac'; known: " in error
        assert "violet" in error
    assert "lilac" in str(typed(plan, "--job", tmp_path / "job").exception)
    assert not (tmp_path / "job").exists()


def test_a_clock_that_was_set_back_is_said_on_going_on(typed: Any, tmp_path: Path) -> None:
    loaded = load_plan(FLAP)
    later = datetime.now(UTC) + timedelta(days=2, hours=1)
    with open_job(
        tmp_path / "job", loaded.text.encode(), title=loaded.plan.title, clock=lambda: later
    ):
        pass
    done = typed(FLAP, "--job", tmp_path / "job", words=("twelve six",))
    assert done.exception is None, done.output
    assert "2 days behind the last event" in done.stderr
    assert "set back by 2 days" in str(verify(tmp_path / "job").remarks)
    again = typed(FLAP, "--job", tmp_path / "job", words=("point oh two",))
    assert "behind the last event" not in again.stderr
