"""The meter checks itself before it is believed: leads shorted, then a battery that is known.

What the shorted leads show is subtracted from low resistances afterwards.  A plausible voltage
shows that lead, jack and battery of the meter are right.  "Skip" passes either over.
"""

from __future__ import annotations

from dataclasses import replace

from handsfree.check import Comparison, check
from handsfree.dialogue.asking import ASK_AT_MOST, ask
from handsfree.dialogue.desk import Desk
from handsfree.dialogue.jack import NEARLY_NOTHING
from handsfree.dialogue.moving import begin_tests
from handsfree.dialogue.session import Session
from handsfree.dialogue.turn import Turn, closed, join
from handsfree.events import LeadMoved, MeterChecked, MeterPart, Question, Spoke
from handsfree.meaning import Ambiguous, Command, Meaning, Reading, Take
from handsfree.meaning.plain import unit_symbol
from handsfree.plan.schema import NO_OHMMETER
from handsfree.units import Quantity, quantity, size

#: Up to here the leads matter: beyond, the meter itself is less exact than they are long.
LOW_OHMS: Quantity = quantity(100, "Ω")


def begin_check(desk: Desk, session: Session) -> Turn:
    """Ask for the first check; on circuits that no ohmmeter may touch, for the battery at once."""
    live = desk.plan.circuit_class in NO_OHMMETER
    return ask(desk, session, Question("battery" if live else "leads", None), "meter")


def said_in_check(
    desk: Desk, session: Session, part: MeterPart, meaning: Meaning, *, unsure: bool
) -> Turn:
    """What follows from an answer to the check of `part`, or from anything else that was said."""
    question = session.question
    assert question is not None
    match meaning:
        case Command(name="skip" | "next"):
            return _go_on(desk, session, part, desk.say("skipped"))
        case Reading() as shown if not unsure or question.asked > 1:  # it is said back in any case
            return _judge(desk, session, part, shown)
    if question.asked >= ASK_AT_MOST:
        return _go_on(desk, session, part, desk.say("skipped"))
    return ask(desk, session, replace(question, asked=question.asked + 1), "again")


def _judge(desk: Desk, session: Session, part: MeterPart, shown: Reading) -> Turn:
    verdict = check(shown, desk.meter_step(part), desk.plan, {})
    passed = isinstance(verdict, Comparison) and verdict.outcome == "pass"
    if not isinstance(verdict, Comparison):
        assert session.question is not None
        return ask(desk, session, session.question, "again", [desk.say("unclear_1")])
    value, spoken = shown.value, None if shown.number is None else str(shown.number)
    told = MeterChecked(part, passed, spoken=spoken)
    if value is not None:
        told = replace(told, value=float(value.magnitude), unit=unit_symbol(value))
    turn = Turn(session).then(told)
    if passed and part == "battery" and session.jack == "current":
        turn = turn.then(LeadMoved("volts"))
    said = desk.say(_verdict(part, value, passed=passed), value=desk.wording.take(shown))
    return turn.and_then(_go_on(desk, turn.session, part, said))


def _verdict(part: MeterPart, value: Quantity | None, *, passed: bool) -> str:
    """The prompt that tells what came of a check."""
    if passed:
        return f"{part}_right"
    if part == "battery" and value is not None and size(value) < NEARLY_NOTHING:
        return "battery_nothing"
    if part == "battery" and value is not None and value.magnitude < 0:
        return "battery_swapped"
    return f"{part}_wrong"


def _go_on(desk: Desk, session: Session, part: MeterPart, said: str) -> Turn:
    """The next check, or what is waited for: at the start of a job its first step."""
    turn = closed(session)
    if part == "leads":
        return turn.and_then(ask(desk, turn.session, Question("battery", None), "meter", [said]))
    if session.step is None and session.phase == "test":
        return turn.and_then(begin_tests(desk, turn.session).led_by([said]))
    return turn.then(Spoke(join([said, desk.standing_prompt(turn.session)])))


def without_leads(session: Session, meaning: Take | Ambiguous) -> Take | Ambiguous:
    """A low resistance without that of the leads, if it is known."""
    if isinstance(meaning, Ambiguous):
        each = (without_leads(session, take) for take in meaning.candidates)
        return replace(meaning, candidates=tuple(t for t in each if not isinstance(t, Ambiguous)))
    if session.leads is None or not isinstance(meaning, Reading) or meaning.minus_leads is not None:
        return meaning
    value = meaning.value
    if value is None or not value.is_compatible_with("Ω") or value > LOW_OHMS:
        return meaning
    net = float(value.magnitude) - float(session.leads.m_as(value.units))
    return replace(
        meaning, value=quantity(round(net, 9), f"{value.units:~P}"), minus_leads=session.leads
    )
