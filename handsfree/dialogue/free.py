"""A job without a plan: wires and conditions come into being when they are named.

A value is logged for its wire under the condition that is set, and said back; nothing is expected
of it.  What is told of the plan are events, so that the job is read again as it was.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import cast

from handsfree.check import Comparison, Refusal, check
from handsfree.dialogue import differing, free_wires, jack, meter
from handsfree.dialogue.asking import aside, ask, say_refusal, unclear
from handsfree.dialogue.commanding import obey
from handsfree.dialogue.desk import Desk
from handsfree.dialogue.session import Session
from handsfree.dialogue.taking import record
from handsfree.dialogue.turn import Turn, closed, join
from handsfree.events import (
    Asked,
    ConditionSet,
    Entry,
    Noted,
    PlanAmended,
    Question,
    ReadingStruck,
    Spoke,
    StepOpened,
    WireChosen,
)
from handsfree.meaning import (
    DECISIVE,
    NO_UNIT,
    TWINS,
    Ambiguous,
    Aside,
    Command,
    Difference,
    Meaning,
    Note,
    Reading,
    SetCondition,
    State,
    Take,
    Telling,
    Unclear,
    Understood,
)
from handsfree.meaning.meanings import candidates
from handsfree.meaning.plain import unit_symbol
from handsfree.plan.schema import Step
from handsfree.plan.sheet import identifier, test_of
from handsfree.units import Kind, Quantity, kind_of, quantity

#: Commands that only a plan can follow.
_OF_A_PLAN = ("next", "skip", "back", "repaired", "left", "expected", "probe", "why", "unknown")


@dataclass(frozen=True, slots=True)
class HowSaid:
    """How something was said.

    Attributes:
        words: what goes before the answer in the same breath.
        unsure: a value is confirmed before it is logged.
        by_gist: in other words than the grammar's; what changes the job is asked about first.
    """

    words: tuple[str, ...] = ()
    unsure: bool = False
    by_gist: bool = False


def condition_known(desk: Desk, session: Session, name: str) -> Turn:
    """A condition that is named is one of the job's from now on."""
    turn = Turn(session)
    if name not in {one.id for one in desk.plan.conditions}:
        for say, names in desk.spoken.language.conditions.items():
            if identifier(say) == name:
                change = {"conditions": [{"say": say, "names": list(names)}]}
                turn = turn.then(PlanAmended(change))
    return turn


def follow_freely(desk: Desk, session: Session, meaning: Meaning, how: HowSaid) -> Turn:
    """What follows from an utterance."""
    question = session.question
    turn = closed(session)
    match meaning:
        case Command(name="yes") if question and isinstance(question.meant, Telling):
            return turn.and_then(
                free_wires.name_wire(desk, turn.session, question.meant, confirmed=True)
            )
        case Command(name="yes") if question and isinstance(question.meant, Command | SetCondition):
            return turn.and_then(
                follow_freely(desk, turn.session, question.meant, HowSaid(how.words))
            )
        case (Command() | SetCondition() | Telling()) as one if how.by_gist and _decides(one):
            asked = Question("meant", None, meant=one)
            return turn.and_then(ask(desk, turn.session, asked, "meant", how.words))
        case Command() as command:
            return _obey(desk, session, command, how)
        case SetCondition(condition=condition):
            turn = turn.then(ConditionSet(condition))
            said = desk.plan.condition(condition).say
            prompt = "" if turn.session.wire else desk.standing_prompt(turn.session)
            named = desk.say("condition_named", condition=said)  # nothing else tells it
            return turn.then(Spoke(join([named, prompt])))
        case Telling() as told:
            return _tell_each(desk, turn, (told, *told.more))
        case Difference() as wanted:
            return turn.and_then(differing.tell_difference(desk, turn.session, wanted))
        case Reading() | State() | Ambiguous() as value:
            supersedes = question.supersedes if question else None
            return log_value(desk, session, _of_question(desk, question, value), how, supersedes)
        case Note(text=text):
            return Turn(session).then(Noted(text), Spoke(desk.say("noted")))
        case Aside() as beside:
            return aside(desk, session, beside)
        case Unclear(reason=reason) if reason == NO_UNIT and not question:
            return turn.then(_asked_for_unit(desk, session))
        case Unclear(reason=reason) if reason == TWINS:
            return turn.then(Asked(desk.say("free_twins"), reason="wire"))
        case Unclear(reason=reason):
            return unclear(desk, session, reason)
    return unclear(desk, session, "that is said elsewhere")


def _of_question(
    desk: Desk, question: Question | None, value: Take | Ambiguous
) -> Take | Ambiguous:
    """A value in answer to a question is of its wire, if none is named."""
    if question is None or question.step is None:
        return value
    steps = question.steps or (question.step,)
    pins = {desk.plan.step(step).pins for step in steps}
    if len(pins) != 1:
        return value
    (wire,) = pins.pop()
    if isinstance(value, Ambiguous):
        each = tuple(replace(one, wire=one.wire or wire) for one in value.candidates)
        return replace(value, candidates=each)
    return replace(value, wire=value.wire or wire)


