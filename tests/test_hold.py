"""What a meter has kept of a value that moves: minimum, maximum, average, peak."""

from __future__ import annotations

from pathlib import Path

import pytest
from test_dialogue import Talk

from handsfree.check import Comparison, Refusal, check, written
from handsfree.dialogue import Dialogue
from handsfree.events import ReadingTaken
from handsfree.grammar import Language, SpokenPlan
from handsfree.heard import Heard
from handsfree.job import Job
from handsfree.log import JobRecord, open_job
from handsfree.meaning import Reading, interpret
from handsfree.plan import Plan, parse_plan
from handsfree.units import parse_quantity

PLAN = """
title: Cranking
supply: 12 V
connector: {name: connector, pins: [{number: 1, colour: red, function: feed}]}
conditions: [{id: cranking, say: cranking}]
steps:
  - {id: battery, prompt: "Battery, cranking.", probe: {red: r, black: b}, why: w, wire: 1,
     condition: cranking, measure: {quantity: voltage}, expect: {low: 9.6 V, high: 12 V}}
  - {id: least, prompt: "Red, cranking.", probe: {red: r, black: b}, why: w, wire: 1,
     condition: cranking, measure: {quantity: voltage}, expect: {low: 9 V}}
"""


@pytest.fixture(scope="module")
def plan() -> Plan:
    return parse_plan(PLAN, "hold.yaml")


def reading(value: str, hold: str) -> Reading:
    return Reading(parse_quantity(value), hold=hold)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("text", "hold", "value"),
    [
        ("minimum nine point six", "min", 9.6),
        ("min is nine point six volts", "min", 9.6),
        ("max fourteen two", "max", 14.2),
        ("fourteen two maximum", "max", 14.2),
        ("red average twelve volts", "average", 12.0),
        ("peak fourteen point eight", "peak", 14.8),
        ("nine point six", "", 9.6),
    ],
)
def test_it_is_said_with_the_value(
    text: str, hold: str, value: float, plan: Plan, english: Language
) -> None:
    step = plan.steps[0]
    found = interpret(Heard.of_text(text), SpokenPlan(english, plan), step).meaning
    takes = getattr(found, "candidates", (found,))
    assert (value, hold) in [(float(take.value.magnitude), take.hold) for take in takes]


@pytest.mark.parametrize(
    ("value", "hold", "result", "limit"),
    [
        ("10 V", "min", "in range", "at least 9.6 V"),
        ("9 V", "min", "low", "at least 9.6 V"),
        ("12.5 V", "min", "high", "9.6 V to 12 V"),  # it was never lower
        ("11 V", "max", "in range", "at most 12 V"),
        ("12.5 V", "max", "high", "at most 12 V"),
        ("12.5 V", "peak", "high", "at most 12 V"),
        ("9 V", "max", "low", "9.6 V to 12 V"),  # it was never higher
        ("9 V", "average", "low", "9.6 V to 12 V"),
    ],
)
def test_it_is_held_against_the_limit_of_which_it_tells(
    value: str, hold: str, result: str, limit: str, plan: Plan
) -> None:
    verdict = check(reading(value, hold), plan.steps[0], plan, {})
    assert isinstance(verdict, Comparison)
    assert (verdict.result, written(verdict.expected)) == (result, limit)


def test_a_maximum_proves_no_least_value(plan: Plan) -> None:
    """The battery may have broken down in between: that acquits nobody."""
    assert check(reading("12 V", "max"), plan.steps[1], plan, {}) == Refusal(
        "hold", parse_quantity("12 V")
    )
    verdict = check(reading("8 V", "max"), plan.steps[1], plan, {})
    assert isinstance(verdict, Comparison)
    assert verdict.result == "low"


def test_it_is_read_back_as_said(plan: Plan, english: Language) -> None:
    talk = Talk(Dialogue(plan, english)).start()
    said = talk.hear("minimum nine point eight")
    assert said.startswith(
        "red, minimum nine point eight volts, in range, at least nine point six volts."
    )
    said = talk.hear("max twelve volts")
    assert said == "twelve volts is the wrong extreme to tell here. Expect at least nine volts."
    assert not talk.did(ReadingTaken)


def test_it_is_logged_as_such(tmp_path: Path, plan: Plan, english: Language) -> None:
    with open_job(tmp_path / "job", PLAN.encode(), title=plan.title) as log:
        job = Job(Dialogue(plan, english), log, lambda _: None, lambda _: None)
        job.begin()
        job.hear(Heard.of_text("minimum nine point eight"))
    (entry,) = JobRecord.read(tmp_path / "job").session.entries
    assert entry == job.session.entries[0]
    assert isinstance(entry.take, Reading)
    assert entry.take.hold == "min"
    assert entry.figures == "min 9.8 V"
