"""What is said at each verbosity.

Short read-backs, with the value in the form in which it was dictated: common practice at a bench,
no published source.
"""

from __future__ import annotations

from decimal import Decimal
from functools import cache

import pytest
from by_hand import by_hand

from handsfree.check import Comparison, Expected, check
from handsfree.dialogue import Dialogue
from handsfree.dialogue.wording import Wording
from handsfree.events import Asked, Spoke
from handsfree.heard import Heard
from handsfree.languages import load_language
from handsfree.live.verbosity import Verbosity, language_for
from handsfree.meaning import Reading
from handsfree.plan import Plan, free_plan, load_plan
from handsfree.units import quantity


@cache
def flap() -> Plan:
    return by_hand("flap-actuator-5wire").plan


def talk(plan: Plan, *texts: str, how: Verbosity = Verbosity.normal) -> list[str]:
    """What is said at the start, and to each text."""
    dialogue = Dialogue(plan, language_for("en", how))
    responses = [dialogue.start()]
    for text in texts:
        responses.append(dialogue.respond(responses[-1].session, Heard.of_text(text)))
    return [
        " ".join(e.text for e in response.events if isinstance(e, Spoke | Asked))
        for response in responses
    ]


@pytest.mark.parametrize(
    ("dictated", "called_back"),
    [
        ("twelve six", "twelve six, good."),
        ("twelve point six", "twelve point six, good."),
        ("twelve point six volts", "twelve point six volts, good."),
        ("eleven one", "eleven point one, low by point nine, I expect twelve to thirteen volts."),
    ],
)
def test_a_value_is_called_back_as_it_was_dictated(dictated: str, called_back: str) -> None:
    assert talk(flap(), dictated)[1].startswith(called_back)


def test_a_negative_number_is_called_back_whole() -> None:
    wording = Wording(language_for("en", Verbosity.normal), flap())
    reading = Reading(quantity(-12.6, "V"), None, Decimal("-12.6"), "point left out", False)
    verdict = Comparison("in range", "pass", Expected())
    assert wording.called_back(reading, verdict) == "minus twelve point six"


def test_the_next_wire_is_all_that_is_said_where_nothing_else_changes() -> None:
    said = talk(flap(), "twelve six", "point oh two", "four nine eight")
    assert said[1] == "twelve six, good. Black-yellow, ignition on."  # from everything off
    assert said[2] == "point zero two, good. Violet."
    assert said[3] == "four nine eight, good. White-green, full cold."


def test_around_zero_is_within_of_zero() -> None:
    assert (
        talk(flap(), "twelve six", "what is expected")[2]
        == "Expect within point one volts of zero."
    )
    assert ", I expect within point one volts of zero." in talk(flap(), "twelve six", "one volt")[2]


def test_a_number_that_was_asked_about_is_called_back_in_full() -> None:
    plan = load_plan("headlamp-levelling").plan
    said = talk(plan, *["skip"] * 11, "nine eight", "the second")
    assert said[-2] == "Is it ninety eight ohms, or nine point eight ohms?"
    assert said[-1].startswith("orange to green, nine point eight ohms, low by twelve point two,")


def test_a_value_of_another_wire_is_called_back_with_it() -> None:
    said = talk(flap(), "twelve six", "violet four point nine")[2]
    assert said == "violet, four point nine volts, good. Back to: Black-yellow, ignition on."


def test_no_prefix_is_left_out() -> None:
    """Of ohms and kilohms the wrong one is said."""
    plan = load_plan("headlamp-levelling").plan
    step = next(s for s in plan.steps if s.measure.unit and s.measure.unit.startswith("k"))
    reading = Reading(quantity(9.8, "kΩ"), number=Decimal("9.8"), unit_spoken=False)
    verdict = check(reading, step, plan, {})
    assert isinstance(verdict, Comparison)
    wording = Wording(language_for("en", Verbosity.normal), plan)
    assert wording.called_back(reading, verdict) == "nine point eight kilohms"


@pytest.mark.parametrize("name", ["en", "ko"])
def test_no_caution_refusal_question_or_warning_is_shortened(name: str) -> None:
    full = load_language(name).prompts
    kept = (
        "caution_",
        "refuse_",
        "refused_",
        "ask_",
        "lead_",
        "battery_",
        "leads_",
        "verdict_part",
    )
    for how in Verbosity:
        said = language_for(name, how).prompts
        assert [k for k in full if k.startswith(kept) and said[k] != full[k]] == []


@pytest.mark.parametrize("how", list(Verbosity))
def test_the_cautions_of_a_job_are_said(how: Verbosity) -> None:
    plan = load_plan("airbag-supply").plan
    start = talk(plan, how=how)[0]
    assert "Airbag circuit. No ohmmeter and no test lamp on it." in start
    assert all(caution in start for caution in (*plan.cautions, plan.steps[0].caution))


@pytest.mark.parametrize("how", Verbosity)
def test_in_a_free_job_a_condition_is_never_set_in_silence(how: Verbosity) -> None:
    """No next step tells it there."""
    said = talk(
        free_plan().plan, "new wire brown pin A", "key on", "twelve point six volts", how=how
    )
    assert "ignition on" in said[2]
    assert "brown" in said[3]
