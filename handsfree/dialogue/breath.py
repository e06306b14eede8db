"""Values of several wires in one breath, each checked as if it had been said by itself.

They may be said together at tests between which nothing but the red lead is moved: of one part of
the job, under the condition that is set, each on one wire, told in the same unit, with the black
lead at one place, no caution and nothing to be set up of their own; whether or not the plan has
others between them.
Never on a circuit that no ohmmeter may touch, with the meter in the circuit or its lead in the
current jack, or where an apprentice has yet to say what to expect: there each is said by itself.

What is clear is logged, an event for each value, and said back in one sentence; what is not is
asked about by its wire, one at a time.  The last of them is the last value: it is what "strike
that" takes back and what a correction puts right.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from handsfree.check import resolve
from handsfree.dialogue import informed, route
from handsfree.dialogue.asking import ask, ask_again
from handsfree.dialogue.desk import Desk
from handsfree.dialogue.moving import go_on, open_step
from handsfree.dialogue.session import Session
from handsfree.dialogue.taking import Accepted, log, replaced, settle, where_to
from handsfree.dialogue.turn import Turn, closed, join
from handsfree.events import Asked, Question, Spoke
from handsfree.meaning import Ambiguous, Several, Take, Understood, Unread
from handsfree.meaning.meanings import OneValue, candidates
from handsfree.plan.schema import NO_OHMMETER, Step


@dataclass(frozen=True, slots=True)
class _Left:
    """A value that is not taken as it was said.

    Attributes:
        wire: label of its pin.
        step: at which it is asked for; None if it is not to be said among others.
        asked: the question about it, or why it is not taken; empty to ask for it once more.
    """

    wire: str
    step: Step | None = None
    asked: Asked | Spoke | None = None


def take_several(
    desk: Desk, session: Session, told: Several, said: Iterable[str] = (), *, unsure: bool
) -> Turn:
    """Values were said in one breath.

    Args:
        desk: the plan and its wording.
        session: where the dialogue stands.
        told: the values.
        said: what goes before the answer in the same breath.
        unsure: they are confirmed together before they are logged.
    """
    question, here = session.question, desk.step(session)
    if question and question.kind != "several":
        return ask_again(desk, session, question)
    turn = closed(session)
    session = turn.session
    if here is None or not may_be_together(desk, session, here):
        prompt = desk.standing_prompt(session)
        return turn.then(*map(Spoke, said), Spoke(desk.say("one_at_a_time", prompt=prompt)))
    if unsure or told.miscounted:
        return turn.and_then(_confirm(desk, session, here, told, said))
    return turn.and_then(_take_each(desk, session, here, told.values, said))


def confirmed(desk: Desk, session: Session, question: Question) -> Turn:
    """The values that were asked about together are right."""
    here = desk.step(session)
    if here is None or not may_be_together(desk, session, here):
        turn = closed(session)
        return turn.then(Spoke(desk.standing_prompt(turn.session)))
    return _take_each(desk, session, here, question.candidates, ())


def put_right(
    desk: Desk,
    session: Session,
    question: Question,
    value: Take | Ambiguous,
    said: Iterable[str] = (),
) -> Turn:
    """A value was said by itself while several are asked about: it is one of them from now on."""
    here = desk.step(session)
    if here is None or not _pins(value):
        return ask_again(desk, session, question)
    found = _sorted(desk, session, here, value, (value,))
    if isinstance(found, _Left):
        return ask(desk, session, question, "several", [*said, _left_out(desk, [found])])
    values = dict(zip(question.steps, question.candidates, strict=True))
    values[found.step.id] = found.take
    changed = replace(question, candidates=tuple(values.values()), steps=tuple(values), asked=1)
    return ask(desk, session, changed, "several", said)


def _allowed(desk: Desk, session: Session, here: Step) -> bool:
    """Whether several values may be said where the dialogue stands."""
    return (
        session.phase in ("test", "after_repair")
        and session.condition == here.condition
        and session.jack == "volts"
        and not desk.apprentice
        and not desk.plan.in_series(here)
        and bool(here.measure.bare_unit)
        and desk.plan.circuit_class not in NO_OHMMETER
    )


def may_be_together(desk: Desk, session: Session, here: Step) -> list[Step]:
    """The tests of which values may be said in one breath while `here` is open."""
    if not _allowed(desk, session, here):
        return []
    steps = route.phase_steps(desk.plan, session)
    return [s for s in steps if len(s.pins) == 1 and _together(desk, session, here, s)]


def _together(desk: Desk, session: Session, here: Step, step: Step) -> bool:
    """Whether nothing but the probe is moved between the open step and another one."""
    return step.id == here.id or (
        step.phase == here.phase
        and step.condition == here.condition
        and step.measure.bare_unit == here.measure.bare_unit
        and step.probe.black == here.probe.black
        and not step.caution
        and not desk.plan.in_series(step)
        and informed.setups_after(desk, session, step) == session.setups
    )


def _confirm(desk: Desk, session: Session, here: Step, told: Several, said: Iterable[str]) -> Turn:
    """All that is clear is said back as one question; what is not is told to be left out."""
    found = [_sorted(desk, session, here, one, told.values) for one in told.values]
    clear = [one for one in found if isinstance(one, Accepted)]
    left = [one for one in found if isinstance(one, _Left)]
    if not clear:
        return _about(desk, session, left, said)
    words = [*said, _left_out(desk, left)]
    if told.miscounted:
        count = desk.wording.integer(len(told.values))
        announced = desk.wording.integer(told.announced)
        words.append(desk.say("several_counted", count=count, announced=announced))
    takes, steps = tuple(one.take for one in clear), tuple(one.step.id for one in clear)
    question = Question("several", here.id, takes, steps)
    return ask(desk, session, question, "several", words)


def _take_each(
    desk: Desk,
    session: Session,
    here: Step,
    values: Sequence[OneValue],
    said: Iterable[str],
) -> Turn:
    """Log what is clear, say it back, and ask about the rest or go on."""
    turn, logged, left = Turn(session), list[Accepted](), list[_Left]()
    words = list(said)
    for value in values:
        one = _sorted(desk, turn.session, here, value, values)
        if isinstance(one, _Left):
            left.append(one)
            continue
        if old := replaced(turn.session, one.step):
            replaces = desk.wording.listed([(one.step, old.take)])
            words.append(desk.say("retaken", value=replaces))
        turn = turn.and_then(log(desk, turn.session, one))
        logged.append(one)
    turn = turn.and_then(closed(turn.session))
    words.append(_read_back(desk, logged))
    own = next((one for one in logged if one.step.id == here.id), None)
    asked = next((one for one in left if one.step), None)
    if asked and asked.step and own:
        opened = open_step(desk, turn.session, asked.step, "next")
        turn = turn.then(*(e for e in opened.events if not isinstance(e, Spoke)))
    if asked:
        return turn.and_then(_about(desk, turn.session, left, words))
    words.append(_left_out(desk, left))
    if own:
        following = go_on(desk, turn.session, here, where_to(here, own.verdict))
        return turn.and_then(following.led_by(words))
    return turn.then(Spoke(join([*words, desk.prompt(turn.session, here, "back_to")])))


def _read_back(desk: Desk, logged: Sequence[Accepted]) -> str:
    """The values with their verdicts, in one sentence; empty if there are none."""
    wording, said, judged = desk.wording, [], []
    for one in logged:
        text = f"{wording.short_wire(one.step)} {wording.called_back(one.take, one.verdict)}"
        verdict = wording.verdict(one.verdict, one.step, one.take)
        said.append(text)
        judged.append(desk.say("readback_one", value=text, verdict=verdict))
    if not logged:
        return ""
    if all(one.verdict.result in ("in range", "as expected") for one in logged):
        return desk.say("readback_all_good", values=", ".join(said))
    return desk.say("readback_several", values="; ".join(judged))


def _sorted(
    desk: Desk, session: Session, here: Step, value: OneValue, all_of_them: Sequence[OneValue]
) -> Accepted | _Left:
    """A value as it would be taken if it were said by itself, or why it is not."""
    pins = _pins(value)
    pin = min(pins)
    if len(pins) > 1 or sum(bool(_pins(one) & pins) for one in all_of_them) > 1:
        return _Left(pin)  # wires of one name, or two values of one wire
    together = [s for s in may_be_together(desk, session, here) if pin in s.pins]
    if here not in together:
        together = [s for s in together if route.is_open(session, s)] or together
    if here not in together and len(together) != 1:
        return _Left(pin)
    step = here if here in together else together[0]
    if isinstance(value, Unread):
        why = desk.say(f"aside_{value.reason}") if value.reason != "unknown" else ""
        return _Left(pin, step, Spoke(why) if why else None)
    settled = resolve(Understood(value), step, desk.plan, session.taken).meaning
    assert isinstance(settled, Take | Ambiguous)
    found = settle(desk, session, step, settled)
    if isinstance(found, Accepted):
        return found
    spoken = [event for event in found.events if isinstance(event, Asked | Spoke)]
    return _Left(pin, step, spoken[-1] if spoken else None)


def _pins(value: OneValue) -> frozenset[str]:
    """Labels of the pins that a value may be of."""
    wires = [value.wire] if isinstance(value, Unread) else [t.wire for t in candidates(value)]
    return frozenset(wire for wire in wires if wire is not None)


def _about(desk: Desk, session: Session, left: Sequence[_Left], said: Iterable[str]) -> Turn:
    """The first value that can be asked for is asked about; the others are named."""
    asked = next((one for one in left if one.step), None)
    words = [*said, _left_out(desk, [one for one in left if one is not asked])]
    if asked is None or asked.step is None:
        return Turn(session).then(Spoke(join([*words, desk.standing_prompt(session)])))
    wire = desk.wording.pin(desk.plan.pin(asked.wire))
    if isinstance(asked.asked, Asked) and asked.asked.question:
        text = desk.say("several_which", wire=wire, question=asked.asked.text)
        question = asked.asked.question
    else:
        why = asked.asked.text if asked.asked else ""
        key = "several_not" if why else "several_again"
        text = desk.say(key, wire=wire, why=why)
        question = Question("correct", asked.step.id)
    return Turn(session).then(Asked(join([*words, text]), question, question.candidates, "several"))


def _left_out(desk: Desk, left: Iterable[_Left]) -> str:
    """Which values are not taken, and have to be said by themselves."""
    wires = dict.fromkeys(desk.wording.pin(desk.plan.pin(one.wire)) for one in left)
    return desk.say("several_left", wires=", ".join(wires)) if wires else ""
