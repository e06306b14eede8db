"""Taking a value: find its step, ask if need be, check it, record it, say it back."""

from __future__ import annotations

from collections.abc import Iterable

from handsfree.check import Refusal, Verdict, check
from handsfree.dialogue import route, teaching
from handsfree.dialogue.asking import ask, ask_again, refuse
from handsfree.dialogue.desk import Desk
from handsfree.dialogue.moving import go_on, open_step
from handsfree.dialogue.session import Session
from handsfree.dialogue.turn import Turn, closed, join
from handsfree.events import Entry, Question, ReadingStruck, ReadingTaken, Spoke
from handsfree.meaning import Ambiguous, Command, Take
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
    question = session.question
    step = desk.focus(session)
    if step and question and question.kind == "guess":
        return teaching.judge(desk, session, step, meaning)
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
    supersedes = answers.supersedes if answers else None
    turn = closed(session)
    if step is None:
        return turn.then(Spoke(desk.standing_prompt(turn.session)))
    first = meaning.candidates[0] if isinstance(meaning, Ambiguous) else meaning
    named = _named_step(desk, session, step, first)
    if named is None:
        wire = desk.wording.pin(desk.plan.pin(first.wire or 0))
        prompt = desk.prompt(turn.session, step, "again")
        return turn.then(Spoke(desk.say("no_step_for_wire", wire=wire, prompt=prompt)))
    if isinstance(meaning, Ambiguous):
        which = Question("which", named.id, meaning.candidates, supersedes)
        return ask(desk, session, which, meaning.reason, said)
    verdict = check(meaning, named, desk.plan, session.taken)
    if isinstance(verdict, Refusal):
        return turn.then(*map(Spoke, said), refuse(desk, turn.session, named, verdict))
    if unsure and (answers is None or answers.kind == "correct"):
        confirm = Question("confirm", named.id, (meaning,), supersedes)
        return ask(desk, session, confirm, "unsure", said)
    return record(desk, session, named, meaning, verdict, said, supersedes)


def record(
    desk: Desk,
    session: Session,
    step: Step,
    taken: Take,
    verdict: Verdict,
    said: Iterable[str] = (),
    supersedes: int | None = None,
) -> Turn:
    """Record a take and say it back with the next step."""
    corrected = desk.say("corrected") if supersedes else ""
    previous = session.standing.get(step.id)
    supersedes = supersedes or (previous.number if previous else None)
    entry = Entry(len(session.entries) + 1, step.id, step.condition, taken, verdict, supersedes)
    here = desk.step(session)
    turn = Turn(session).then(ReadingTaken(entry, desk.plan.wires(step)))
    read_back = desk.wording.read_back(step, taken, verdict)
    words = [*said, corrected, read_back]
    if here is None or here.id != step.id:  # another step than the open one: come back
        if here is not None:
            words.append(desk.prompt(turn.session, here, "back_to"))
        return turn.then(Spoke(join(words)))
    goto = step.on_pass if verdict.passed else step.on_fail if verdict.outcome else step.on_skip
    return turn.and_then(go_on(desk, turn.session, step, goto).led_by(words))


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
    step = desk.plan.step(question.step)
    if question.kind == "guess":
        return teaching.judge(desk, session, step, None)
    chosen: Take | None = None
    if question.kind == "which" and command.name == "choice":
        chosen = question.candidates[command.choice - 1]
    elif question.kind == "confirm" and command.name == "yes":
        chosen = question.candidates[0]
    elif command.name == "no":
        return closed(session).then(Spoke(desk.say("say_again")))
    if chosen is None:
        return ask_again(desk, session, question)
    verdict = check(chosen, step, desk.plan, session.taken)
    if isinstance(verdict, Refusal):
        turn = closed(session)
        return turn.then(refuse(desk, turn.session, step, verdict))
    return record(desk, session, step, chosen, verdict, supersedes=question.supersedes)


def _named_step(desk: Desk, session: Session, step: Step, value: Take) -> Step | None:
    """The step that a value belongs to: the one at hand, or that of the wire that was named.

    Another wire's value counts only under the condition that is set.
    """
    if value.wire is None or value.wire in step.pins:
        return step

    def fits(other: Step) -> bool:
        if other.condition != step.condition:
            return False
        result = check(value, other, desk.plan, session.taken)
        return not isinstance(result, Refusal) or result.reason == "absurd"

    return route.for_wire(desk.plan, session, value.wire, step, fits)
