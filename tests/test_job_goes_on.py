"""Jobs that were left and are taken up again: what used to be forgotten."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from by_hand import FOLDER, by_hand
from typer.testing import CliRunner

from handsfree.cli.app import app
from handsfree.diagnosis import simulate_jobs
from handsfree.dialogue import Dialogue
from handsfree.grammar import Language
from handsfree.heard import Heard
from handsfree.job import Job
from handsfree.languages import data_folder
from handsfree.log import JobRecord, open_job
from handsfree.plan import LoadedPlan
from handsfree.words import Transcriber

TESTS = ["twelve six", "point oh two", "five volts", "point six", "point six", "battery voltage"]
TESTS += ["ground", "ground", "battery voltage", "over limit", "five k", "one k", "it turns", "yes"]


@pytest.fixture(scope="module")
def loaded() -> LoadedPlan:
    return by_hand("flap-actuator-5wire")


class Shop:
    """One job, dictated by one process after another."""

    def __init__(self, folder: Path, loaded: LoadedPlan, dialogue: Dialogue) -> None:
        self.folder, self.loaded, self.dialogue = folder, loaded, dialogue
        self.spoken: list[str] = []

    def take_up(self, *texts: str) -> Job:
        """Take the job up, say this, and leave it."""
        title = self.loaded.plan.title
        with open_job(self.folder, self.loaded.text.encode(), title=title) as log:
            job = Job(self.dialogue, log, lambda _: None, self.spoken.append)
            job.begin()
            for text in texts:
                job.hear(Heard.of_text(text))
        return job


@pytest.fixture
def shop(tmp_path: Path, loaded: LoadedPlan, english: Language) -> Shop:
    return Shop(tmp_path / "job", loaded, Dialogue(loaded.plan, english))


def test_going_back_twice_leads_to_the_same_step_as_if_never_left(shop: Shop) -> None:
    shop.take_up("twelve six", "point oh two", "five volts", "go back")
    assert shop.take_up("go back").session.step == "sensor_ground"


def test_after_the_repair_no_test_before_it_is_gone_back_to(shop: Shop) -> None:
    shop.take_up(*TESTS, "repair done")
    left = shop.take_up("go back").session
    assert (left.phase, left.step) == ("after_repair", "sweep_cold")
    assert shop.spoken[-1] == "There is no earlier step."


def test_a_pause_lasts(shop: Shop) -> None:
    shop.take_up("twelve six", "hold on")
    left = shop.take_up("point oh two").session
    assert left.paused
    assert len(left.entries) == 1
    assert not shop.take_up("wake up").session.paused


def test_an_open_question_is_still_open(shop: Shop) -> None:
    shop.take_up(*TESTS[:10], "four nine")
    left = shop.take_up("the second").session
    assert [e.step for e in left.entries].count("track") == 1
    assert "Is it forty nine kilohms, or four point nine kilohms?" in shop.spoken[-2]


def test_a_question_that_was_asked_twice_is_not_asked_for_ever(shop: Shop) -> None:
    shop.take_up(*TESTS[:10], "four nine", "about four volts")
    shop.take_up("about four volts", "about four volts")
    assert shop.spoken[-1].startswith("I leave that out.")


def test_what_is_unplugged_stays_unplugged(
    tmp_path: Path, loaded: LoadedPlan, english: Language
) -> None:
    dialogue = Dialogue(loaded.plan, english, informed=True)
    shop = Shop(tmp_path / "job", loaded, dialogue)
    before = shop.take_up("twelve six", *["skip"] * 3).session
    assert before.setups
    assert shop.take_up().session.setups == before.setups


def test_the_last_step_of_a_phase_stays_skipped(shop: Shop) -> None:
    before = shop.take_up(*TESTS[:13], "skip").session
    assert before.phase == "verdict"
    assert "skipped" in before.outcomes.values()
    assert shop.take_up().session.outcomes == before.outcomes


def test_the_condition_that_is_set_stays_set(shop: Shop) -> None:
    before = shop.take_up("both ends off", "everything off").session
    assert shop.take_up().session.condition == before.condition


def test_a_computed_verdict_is_kept_and_explained(
    tmp_path: Path, loaded: LoadedPlan, english: Language
) -> None:
    dialogue = Dialogue(loaded.plan, english, informed=True)
    shop = Shop(tmp_path / "job", loaded, dialogue)
    assert loaded.plan.circuit is not None
    meter = loaded.plan.meter
    shown = simulate_jobs(loaded.plan.circuit, ("reference_wire_open",), 3, misheard=0, meter=meter)
    takes = {one.test: one.shown for one in shown}
    job = shop.take_up()
    while job.session.phase == "test":
        take = takes.get(job.session.step or "")
        job = shop.take_up(dialogue.desk.wording.meaning(take) if take else "skip")
    found = job.session.finding
    assert found is not None
    assert found not in loaded.plan.findings
    assert shop.take_up().session.finding == found
    done = CliRunner().invoke(app, ["explain", str(shop.folder), "--json"])
    assert json.loads(done.stdout)["verdict"]["candidates"][0]["site"] == found.part


def test_the_apprentice_s_guess_is_kept_whole(
    tmp_path: Path, loaded: LoadedPlan, english: Language
) -> None:
    shop = Shop(tmp_path / "job", loaded, Dialogue(loaded.plan, english, apprentice=True))
    before = shop.take_up("twelve point four volts").session
    assert before.guesses[0].take is not None
    assert shop.take_up().session.guesses == before.guesses


def test_where_the_job_stands_is_said_in_one_sentence(shop: Shop) -> None:
    shop.take_up("twelve six")
    shop.take_up()
    assert shop.spoken[-1].startswith("Going on at step two of eighteen: Black with yellow stripe")
    shop.take_up("hold on")
    shop.take_up()
    assert shop.spoken[-1] == "Going on where you paused. Say resume when you are ready."
    shop.take_up("wake up", *TESTS[1:])
    shop.take_up()
    assert shop.spoken[-1].startswith("Going on after the verdict. When the repair is done")


def test_resume_goes_on_as_it_was_dictated(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, loaded: LoadedPlan
) -> None:
    """Utterances in place of sound: whatever is played, these are its words."""
    said = ["twelve six", "skip"]
    monkeypatch.setattr(Transcriber, "__init__", lambda *_, **__: None)
    monkeypatch.setattr(Transcriber, "name", "typed")
    monkeypatch.setattr(Transcriber, "hear", lambda *_: Heard.of_text(said.pop(0)))
    sound = next((data_folder("demo_audio")).glob("*/01-*.flac"))
    job = tmp_path / "job"
    audio = ["--audio", str(sound), "--voice", "off"]
    plan = str(FOLDER / "flap-actuator-5wire.yaml")
    first = ["dictate", plan, "--job", str(job), "--route", "informed", "--apprentice", *audio]
    assert CliRunner().invoke(app, first).exception is None
    left = JobRecord.read(job)
    assert left.manner == ("informed", "apprentice")
    assert left.session.guesses
    done = CliRunner().invoke(app, ["resume", str(job), *audio])
    assert done.exception is None
    assert "Going on at step one of eighteen" in done.stdout
    again = JobRecord.read(job)
    assert again.events[len(left.events)].as_dict()["route"] == "informed"
    assert again.session.skipped == {"battery_voltage"}
    assert again.session.setups >= left.session.setups
