"""The lead goes back from the current jack before any volts; what shows nothing is asked about."""

from __future__ import annotations

import pytest
from test_dialogue import Talk

from handsfree.dialogue import Dialogue
from handsfree.events import LeadMoved, ReadingTaken, Spoke
from handsfree.grammar import Language
from handsfree.plan import Plan, load_plan, parse_plan

PLAN = """
title: A current, and then volts
supply: 12 V
connector: {name: connector, pins: [{number: 1, colour: red, function: feed}]}
conditions: [{id: rest, say: all off}]
steps:
  - {id: draw, prompt: "Current in red.", probe: {red: r, black: b}, why: w, wire: 1,
     condition: rest, measure: {quantity: current}, expect: {high: 50 mA}}
  - {id: again, prompt: "Current in red once more.", probe: {red: r, black: b}, why: w, wire: 1,
     condition: rest, measure: {quantity: current}, expect: {high: 50 mA}}
  - {id: look, prompt: "Is it steady?", probe: {red: r, black: b}, why: w, condition: rest,
     measure: {options: [{value: "yes"}, {value: "no"}]}, expect: {answer: "yes"}}
  - {id: volts, prompt: "Red, all off.", probe: {red: r, black: b}, why: w, wire: 1,
     condition: rest, measure: {quantity: voltage}, expect: {low: 12 V, high: 13 V}}
  - {id: more, prompt: "Red again.", probe: {red: r, black: b}, why: w, wire: 1,
     condition: rest, measure: {quantity: voltage}, expect: {low: 12 V, high: 13 V}}
"""
WARNING = "First the lead back from the current jack to volts"


@pytest.fixture(scope="module")
def plan() -> Plan:
    return parse_plan(PLAN, "jack.yaml")


@pytest.fixture
def talk(plan: Plan, english: Language) -> Talk:
    return Talk(Dialogue(plan, english)).start()


def to_volts(talk: Talk) -> str:
    """The two currents and the look; what is said before the first volts."""
    talk.hear("thirty milliamps")
    talk.hear("thirty milliamps")
    said = talk.hear("yes")
    assert talk.session.step == "volts"
    return said


def test_the_first_volts_prompt_begins_with_it(talk: Talk) -> None:
    assert WARNING not in talk.hear("thirty milliamps"), "the meter stays in series"
    assert WARNING not in talk.hear("thirty milliamps"), "nothing is probed"
    assert f"yes, as expected. {WARNING}" in talk.hear("yes")
    assert talk.hear("repeat").startswith(WARNING)


def test_until_it_is_confirmed(talk: Talk) -> None:
    to_volts(talk)
    assert talk.hear("lead is back in volts") == (
        "Lead is back. Again: Red, all off. Expect twelve volts to thirteen volts."
    )
    assert talk.did(LeadMoved) == [LeadMoved("volts")]
    assert "zero volts, low by twelve volts" in talk.hear("zero volts")


def test_or_a_reading_shows_it(talk: Talk) -> None:
    to_volts(talk)
    assert WARNING not in talk.hear("twelve point four volts")
    assert talk.did(LeadMoved) == [LeadMoved("volts")]
    assert WARNING not in talk.hear("repeat")


def test_nothing_right_after_a_current_is_asked_about(talk: Talk) -> None:
    to_volts(talk)
    said = talk.hear("zero volts")
    assert said.startswith("zero volts, right after a current. Was the lead back")
    assert not talk.did(ReadingTaken)
    assert talk.hear("no").startswith(WARNING), "it is not logged"
    assert talk.session.standing.keys() == {"draw", "again", "look"}


def test_nothing_that_was_measured_all_the_same_is_logged(talk: Talk) -> None:
    to_volts(talk)
    talk.hear("zero volts")
    assert "zero volts, low by twelve volts" in talk.hear("yes")
    assert talk.session.jack == "volts"


def test_lead_is_back_answers_the_question_and_it_is_measured_again(talk: Talk) -> None:
    to_volts(talk)
    talk.hear("zero volts")
    assert talk.hear("lead is back").startswith("Lead is back. Again: Red")
    assert not talk.did(ReadingTaken)
    assert talk.session.question is None


def test_it_holds_when_the_step_was_skipped(talk: Talk) -> None:
    """Nobody knows how far the technician had come."""
    talk.hear("skip")
    talk.hear("skip")
    assert WARNING in talk.hear("skip")


def test_it_is_said_with_the_verdict(plan: Plan, english: Language) -> None:
    steps = tuple(s for s in plan.steps if s.measure.quantity == "current")
    talk = Talk(Dialogue(plan.model_copy(update={"steps": steps}), english)).start()
    talk.hear("thirty milliamps")
    assert WARNING in talk.hear("thirty milliamps")


def test_a_job_that_goes_on_says_it_first(talk: Talk) -> None:
    to_volts(talk)
    (said,) = talk.dialogue.resume(talk.session).events
    assert isinstance(said, Spoke)
    assert said.text.startswith(WARNING)


def test_a_clamp_needs_no_jack() -> None:
    clamped, series = load_plan("voltage-drop").plan, load_plan("parasitic-draw").plan
    assert not clamped.in_series(clamped.step("lamp_feed_current_low_beam_on"))
    assert series.in_series(series.step("negative_cable_current_bus_asleep"))
