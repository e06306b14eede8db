"""Taking a value: find its step, ask if need be, check it, record it, say it back."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from handsfree.check import Comparison, Refusal, as_state, check
from handsfree.dialogue import jack, meter, route, teaching
from handsfree.dialogue.asking import ask, ask_again, say_refusal
from handsfree.dialogue.desk import Desk
from handsfree.dialogue.moving import finish, go_on, open_step, revise
from handsfree.dialogue.session import Session
from handsfree.dialogue.turn import Turn, closed, join
from handsfree.events import Entry, LeadMoved, Question, ReadingStruck, ReadingTaken, Spoke
from handsfree.meaning import Ambiguous, Command, Take
from handsfree.meaning.meanings import candidates
from handsfree.plan.schema import Step


def take(
    desk: Desk,
    session: Session,
    meaning: Take | Ambiguous,
    said: Iterable[str] = (),
    *,
    unsure: bool = False,
) -> Turn:
    """A value was said.

    Args:
        desk: the plan and its wording.
        session: where the dialogue stands; an open question is answered by the value.
        meaning: the value, or the values between which must be asked.
        said: what goes before the read-back in the same breath.
        unsure: it is confirmed before it is recorded.
    """
    question, step = session.question, desk.focus(session)
    if guessed := desk.guessing(session):
        return teaching.judge_guess(desk, session, guessed, meaning)
    takes = candidates(meaning)
    if question and len(set(question.steps)) > 1 and all(one.wire is None for one in takes):
        return ask_again(desk, session, question)  # the value alone tells no wire
    return _take(desk, session, step, meaning, said, question, unsure=unsure)


def _take(
    desk: Desk,
    session: Session,
    step: Step | None,
    meaning: Take | Ambiguous,
    said: Iterable[str],
    answers: Question | None,
    *,
    unsure: bool,
) -> Turn:
    """A value was said at a step, in answer to a question perhaps."""
    found = settle(desk, session, step, meaning, said, answers, unsure=unsure)
    if isinstance(found, Turn):
        return found
    return record(desk, session, found.step, found.take, found.verdict, said, found.supersedes)


@dataclass(frozen=True, slots=True)
class Accepted:
    """A value that nothing speaks against.

    Attributes:
        step: that it belongs to.
        take: it.
        verdict: on it.
        supersedes: number of the entry that it corrects.
    """

    step: Step
    take: Take
    verdict: Comparison
    supersedes: int | None = None


def settle(
    desk: Desk,
    session: Session,
    step: Step | None,
    meaning: Take | Ambiguous,
    said: Iterable[str] = (),
    answers: Question | None = None,
    *,
    unsure: bool = False,
) -> Accepted | Turn:
    """The value that may be recorded; or what is asked or answered before one is.

    Args:
        desk: the plan and its wording.
        session: where the dialogue stands.
        step: at which it was said.
        meaning: the value, or the values between which must be asked.
        said: what goes before a question in the same breath.
        answers: the question that it answers.
        unsure: it is confirmed first.
    """
    supersedes = answers.supersedes if answers else None
    meaning = meter.without_leads(session, meaning)
    takes = candidates(meaning)
    turn = closed(session)
    if step is None:
        return turn.then(Spoke(desk.standing_prompt(turn.session)))
    meant = [(one, its) for one in takes for its in _steps_for(desk, session, step, one)]
    if not meant:
        wire = desk.wording.pin(desk.plan.pin(takes[0].wire or ""))
        prompt = desk.prompt(turn.session, step, "again")
        return turn.then(Spoke(desk.say("no_step_for_wire", wire=wire, prompt=prompt)))
    value, named = as_state(meant[0][0], meant[0][1], desk.plan), meant[0][1]
    if len(meant) > 1:
        values, steps = tuple(one for one, _ in meant), tuple(its.id for _, its in meant)
        reason = meaning.reason if isinstance(meaning, Ambiguous) else "test"
        about = named if len(set(steps)) == 1 else step
        which = Question("which", about.id, values, steps, supersedes)
        return ask(desk, session, which, reason, said)
    verdict = check(value, named, desk.plan, session.taken)
    if isinstance(verdict, Refusal):
        return turn.then(*map(Spoke, said), say_refusal(desk, turn.session, named, verdict))
    unsure = unsure or (isinstance(meaning, Ambiguous) and meaning.reason != "wire")
    if jack.doubted(session, named, value):
        return ask(desk, session, jack.question(named, value, supersedes), "jack", said)
    if unsure and (answers is None or answers.kind in ("correct", "jack")):
        confirm = Question("confirm", named.id, (value,), supersedes=supersedes)
        return ask(desk, session, confirm, "unsure", said)
    return Accepted(named, value, verdict, supersedes)


def record(
    desk: Desk,
    session: Session,
    step: Step,
    taken: Take,
    verdict: Comparison,
    said: Iterable[str] = (),
    supersedes: int | None = None,
) -> Turn:
    """Record a take and say it back with the next step."""
    corrects = supersedes is not None
    previous = replaced(session, step, supersedes)
    here = desk.step(session)
    turn = log(desk, session, Accepted(step, taken, verdict, supersedes))
    elsewhere = here is None or here.id != step.id
    clear = not elsewhere and session.question is None
    read_back = desk.wording.read_back(step, taken, verdict, clear=clear)
    words = [*said, desk.say("corrected") if corrects else "", read_back]
    goto = where_to(step, verdict)
    if step.phase == "test" and session.phase in ("verdict", "after_repair"):
        return turn.and_then(revise(desk, turn.session, step, goto).led_by(words))
    rerouted = corrects and previous and where_to(step, previous.verdict) != goto
    if elsewhere and not rerouted and not desk.free:  # another step than the open one: come back
        if previous and not corrects:
            words.insert(0, desk.say("retaken", value=desk.wording.take(previous.take)))
        if here is not None:
            words.append(desk.prompt(turn.session, here, "back_to"))
        return turn.then(Spoke(join(words)))
    return turn.and_then(go_on(desk, turn.session, step, goto).led_by(words))


def log(desk: Desk, session: Session, value: Accepted) -> Turn:
    """A value counts; nothing is said of it yet."""
    step, corrects = value.step, value.supersedes is not None
    previous = replaced(session, step, value.supersedes)
    number, old = len(session.entries) + 1, previous.number if previous else None
    entry = Entry(number, step.id, step.condition, value.take, value.verdict, old, corrects)
    turn = jack.proven_by(session, step, value.take)
    return turn.then(ReadingTaken(entry, desk.plan.wires(step), step.pins))


def replaced(session: Session, step: Step, supersedes: int | None = None) -> Entry | None:
    """The entry that a value takes the place of: one that it corrects, or an older one."""
    corrected = next((e for e in session.entries if e.number == supersedes), None)
    return corrected or session.standing.get(step.id)


def where_to(step: Step, verdict: Comparison) -> str:
    """Where a step sends after a verdict."""
    return step.on_pass if verdict.passed else step.on_fail if verdict.outcome else step.on_skip


def correct(
    desk: Desk, session: Session, value: Take | None, said: Iterable[str], *, unsure: bool
) -> Turn:
    """Replace the last value, by `value` or by the one that is said next."""
    last = session.last
    if last is None:
        return Turn(session).then(Spoke(desk.say("nothing_to_correct")))
    question = Question("correct", last.step, supersedes=last.number)
    if value is None:
        return ask(desk, session, question, "correct")
    step = desk.plan.step(last.step)
    return _take(desk, session, step, value, said, question, unsure=unsure)


def correct_asked(
    desk: Desk,
    session: Session,
    question: Question,
    value: Take,
    said: Iterable[str],
    *,
    unsure: bool,
) -> Turn:
    """Another value than those that are asked about: "no, five point seven"."""
    step = desk.focus(session)
    asked = Question("correct", question.step, supersedes=question.supersedes)
    return _take(desk, session, step, value, said, asked, unsure=unsure)


def strike(desk: Desk, session: Session) -> Turn:
    """The last value no longer counts; its step is open again."""
    last = session.last
    if last is None:
        return Turn(session).then(Spoke(desk.say("nothing_to_strike")))
    turn = Turn(session).then(ReadingStruck(last.number, last.step))
    step = desk.plan.step(last.step)
    name, value = desk.wording.step_name(step), desk.wording.take(last.take)
    said = desk.say("struck", wire=name, value=value)
    return turn.and_then(open_step(desk, turn.session, step, "again").led_by([said]))


def answer(desk: Desk, session: Session, question: Question, command: Command) -> Turn:
    """The open question is answered by first, second, yes or no."""
    step = desk.focus(session)
    if question.kind == "meant" and command.name != "no":
        return ask_again(desk, session, question)
    if question.kind == "finish" or step is None:
        turn = closed(session)
        if command.name == "yes":
            return turn.and_then(finish(desk, turn.session))
        return turn.then(Spoke(desk.standing_prompt(turn.session)))
    chosen: list[int] = []
    moved = Turn(session)
    if question.kind == "which" and command.name == "choice":
        chosen = [command.choice - 1]
    elif question.kind == "which" and command.name == "wire":
        chosen = _on_wire(desk, question, command)
    elif question.kind == "confirm" and command.name == "yes":
        chosen = [0]
    elif question.kind == "jack" and command.name == "yes":
        chosen, moved = [0], moved.then(LeadMoved("volts"))
    elif question.kind == "jack" and command.name == "no":
        turn = closed(session)
        return turn.then(Spoke(desk.standing_prompt(turn.session)))
    elif command.name == "no":
        return closed(session).then(Spoke(desk.say("say_again")))
    if len(chosen) != 1:
        return ask_again(desk, session, question)
    (index,) = chosen
    step = desk.plan.step(question.steps[index]) if question.steps else step
    value = as_state(question.candidates[index], step, desk.plan)
    verdict = check(value, step, desk.plan, session.taken)
    if isinstance(verdict, Refusal):
        turn = closed(session)
        return turn.then(say_refusal(desk, turn.session, step, verdict))
    again = question.supersedes
    return moved.and_then(record(desk, moved.session, step, value, verdict, supersedes=again))


def _on_wire(desk: Desk, question: Question, command: Command) -> list[int]:
    """The candidates that are on the wire of an answer."""
    named = {command.wire, *command.others}
    on = [{take.wire} for take in question.candidates]
    if question.steps and len({take.wire for take in question.candidates}) == 1:
        on = [set(desk.plan.step(step).pins) for step in question.steps]
    return [index for index, pins in enumerate(on) if pins & named]


def _steps_for(desk: Desk, session: Session, step: Step, value: Take) -> list[Step]:
    """The steps that a value may belong to: the one at hand, or those of the wire that was named.

    Another wire's value counts only under the condition that is set: at its open tests, and where
    there are none, at those that were taken or skipped.
    """
    if value.wire is None or value.wire in step.pins:
        return [step]

    def fits(other: Step) -> bool:
        if other.condition != step.condition:
            return False
        result = check(value, other, desk.plan, session.taken)
        return not isinstance(result, Refusal) or result.reason == "absurd"

    found = [s for s in route.on_wire(desk.plan, session, value.wire) if fits(s)]
    return [s for s in found if route.is_open(session, s)] or found
