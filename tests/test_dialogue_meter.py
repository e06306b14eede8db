"""The meter checks itself: leads shorted, a known battery; what the leads have is subtracted."""

from __future__ import annotations

from pathlib import Path

import pytest
from by_hand import by_hand
from test_dialogue import Talk

from handsfree.dialogue import Dialogue
from handsfree.events import MeterChecked, ReadingTaken
from handsfree.grammar import Language
from handsfree.heard import Heard
from handsfree.job import Job
from handsfree.log import JobRecord, open_job
from handsfree.meaning import Reading
from handsfree.plan import Plan, load_plan, parse_plan
from handsfree.units import parse_quantity

PLAN = """
title: A thick wire
supply: 12 V
connector: {name: connector, pins: [{number: 1, colour: red, function: feed}]}
conditions: [{id: off, say: all off}]
steps:
  - {id: wire, prompt: "Red, end to end.", probe: {red: r, black: b}, why: w, wire: 1,
     condition: off, measure: {quantity: resistance}, expect: {low: 0 Ω, high: 0.75 Ω}}
  - {id: coil, prompt: "Red to ground.", probe: {red: r, black: b}, why: w, wire: 1,
     condition: off, measure: {quantity: resistance}, expect: {low: 0.1 kΩ, high: 1 kΩ}}
"""


@pytest.fixture(scope="module")
def plan() -> Plan:
    return parse_plan(PLAN, "meter.yaml")


@pytest.fixture
def talk(plan: Plan, english: Language) -> Talk:
    return Talk(Dialogue(plan, english, self_check=True)).start()


def test_it_comes_before_the_first_step(talk: Talk) -> None:
    assert talk.session.step is None
    said = talk.hear("point three")
    assert said.startswith("Leads, zero point three ohms. I subtract that from low ohms.")
    assert talk.did(MeterChecked) == [MeterChecked("leads", True, 0.3, "Ω", "0.3")]
    said = talk.hear("twelve point six")
    assert said.startswith(
        "twelve point six volts. The meter is right. Set all off. Next: Red, end to end."
    )
    assert talk.session.step == "wire"


def test_low_ohms_are_without_the_leads_and_it_is_said(talk: Talk) -> None:
    talk.hear("point three ohms")
    talk.hear("skip")
    said = talk.hear("point nine")
    assert said.startswith("red, zero point nine ohms minus leads, zero point six ohms, in range.")
    (taken,) = talk.did(ReadingTaken)
    assert isinstance(taken, ReadingTaken)
    assert taken.entry.figures == "0.6 Ω (0.9 Ω minus leads 0.3 Ω)"
    assert "minus leads" not in talk.hear("two hundred and twenty ohms")
    assert isinstance(talk.session.entries[-1].take, Reading)
    assert talk.session.entries[-1].take.minus_leads is None


def test_it_is_logged(tmp_path: Path, plan: Plan, english: Language) -> None:
    with open_job(tmp_path / "job", PLAN.encode(), title=plan.title) as log:
        job = Job(Dialogue(plan, english, self_check=True), log, lambda _: None, lambda _: None)
        job.begin()
        for text in ("point three", "skip", "point nine"):
            job.hear(Heard.of_text(text))
    session = JobRecord.read(tmp_path / "job").session
    assert session.leads == parse_quantity("0.3 Ω")
    assert session.entries == job.session.entries
    line = next(e for e in JobRecord.read(tmp_path / "job").events if e.kind == "reading")
    assert line.fields["value"] == pytest.approx(0.6)
    assert (line.fields["spoken"], line.fields["minus_leads"]) == ("0.9", 0.3)


@pytest.mark.parametrize(
    ("shown", "said"),
    [
        ("over limit", "Leads, over limit: too much."),
        ("two point five ohms", "Leads, two point five ohms: too much."),
    ],
)
def test_bad_leads_are_told_and_nothing_is_subtracted(talk: Talk, shown: str, said: str) -> None:
    assert talk.hear(shown).startswith(said)
    assert talk.session.leads is None


@pytest.mark.parametrize(
    ("shown", "said"),
    [
        ("zero", "zero volts. Look at the jack"),
        ("minus twelve point six", "minus twelve point six volts. The leads are swapped."),
        ("twenty six", "twenty six volts is no battery that I know."),
        ("one point five", "one point five volts. The meter is right."),
    ],
)
def test_a_known_battery_tells_of_jack_leads_and_range(talk: Talk, shown: str, said: str) -> None:
    talk.hear("skip")
    assert talk.hear(shown).startswith(said)


def test_both_can_be_skipped_and_what_is_not_understood_holds_nobody_up(talk: Talk) -> None:
    for _ in range(3):
        said = talk.hear("go to red")
    assert said.startswith("Skipped. A battery")
    assert talk.hear("skip").startswith("Skipped. Set all off. Next: Red, end to end.")


def test_it_can_be_asked_for_at_any_time(flap: Plan, english: Language) -> None:
    talk = Talk(Dialogue(flap, english)).start()
    assert talk.session.step == "battery_voltage"
    assert talk.hear("meter check").startswith("Meter check. Leads shorted")
    talk.hear("point two")
    assert "The meter is right. Again: Battery posts" in talk.hear("twelve six")
    assert talk.session.entries == ()


def test_no_ohms_where_none_are_allowed(english: Language) -> None:
    plan = load_plan("airbag-supply").plan
    talk = Talk(Dialogue(plan, english, self_check=True)).start()
    assert talk.session.question
    assert talk.session.question.kind == "battery"


def test_a_job_goes_on_within_the_check(tmp_path: Path, english: Language) -> None:
    loaded = by_hand("flap-actuator-5wire")
    spoken: list[str] = []
    for text in ("point three", "twelve six"):
        with open_job(tmp_path / "job", loaded.text.encode(), title=loaded.plan.title) as log:
            dialogue = Dialogue(loaded.plan, english, self_check=True)
            job = Job(dialogue, log, lambda _: None, spoken.append)
            job.begin()
            job.hear(Heard.of_text(text))
    assert job.session.step == "battery_voltage"
    assert job.session.leads is not None
