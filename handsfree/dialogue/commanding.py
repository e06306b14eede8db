"""Commands: what the technician asks of the tool."""

from __future__ import annotations

from collections.abc import Iterable

from handsfree.dialogue import jack, meter, route, teaching, watching
from handsfree.dialogue.answering import correctable
from handsfree.dialogue.asking import ask
from handsfree.dialogue.breath import confirmed
from handsfree.dialogue.desk import Desk
from handsfree.dialogue.moving import go_on, open_step, repaired
from handsfree.dialogue.session import Session
from handsfree.dialogue.taking import answer, correct, correct_asked, strike
from handsfree.dialogue.turn import Turn, closed, join
from handsfree.events import ConditionSet, Paused, Question, Spoke, StepSkipped, Woken
from handsfree.meaning import Command, SetCondition
from handsfree.plan.schema import Step

#: Commands by which an apprentice leaves open what to expect.
_NOT_KNOWN = ("unknown", "skip", "expected", "next")

#: Commands that answer the question that is open.
_ANSWERS = ("choice", "wire", "yes", "no")

#: Commands that change nothing: what was asked before stays open and is put once more.
QUERIES = (
    "repeat",
    "expected",
    "probe",
    "why",
    "where",
    "help",
    "last",
    "left",
    "same",
    "louder",
    "softer",
    "faster",
    "slower",
)


def obey(
    desk: Desk, session: Session, command: Command, said: Iterable[str] = (), *, unsure: bool
) -> Turn:
    """Do what was asked.

    Args:
        desk: the plan and its wording.
        session: where the dialogue stands.
        command: what was asked.
        said: what goes before the read-back of a correction.
        unsure: a corrected value is confirmed before it is recorded.
    """
    question, guess = session.question, desk.guessing(session)
    if guess and command.name in _NOT_KNOWN:
        return teaching.judge_guess(desk, session, guess, None)
    asked_for = question.meant if question else None
    if isinstance(asked_for, Command | SetCondition) and command.name == "yes":
        turn = closed(session)
        return turn.and_then(do(desk, turn.session, asked_for))
    if question and question.kind == "several" and command.name == "yes":
        return confirmed(desk, session, question)
    if question and command.name in _ANSWERS:
        return answer(desk, session, question, command)
    if question and command.name == "correct" and command.take and correctable(session):
        return correct_asked(desk, session, question, command.take, said, unsure=unsure)
    if command.name in QUERIES:
        told = _tell(desk, session, command.name)
        if question:
            return ask(desk, session, question, "again", [told])
        again = desk.say("ask_guess") if guess else ""
        said_now = join([told, again]) or desk.standing_prompt(session)
        return Turn(session).then(Spoke(said_now))
    match command.name:
        case "pause":
            return Turn(session).then(Paused(), Spoke(desk.say("paused")))
        case "resume":
            return _resume(desk, session)
        case "lead_back":
            return jack.back(desk, session)
    turn = closed(session)
    return turn.and_then(_obey(desk, turn.session, command, said, unsure=unsure))


def do(desk: Desk, session: Session, meant: Command | SetCondition) -> Turn:
    """Do what was asked for, or take a condition as set."""
    if isinstance(meant, SetCondition):
        return set_condition(desk, session, meant.condition)
    return obey(desk, session, meant, unsure=False)


def _obey(
    desk: Desk, session: Session, command: Command, said: Iterable[str], *, unsure: bool
) -> Turn:
    """Do what was asked, while no question is open."""
    step = desk.step(session)
    match command.name:
        case "correct":
            return correct(desk, session, command.take, said, unsure=unsure)
        case "strike":
            return strike(desk, session)
        case "meter_check":
            return meter.begin_check(desk, session)
        case "watch":
            return watching.begin_watch(desk, session, command)
        case "end_watch":
            return watching.end(desk, session)
        case "finish":
            return ask(desk, session, Question("finish", session.step), "finish")
        case "repaired":
            return repaired(desk, session)
        case "go" if command.wire is not None:
            return _go_to_wire(desk, session, (command.wire, *command.others))
        case "next" | "skip" if step:
            return _leave(desk, session, step, skip=command.name == "skip")
        case "back":
            return _back(desk, session)
    return Turn(session).then(Spoke(desk.standing_prompt(session)))


def _resume(desk: Desk, session: Session) -> Turn:
    turn = Turn(session).then(Woken())
    if question := session.question:
        said = [desk.say("resumed", prompt="")]
        return turn.and_then(ask(desk, turn.session, question, "again", said))
    return turn.then(Spoke(desk.say("resumed", prompt=desk.standing_prompt(turn.session))))


