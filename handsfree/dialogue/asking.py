"""Questions and refusals: what is said when a value cannot be taken as it is."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from handsfree.check import Refusal, expected
from handsfree.dialogue.desk import Desk
from handsfree.dialogue.session import Session
from handsfree.dialogue.turn import Turn, closed, join
from handsfree.events import Asked, Question, Spoke
from handsfree.meaning import NO_UNIT, Aside, Command, Seen, SetCondition, Telling
from handsfree.plan.schema import Step

#: A question is put at most so often; then it is dropped.
ASK_AT_MOST = 3
#: After so many unclear utterances in a row the tool stays silent until one is clear.
MISSES_ANSWERED = 4


def ask(
    desk: Desk, session: Session, question: Question, reason: str, said: Iterable[str] = ()
) -> Turn:
    """Put a question, in other words each time; `said` goes before it in the same breath."""
    wire = desk.wording.step_name(desk.plan.step(question.step)) if question.step else ""
    if question.kind == "finish":
        text = desk.say("ask_finish")
    elif question.kind == "meant":
        text = _what_is_meant(desk, question.meant)
    elif question.kind == "correct":
        text = desk.say("ask_correct", wire=wire)
    elif question.kind in ("leads", "battery"):
        text = desk.say(f"ask_{question.kind}")
    elif question.kind == "jack":
        value = desk.wording.take(question.candidates[0])
        text = desk.say("ask_lead", value=value)
    elif question.kind == "several":
        told = zip(map(desk.plan.step, question.steps), question.candidates, strict=True)
        text = desk.say("ask_several", values=desk.wording.listed(told))
    elif question.kind == "confirm":
        key = "ask_confirm" if question.asked == 1 else "ask_confirm_again"
        text = desk.say(key, wire=wire, value=desk.wording.take(question.candidates[0]))
    else:
        *first, last = _told_apart(desk, question)
        key = "ask_which" if question.asked == 1 or len(first) > 1 else "ask_which_again"
        text = desk.say(key, first=", ".join(first), second=last)
    asked = Asked(join([*said, text]), question, question.candidates, reason)
    return Turn(session).then(asked)


def _what_is_meant(desk: Desk, meant: Command | SetCondition | Seen | Telling | None) -> str:
    match meant:
        case Telling():
            return desk.say("ask_meant_telling", told=told_in_words(desk, meant))
        case Seen():
            return desk.say("ask_meant_seen", seen=desk.wording.seen(meant))
        case SetCondition(condition=condition):
            return desk.say("ask_meant_condition", condition=desk.plan.condition(condition).say)
        case Command(name="go" | "watch" as name, wire=wire) if wire is not None:
            return desk.say(f"ask_meant_{name}", wire=desk.wording.pin(desk.plan.pin(wire)))
        case Command(name=name):
            return desk.say(f"ask_meant_{name}")
    raise ValueError("a question about nothing")


def told_in_words(desk: Desk, told: Telling) -> str:
    """What was told of the vehicle, as it is said back."""
    say, wording = desk.say, desk.wording
    own = desk.plan.pin(told.wire) if told.wire is not None else None
    colour, _, stripe = (told.colour or "").partition("/")
    look = say("wire_striped" if stripe else "wire_plain", colour=colour, stripe=stripe)
    label = wording.language.written(wording.language.label_words(told.pin)) if told.pin else ""
    place = say("pin_number", number=label) if told.pin else ""
    volts = wording.quantity(told.volts) if told.volts is not None else ""
    name = (wording.pin(own) if desk.free else own.function) if own else ""
    key = f"told_{told.of.replace(' ', '_')}"
    how = ", ".join(filter(None, (look, place)))
    return ", ".join([say(key, wire=name, how=how, volts=volts)]
                     + [told_in_words(desk, one) for one in told.more])  # fmt: skip


def _told_apart(desk: Desk, question: Question) -> list[str]:
    """The candidates by what tells them apart: value, wire, or step."""
    wording, takes = desk.wording, question.candidates
    if len({take.wire for take in takes}) == 1 and len(set(question.steps)) > 1:
        steps = [desk.plan.step(step) for step in question.steps]
        names = [wording.step_name(step) for step in steps]
        same = len(set(names)) < len(names)
        return [step.id.replace("_", " ") for step in steps] if same else names
    pins = [None if take.wire is None else desk.plan.pin(take.wire) for take in takes]
    if len({replace(take, wire=None) for take in takes}) == 1:
        return [wording.pin_number(pin) for pin in pins if pin]
    said = [wording.take(take) for take in takes]
    if len(set(pins)) == 1:
        return said
    return [f"{wording.pin(p)} {text}" if p else text for p, text in zip(pins, said, strict=True)]


def ask_again(desk: Desk, session: Session, question: Question) -> Turn:
    """Put the open question once more, or drop it after `ASK_AT_MOST` times."""
    if question.asked >= ASK_AT_MOST:
        turn = closed(session)
        prompt = desk.standing_prompt(turn.session)
        return turn.then(Spoke(desk.say("question_dropped", prompt=prompt)))
    return ask(desk, session, replace(question, asked=question.asked + 1), reason="again")


def say_refusal(desk: Desk, session: Session, step: Step, refusal: Refusal) -> Asked | Spoke:
    """Say why a value is not taken, and what is wanted."""
    wanted = desk.wording.expected(step, expected(step, session.taken))
    value = desk.wording.quantity(refusal.value) if refusal.value is not None else ""
    say = desk.say
    if refusal.reason == "absurd":
        return Asked(say("ask_absurd", value=value), reason="absurd")
    if step.measure.states:
        states = f" {say('or')} ".join(map(desk.wording.state, step.measure.states))
        return Spoke(say("refuse_kind_state", states=states))
    if step.measure.options:
        answers = f" {say('or')} ".join(o.value for o in step.measure.options)
        return Spoke(say("refuse_kind_answer", answers=answers))
    if refusal.reason == "hold":
        return Spoke(say("refuse_hold", value=value, expected=wanted))
    unit = desk.wording.unit_kind(step)
    if refusal.reason == "dimension":
        return Spoke(say("refuse_dimension", value=value, unit=unit, expected=wanted))
    return Spoke(say("refuse_kind_value", unit=unit, expected=wanted))


def unclear(desk: Desk, session: Session, reason: str) -> Turn:
    """A short question for what was not understood, never often in the same words."""
    if session.question and session.question.kind != "correct":
        return ask_again(desk, session, session.question)
    misses, turn = session.misses, Turn(session)
    if misses > MISSES_ANSWERED:
        return turn
    step = desk.focus(session)
    if desk.guessing(session):
        return turn.then(Asked(_guess_again(desk, misses)))
    if step and reason == NO_UNIT:
        return turn.then(say_refusal(desk, session, step, Refusal("kind")))
    if step is None and misses > 1:
        return turn.then(Asked(desk.standing_prompt(session))) if misses <= 3 else turn
    wire = desk.wording.step_name(step) if step else ""
    return turn.then(Asked(desk.say(f"unclear_{min(misses, 3)}", wire=wire)))


def aside(desk: Desk, session: Session, said: Aside) -> Turn:
    """Something was said that is no reading: silence, or a sentence on what is wanted."""
    if not said.about:
        return Turn(session)
    if said.kind == "unknown" or desk.guessing(session) or session.question:
        return unclear(desk, session, said.kind)
    if session.misses > MISSES_ANSWERED:
        return Turn(session)
    return Turn(session).then(Asked(desk.say(f"aside_{said.kind}")))


def _guess_again(desk: Desk, misses: int) -> str:
    if misses > 2:
        return desk.say("help_guess")
    return join([desk.say("unclear_1") if misses == 1 else "", desk.say("ask_guess")])