def _tell_each(desk: Desk, turn: Turn, every: tuple[Telling, ...]) -> Turn:
    """What was told of wires in one breath, one after the other, up to a question."""
    for one in every:
        if turn.session.question:
            break
        following = free_wires.name_wire(desk, turn.session, replace(one, more=()))
        for event in following.events:
            desk = desk.amended(event.change) if isinstance(event, PlanAmended) else desk
        turn = turn.and_then(following)
    return turn


def _decides(meant: Command | SetCondition | Telling) -> bool:
    asked_anyway = ("correct", "finish")
    return not isinstance(meant, Command) or (
        meant.name in DECISIVE | {"pause"} and meant.name not in asked_anyway
    )


def _obey(desk: Desk, session: Session, command: Command, how: HowSaid) -> Turn:
    """Do what was asked."""
    turn, say = closed(session), desk.say
    match command.name:
        case "go" if command.wire is not None and command.others:
            named = (desk.plan.pin(pin) for pin in (command.wire, *command.others))
            either = f" {say('or')} ".join(map(desk.wording.pin_number, named))
            return turn.then(Spoke(say("which_pin", pins=either)))
        case "go" if command.wire is not None:
            turn = turn.then(WireChosen(command.wire))
            return turn.then(Spoke(desk.standing_prompt(turn.session)))
        case "watch" if command.wire is None and session.wire is not None:
            return obey(desk, session, replace(command, wire=session.wire), unsure=how.unsure)
        case "strike":
            return turn.and_then(_strike(desk, turn.session))
        case "correct" if command.take is not None and session.last is not None:
            value, last = command.take, session.last
            pins = desk.plan.step(last.step).pins
            value = replace(value, wire=value.wire or pins[0])
            return log_value(desk, session, value, how, last.number)
        case "where" if not session.question:
            count = desk.wording.integer(len(session.standing))
            place = desk.standing_prompt(session)
            return turn.then(Spoke(say("free_where", count=count, prompt=place)))
        case "repeat" if not session.question:
            return turn.then(Spoke(desk.standing_prompt(session)))
        case "help":
            return turn.then(Spoke(say("free_help")))
        case name if name in _OF_A_PLAN and not session.question:
            return turn.then(Spoke(say("free_no_plan")))
    return obey(desk, session, command, how.words, unsure=how.unsure)


def _strike(desk: Desk, session: Session) -> Turn:
    """The last value no longer counts; or a wire that was just named was not meant."""
    if (wrong := free_wires.just_named(desk, session)) is not None:
        said = desk.say("free_wire_gone", wire=desk.wording.pin(wrong))
        change = {"without": [wrong.number]}
        return Turn(session).then(WireChosen(None), PlanAmended(change), Spoke(said))
    last = session.last
    if last is None:
        return Turn(session).then(Spoke(desk.say("nothing_to_strike")))
    name = desk.wording.step_name(desk.plan.step(last.step))
    said = desk.say("struck", wire=name, value=desk.wording.take(last.take))
    return Turn(session).then(ReadingStruck(last.number, last.step), Spoke(said))


# Values


@dataclass(frozen=True, slots=True)
class _Placed:
    """A value at its test, and what is told of the plan if that test is new."""

    take: Take
    step: Step
    verdict: Comparison
    told: PlanAmended | None


def settled(desk: Desk, session: Session, understood: Understood) -> Understood:
    """Of several readings those that are possible; nothing is expected that could choose."""
    meaning = understood.meaning
    if not isinstance(meaning, Ambiguous) or meaning.reason == "wire":
        return understood
    possible = tuple(
        one
        for one in meaning.candidates
        if isinstance(one, Reading) and isinstance(_place(desk, session, one), _Placed)
    )
    if len(possible) > 1:
        return replace(understood, meaning=replace(meaning, candidates=possible))
    return replace(understood, meaning=(*possible, meaning.candidates[0])[0])


def log_value(
    desk: Desk, session: Session, meaning: Take | Ambiguous, how: HowSaid, supersedes: int | None
) -> Turn:
    """A value was said: it is logged, or asked about.

    Args:
        desk: the plan so far, and its wording.
        session: where the dialogue stands.
        meaning: the value, or those between which must be asked.
        how: it was said.
        supersedes: number of the entry that it replaces.
    """
    answers, turn = session.question, closed(session)
    meaning = meter.without_leads(session, meaning)
    takes = candidates(meaning)
    if len({one.wire for one in takes}) > 1:  # asked about by their wires
        takes = tuple(replace(one, wire=one.wire or session.wire) for one in takes)
    placed: list[_Placed] = []
    for one in takes:
        at = _place(desk, session, one)
        if not isinstance(at, _Placed):
            return turn.then(*map(Spoke, how.words), at)
        placed.append(at)
        desk = desk.amended(at.told.change) if at.told else desk
        turn = turn.then(at.told) if at.told else turn
    first = placed[0]
    turn = turn.and_then(_opened(desk, turn.session, first.step))
    if len(placed) > 1:
        values, steps = tuple(p.take for p in placed), tuple(p.step.id for p in placed)
        which = Question("which", first.step.id, values, steps, supersedes)
        reason = meaning.reason if isinstance(meaning, Ambiguous) else "heard"
        return turn.and_then(ask(desk, turn.session, which, reason, how.words))
    if jack.doubted(turn.session, first.step, first.take):
        asked = jack.question(first.step, first.take, supersedes)
        return turn.and_then(ask(desk, turn.session, asked, "jack", how.words))
    if how.unsure and (answers is None or answers.kind in ("correct", "jack")):
        confirm = Question("confirm", first.step.id, (first.take,), supersedes=supersedes)
        return turn.and_then(ask(desk, turn.session, confirm, "unsure", how.words))
    return turn.and_then(_logged(desk, turn.session, first, how.words, supersedes))


