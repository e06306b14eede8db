"""A drive wire takes volts as well as words, as the state that they mean."""

from __future__ import annotations

from pathlib import Path

import pytest
from by_hand import by_hand
from test_dialogue import Talk

from handsfree.dialogue import Dialogue
from handsfree.events import ReadingTaken
from handsfree.grammar import Language
from handsfree.heard import Heard
from handsfree.job import Job
from handsfree.log import JobRecord, open_job
from handsfree.meaning import State
from handsfree.plan import Plan, parse_plan

BEFORE = ["twelve six", "point oh two", "four point nine eight", "point six", "point six"]
PLAN = """
title: A drive that reverses
supply: 12 V
connector: {name: connector, pins: [{number: 1, colour: red, function: drive}]}
conditions: [{id: moving, say: moving}]
steps:
  - {id: drive, prompt: "Red, moving.", probe: {red: r, black: b}, why: w, wire: 1,
     condition: moving, measure: {states: [reverses, unchanged, dead]}, expect: {state: reverses}}
"""


@pytest.fixture(scope="module")
def reversing() -> Plan:
    return parse_plan(PLAN, "reversing.yaml")


@pytest.mark.parametrize(
    ("said", "state", "figures"),
    [
        ("plus twelve volts", "battery", "battery (12 V)"),
        ("eleven point eight", "battery", "battery (11.8 V)"),
        ("point one", "ground", "ground (0.1 V)"),
        ("ground", "ground", "ground"),
    ],
)
def test_the_circuit_tells_the_volts_of_its_words(
    said: str, state: str, figures: str, flap: Plan, english: Language
) -> None:
    talk = Talk(Dialogue(flap, english)).start()
    for text in BEFORE:
        talk.hear(text)
    back = talk.hear(said)
    (taken,) = talk.did(ReadingTaken)
    assert isinstance(taken, ReadingTaken)
    assert isinstance(taken.entry.take, State)
    assert (taken.entry.take.state, taken.entry.figures) == (state, figures)
    assert ("not as expected" in back) == (state != "battery")


def test_it_is_read_back_as_said(flap: Plan, english: Language) -> None:
    talk = Talk(Dialogue(flap, english)).start()
    for text in BEFORE:
        talk.hear(text)
    assert "eleven point eight volts, battery voltage, as expected" in talk.hear(
        "eleven point eight volts"
    )


def test_what_lies_between_two_states_is_none(flap: Plan, english: Language) -> None:
    talk = Talk(Dialogue(flap, english)).start()
    for text in BEFORE:
        talk.hear(text)
    assert talk.hear("six volts").startswith("Say what it shows: battery voltage or ground")
    assert not talk.did(ReadingTaken)


@pytest.mark.parametrize(
    ("said", "state"),
    [
        ("minus eleven point eight", "reverses"),
        ("plus twelve volts", "unchanged"),
        ("zero volts", "dead"),
    ],
)
def test_without_a_circuit_the_supply_tells_them(
    said: str, state: str, reversing: Plan, english: Language
) -> None:
    talk = Talk(Dialogue(reversing, english)).start()
    talk.hear(said)
    (taken,) = talk.did(ReadingTaken)
    assert isinstance(taken, ReadingTaken)
    assert isinstance(taken.entry.take, State)
    assert taken.entry.take.state == state


def test_the_value_is_in_the_log_as_said(tmp_path: Path, english: Language) -> None:
    loaded = by_hand("flap-actuator-5wire")
    with open_job(tmp_path / "job", loaded.text.encode(), title=loaded.plan.title) as log:
        job = Job(Dialogue(loaded.plan, english), log, lambda _: None, lambda _: None)
        job.begin()
        for text in (*BEFORE, "plus twelve volts"):
            job.hear(Heard.of_text(text))
    record = JobRecord.read(tmp_path / "job")
    assert record.session.entries == job.session.entries
    assert [e.fields["value"] for e in record.events if e.kind == "reading"][-1] == "battery"
    assert record.readings.history[-1].entry.figures == "battery (12 V)"