def _back(desk: Desk, session: Session) -> Turn:
    if not session.visited:
        return Turn(session).then(Spoke(desk.say("no_earlier_step")))
    return open_step(desk, session, desk.plan.step(session.visited[-1]), "again", back=True)


def _leave(desk: Desk, session: Session, step: Step, *, skip: bool) -> Turn:
    """Go on without a value; a skipped step is marked, one that is merely left stays open."""
    if not skip:
        return go_on(desk, session, step, "next")
    turn = Turn(session).then(StepSkipped(step.id))
    following = go_on(desk, turn.session, step, step.on_skip)
    return turn.and_then(following.led_by([desk.say("skipped")]))


def _tell(desk: Desk, session: Session, what: str) -> str:
    """The answer to a query; empty if the prompt says it all."""
    say, step = desk.say, desk.step(session)
    match what:
        case "last":
            return _last(desk, session)
        case "help":
            return _help(desk, session, step)
        case "same":
            return say("same_value")
        case "left" if step:
            return _left(desk, session)
        case "expected" if step:
            return say("expected_is", expected=desk.expectation(session, step))
        case "probe" if step:
            probe = step.probe
            return say("probe_is", red=probe.red, black=probe.black, how=probe.how)
        case "why" if step:
            return step.why
        case "where" if step:
            steps = route.line(desk.plan, session)
            number, count = str(steps.index(step) + 1), str(len(steps))
            return say("where_is", number=number, count=count, prompt=step.prompt)
        case "repeat" if desk.guessing(session) and step:
            return say("again_untold", prompt=step.prompt)
    return ""


def _last(desk: Desk, session: Session) -> str:
    last = session.last
    if last is None:
        return desk.say("no_value_yet")
    name = desk.wording.step_name(desk.plan.step(last.step))
    return desk.say("last_is", wire=name, value=desk.wording.take(last.take))


def _left(desk: Desk, session: Session) -> str:
    left = [s for s in route.line(desk.plan, session) if route.is_open(session, s)]
    key = "left_one" if len(left) == 1 else "left_are"
    return desk.say(key, count=desk.wording.integer(len(left)))


def _help(desk: Desk, session: Session, step: Step | None) -> str:
    """What can be said here, in one sentence."""
    if step is None:
        return desk.standing_prompt(session)
    if desk.guessing(session):
        return desk.say("help_guess")
    names = [desk.wording.state(state) for state in step.measure.states or ()]
    names += [option.value for option in step.measure.options or ()]
    if names:
        return desk.say("help_answer", answers=f" {desk.say('or')} ".join(names))
    return desk.say("help_value", unit=desk.wording.unit_kind(step))


def _go_to_wire(desk: Desk, session: Session, named: tuple[str, ...]) -> Turn:
    """Go to a wire; of several with one name, to the only one that is elsewhere."""
    here = desk.step(session)
    prompt = desk.standing_prompt(session)
    elsewhere = [pin for pin in named if not here or pin not in here.pins]
    if not elsewhere:
        return Turn(session).then(Spoke(prompt))
    found = {pin: route.for_wire(desk.plan, session, pin, here) for pin in elsewhere}
    steps = [step for step in found.values() if step]
    if len(steps) > 1:
        pins = [desk.wording.pin_number(desk.plan.pin(pin)) for pin, step in found.items() if step]
        either = f" {desk.say('or')} ".join(pins)
        return Turn(session).then(Spoke(desk.say("which_pin", pins=either)))
    if not steps:
        wire = desk.wording.pin(desk.plan.pin(elsewhere[0]))
        return Turn(session).then(Spoke(desk.say("no_step_for_wire", wire=wire, prompt=prompt)))
    how = "next" if route.is_open(session, steps[0]) else "again"
    return open_step(desk, session, steps[0], how)


def set_condition(desk: Desk, session: Session, condition: str) -> Turn:
    """A condition was set: the step at hand, or the open one that needs it."""
    turn = closed(session).then(ConditionSet(condition))
    session = turn.session
    here = desk.step(session)
    said = desk.plan.condition(condition).say
    step = route.for_condition(desk.plan, session, condition, here)
    if step is None:
        wanted = desk.plan.condition(here.condition).say if here else ""
        unused = desk.say("condition_unused", condition=said, wanted=wanted)
        return turn.then(Spoke(unused))
    if step is here:
        prompt = desk.prompt(session, step, "again")
        return turn.then(Spoke(desk.say("condition_set", condition=said, prompt=prompt)))
    return turn.and_then(open_step(desk, session, step, "next"))
