"""The circuit leads the way: fewer tests, and a verdict that is computed."""

from __future__ import annotations

import pytest

from handsfree.diagnosis import simulate_jobs
from handsfree.dialogue import Dialogue, Session
from handsfree.events import Asked, Event, Spoke, VerdictReached
from handsfree.grammar import Language
from handsfree.heard import Heard
from handsfree.plan import Plan


@pytest.fixture(scope="module")
def dialogue(flap: Plan, english: Language) -> Dialogue:
    return Dialogue(flap, english, informed=True)


def diagnose(dialogue: Dialogue, fault: str, most: int = 40) -> tuple[list[str], list[Event]]:
    """Answer every step as a vehicle with `fault` would.

    Returns:
        The texts that were said by the tool, and the last effects.
    """
    plan = dialogue.desk.plan
    assert plan.circuit is not None
    meter = plan.meter
    shown = simulate_jobs(plan.circuit, (fault,), 3, misheard=0, meter=meter)
    takes = {one.test: one.shown for one in shown}
    response = dialogue.start()
    texts: list[str] = []
    while response.session.phase == "test" and len(texts) < most:
        take = takes.get(response.session.step or "")
        said = dialogue.desk.wording.meaning(take) if take else "skip"
        response = dialogue.respond(response.session, Heard.of_text(said))
        texts += [e.text for e in response.events if isinstance(e, Spoke | Asked)]
    return texts, list(response.events)


@pytest.mark.parametrize(
    ("fault", "part"),
    [
        ("motor_open", "actuator"),
        ("bridge_supply_open", "module"),
        ("flap_jammed", "flap"),
        ("feedback_wire_short_to_ground", "feedback wire"),
        ("reference_wire_open", "reference wire"),
    ],
)
def test_the_faulty_part_is_named_in_fewer_tests(dialogue: Dialogue, fault: str, part: str) -> None:
    texts, effects = diagnose(dialogue, fault)
    (verdict,) = (e for e in effects if isinstance(e, VerdictReached))
    assert verdict.finding is not None
    assert part in f"{verdict.finding.part} {verdict.finding.say}"  # or what no test parts from it
    assert verdict.explanation is not None
    assert verdict.explanation.sure
    steps = [s for s in dialogue.desk.plan.steps if s.phase == "test"]
    assert len(texts) < 0.8 * len(steps)


def test_the_reason_is_said_in_one_sentence(dialogue: Dialogue) -> None:
    texts, _ = diagnose(dialogue, "motor_open")
    assert any("It tells motor winding open from" in text for text in texts)


def test_the_technician_may_choose_another_test(dialogue: Dialogue) -> None:
    response = dialogue.start()
    response = dialogue.respond(response.session, Heard.of_text("go to violet"))
    assert response.session.step == "reference"


def test_without_readings_nothing_is_explained(dialogue: Dialogue) -> None:
    from handsfree.dialogue import informed

    assert informed.explanation(dialogue.desk, Session()) is None
