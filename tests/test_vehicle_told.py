"""What differs in a vehicle, told by voice at the start: just what a file of ten lines tells."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from test_dialogue import Talk

from handsfree.dialogue import Dialogue
from handsfree.events import PlanAmended, ReadingTaken, StepOpened
from handsfree.export.sheet_of import sheet_of
from handsfree.grammar import Language
from handsfree.heard import Heard
from handsfree.job import Job
from handsfree.log import JobRecord, Verification, fingerprint, open_job, read, verify
from handsfree.plan import Plan, load_plan, load_text
from handsfree.report import render

KIND = "position-sensor-3wire"
FILE = """like: position-sensor-3wire
wires:
  height signal: white/green pin A4
  sensor ground: pink
reference: 8 V
supply: 24 V
"""
TOLD = (
    "height signal is white with green stripe, pin alpha four and sensor ground is pink",
    "supply is twenty four volts and reference is eight volts",
    "yes",
)


@pytest.fixture(scope="module")
def kind() -> Plan:
    return load_plan(KIND).plan


@pytest.fixture(scope="module")
def filed() -> Plan:
    return load_text(FILE, "own.yaml").plan


@pytest.fixture
def talk(kind: Plan, english: Language) -> Talk:
    return Talk(Dialogue(kind, english)).start()


def places(plan: Plan) -> set[tuple[str, str]]:
    """Colour and pin of every wire."""
    return {(pin.wire, pin.number) for pin in plan.connector.pins}


def now(talk: Talk) -> Plan:
    return talk.dialogue.at(talk.session).plan


@pytest.fixture(scope="module")
def replies() -> list[str]:
    return []


@pytest.fixture(scope="module")
def told(kind: Plan, english: Language, replies: list[str]) -> Talk:
    """All that differs is told, and the first value is taken."""
    talk = Talk(Dialogue(kind, english)).start()
    replies += [talk.hear(text) for text in (*TOLD, "twenty five volts", "key on")]
    return talk


@pytest.fixture
def after(told: Talk) -> Talk:
    return Talk(told.dialogue, told.session)


def test_what_is_told_is_what_a_file_of_it_says(
    told: Talk, replies: list[str], filed: Plan
) -> None:
    assert replies[0].startswith(
        "height signal is white with green stripe, pin A four, sensor ground is pink. Next:"
    )
    assert replies[1].endswith("the reference is eight volts. Is that right? Say yes or no.")
    assert replies[2].endswith("Expect twenty four volts to twenty six volts.")
    assert now(told).steps == filed.steps
    assert now(told).circuit == filed.circuit
    assert places(now(told)) == {("yellow", "1"), ("white/green", "A4"), ("pink", "3")}
    assert places(now(told)) == places(filed)


def test_nothing_of_the_kind_is_left_over(after: Talk) -> None:
    for step in now(after).steps:
        words = " ".join((step.prompt, step.probe.red, step.probe.black, step.why)).lower()
        assert not re.search(r"gray|brown|five volt|pin two of the sensor", words), words
    assert after.hear("gray with white stripe two volts") == "Say again?"
    after.hear("white with green stripe four volts")
    (taken,) = (e for e in after.events if isinstance(e, ReadingTaken))
    assert taken.pins == ("A4",)


def test_a_wire_is_still_understood_by_the_name_that_it_had(after: Talk) -> None:
    assert "yellow, eight volts, in range" in after.hear("five volt reference eight volts")
    assert "yellow, eight volts, in range" in after.hear("eight volt reference eight volts")


def test_a_voltage_after_the_first_value_is_a_reading(after: Talk) -> None:
    assert "yellow, five volts, low by" in after.hear("reference is five volts")


def test_after_the_first_value_the_plan_stays(after: Talk) -> None:
    assert after.hear("sensor ground is pink").startswith("Readings are logged already")
    assert not after.did(PlanAmended)


@pytest.mark.parametrize(
    ("text", "answer"),
    [
        ("supply is thirty volts", "That is no supply I know. Say six, twelve, twenty four"),
        (
            "height signal is at pin three",
            "That cannot be: pin 3 of the sensor connector is that of 'sensor ground'. two wires",
        ),
        ("sensor ground is pink and sensor ground is red", "You told sensor ground twice."),
    ],
)
def test_what_cannot_be_is_answered_with_its_reason(talk: Talk, text: str, answer: str) -> None:
    said = talk.hear(text)
    assert said.startswith(answer)
    assert said.endswith("Expect twelve volts to thirteen volts.")
    assert not talk.did(PlanAmended)


def test_two_wires_change_places_in_one_breath(talk: Talk) -> None:
    talk.hear("height signal is at pin three and sensor ground is at pin two")
    assert places(now(talk)) == {("yellow", "1"), ("gray/white", "3"), ("brown/black", "2")}


def test_the_tests_begin_anew(talk: Talk) -> None:
    talk.hear("skip")
    talk.hear("sensor ground is pink")
    assert talk.did(StepOpened)
    assert (talk.session.step, talk.session.skipped) == ("battery_voltage", frozenset())
    assert talk.hear("go back") == "There is no earlier step."


def test_the_job_goes_on_as_it_was_told(
    tmp_path: Path, kind: Plan, english: Language, filed: Plan
) -> None:
    loaded, folder = load_plan(KIND), tmp_path / "job"
    for lines in (
        (*TOLD, "twenty five volts"),
        (
            "key on",
            "white with green stripe four volts",
        ),
    ):
        with open_job(folder, loaded.text.encode(), title=loaded.plan.title) as log:
            job = Job(Dialogue(loaded.plan, english), log, lambda _: None, lambda _: None)
            job.begin()
            for line in lines:
                job.hear(Heard.of_text(line), None, "keyboard", "keyboard")
    record, written = JobRecord.read(folder), read(folder)
    assert not verify(folder).problems
    assert record.plan.steps == filed.steps
    assert [r.pin for r in record.readings.standing] == [None, "A4"]
    check = Verification("open", len(written), fingerprint(written[-1]), (), ())
    page = render(record, check, lambda _: b"").partition("Transcript")[0]
    assert "white/green" in page
    assert not re.search(r"gray/white|brown/black", page)
    kept = load_text(sheet_of(record), "kept.yaml").plan
    assert kept.steps == filed.steps
