"""In the order of the plan, what waits for a doubt is asked at its end, and only while it tells."""

from __future__ import annotations

import pytest

from handsfree.diagnosis import simulate_jobs
from handsfree.dialogue import Dialogue, Session
from handsfree.events import Spoke, StepOpened, VerdictReached
from handsfree.grammar import Language
from handsfree.heard import Heard
from handsfree.plan import Plan, load_plan


@pytest.fixture(scope="module")
def relay() -> Plan:
    return load_plan("relay-4pin").plan


def walked(plan: Plan, english: Language, fault: str) -> tuple[list[str], Session, str]:
    """Steps in the order in which they were opened, where it ended, and the verdict's words."""
    assert plan.circuit is not None
    shown = simulate_jobs(plan.circuit, (fault,), 3, misheard=0, meter=plan.meter)
    takes = {one.test: one.shown for one in shown}
    talk = Dialogue(plan, english)
    response = talk.start()
    opened: list[str] = [e.step for e in response.events if isinstance(e, StepOpened)]
    said = ""
    while response.session.phase == "test" and len(opened) < 60:
        take = takes.get(response.session.step or "")
        words = talk.desk.wording.meaning(take) if take else "skip"
        response = talk.respond(response.session, Heard.of_text(words))
        opened += [e.step for e in response.events if isinstance(e, StepOpened)]
        if any(isinstance(e, VerdictReached) for e in response.events):
            said = " ".join(e.text for e in response.events if isinstance(e, Spoke))
    return opened, response.session, said


def test_the_main_line_comes_first(relay: Plan, english: Language) -> None:
    main = [s.id for s in relay.steps if s.phase == "test" and not s.in_doubt]
    opened, session, _ = walked(relay, english, "fan_ground_wire_open")
    assert opened[: len(main)] == main
    assert session.phase == "verdict"


def test_what_waits_parts_the_ground_from_the_supply_of_the_fan(
    relay: Plan, english: Language
) -> None:
    opened, _, said = walked(relay, english, "fan_ground_wire_open")
    waiting = {s.id for s in relay.steps if s.in_doubt}
    assert waiting & set(opened)
    assert "ground" in said


def test_nobody_is_asked_all_that_waits(relay: Plan, english: Language) -> None:
    opened, _, _ = walked(relay, english, "relay_open_coil")
    tests = [s for s in relay.steps if s.phase == "test"]
    assert len(set(opened)) < 0.7 * len(tests)