def _logged(
    desk: Desk, session: Session, at: _Placed, words: Iterable[str], supersedes: int | None
) -> Turn:
    """The value counts, and is said back; one that it corrects at another test is struck."""
    turn = Turn(session)
    old = next((one for one in session.entries if one.number == supersedes), None)
    if old is not None and old.step != at.step.id:
        turn, supersedes = turn.then(ReadingStruck(old.number, old.step)), None
    done = record(desk, turn.session, at.step, at.take, at.verdict, words, supersedes)
    if at.step.measure.quantity == "current":
        done = done.ended_by(jack.warning(desk, done.session))
    return turn.and_then(done)


def _opened(desk: Desk, session: Session, step: Step) -> Turn:
    """The test is open; what is said without a unit is in its unit."""
    turn = Turn(session)
    if session.step != step.id:
        turn = turn.then(StepOpened(step.id, step.condition, phase="test"))
        turn = turn.and_then(jack.moved_for(desk, turn.session, step))
    return turn


def _place(desk: Desk, session: Session, value: Take) -> _Placed | Asked | Spoke:
    """The test that a value belongs to; or what is asked, or answered, where there is none."""
    pin = value.wire if value.wire is not None else session.wire
    if pin is None:
        named = desk.plan.connector.pins
        return Asked(desk.say("free_which" if named else "free_start"), reason="wire")
    in_unit = _in_unit(desk, session, value, pin)
    if in_unit is None:
        wire = desk.wording.pin(desk.plan.pin(pin))
        return Asked(desk.say("free_unit_of", wire=wire), reason="unit")
    condition = session.condition or desk.plan.conditions[0].id
    kind = _kind(desk, session, in_unit, pin, condition)
    step, told = test_of(desk.plan, pin, condition, kind), None
    if step is None:
        test = {"pin": pin, "condition": desk.plan.condition(condition).say}
        told = PlanAmended({"tests": [test | ({"quantity": kind} if kind else {})]})
        desk = desk.amended(told.change)
        step = desk.plan.steps[-1]
    verdict = check(in_unit, step, desk.plan, {})
    if isinstance(verdict, Refusal):
        return say_refusal(desk, session, step, verdict)
    return _Placed(in_unit, step, verdict, told)


def _asked_for_unit(desk: Desk, session: Session) -> Asked:
    """A number was said without a unit, and none is known."""
    if session.wire is None:
        return Asked(desk.standing_prompt(session), reason="wire")
    wire = desk.wording.pin(desk.plan.pin(session.wire))
    return Asked(desk.say("free_unit_of", wire=wire), reason="unit")


def _kind(desk: Desk, session: Session, value: Take, pin: str, condition: str) -> Kind | None:
    """What was measured; None for a state.  Over limit without more is an open circuit, in ohms."""
    if not isinstance(value, Reading):
        return None
    if value.value is not None:
        kind = kind_of(value.value)
        return "duty cycle" if kind == "share" else cast("Kind | None", kind)
    here = desk.step(session)
    at_hand = here is not None and here.wire == pin and here.condition == condition
    return (here.measure.quantity if here and at_hand else None) or "resistance"


def _in_unit(desk: Desk, session: Session, value: Take, pin: str) -> Take | None:
    """The value in the unit that was said, or else the wire's last one; None if there is none."""
    if not isinstance(value, Reading) or value.unit_spoken or value.number is None:
        return value
    last, here = _last_on(session, desk, pin), desk.focus(session)
    if last is None or value.value is None:
        return None
    unit = unit_symbol(last)
    if here is not None and unit_symbol(value.value) != here.measure.bare_unit:  # a bare prefix
        return value if value.value.is_compatible_with(last.units) else None
    return replace(value, value=quantity(value.number, unit))


def _last_on(session: Session, desk: Desk, pin: str) -> Quantity | None:
    """The last number that was read on a wire, under whatever condition."""

    def read(entry: Entry) -> bool:
        on = pin in desk.plan.step(entry.step).pins
        return entry.stands and on and isinstance(entry.take, Reading)

    for entry in reversed(session.entries):
        if read(entry) and isinstance(entry.take, Reading) and entry.take.value is not None:
            return entry.take.value
    return None
