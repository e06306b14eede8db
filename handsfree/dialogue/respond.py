"""The dialogue: an utterance in, events out, and the session that they lead to: a state machine."""

from __future__ import annotations

from dataclasses import dataclass, replace

from handsfree.check import Refusal, check, resolve
from handsfree.dialogue import free, meter, vehicle
from handsfree.dialogue.answering import (
    answered,
    chosen,
    correctable,
    correcting,
    in_number_forms,
    is_put_right,
)
from handsfree.dialogue.asking import aside, ask, unclear
from handsfree.dialogue.breath import put_right, take_several
from handsfree.dialogue.commanding import obey, set_condition
from handsfree.dialogue.desk import Desk
from handsfree.dialogue.going_on import after_interruption, again, where
from handsfree.dialogue.in_watch import said_in_watch
from handsfree.dialogue.moving import begin_tests
from handsfree.dialogue.session import Session
from handsfree.dialogue.taking import record, take
from handsfree.dialogue.turn import Turn, closed
from handsfree.dialogue.voice_record import UNHEARD, VoiceRecord
from handsfree.dialogue.wording import Wording
from handsfree.events import Event, Noted, Question, Spoke, UtteranceHeard
from handsfree.grammar import Language, SpokenPlan
from handsfree.heard import Heard, Hypothesis
from handsfree.meaning import (
    DECISIVE,
    Ambiguous,
    Aside,
    Command,
    Difference,
    Note,
    Observation,
    Reading,
    Seen,
    SetCondition,
    Several,
    State,
    Take,
    Telling,
    Unclear,
    Understood,
    interpret,
)
from handsfree.once import once
from handsfree.plan.amended import Amendment
from handsfree.plan.schema import Plan, Step

#: A command that ends, strikes, skips, moves or begins a watch is not obeyed if it is less
#: likely than this.
SURE_COMMAND = 0.5
#: The same for one that changes nothing that is logged.
SURE_QUERY = 0.3
#: Commands that are asked about if they were read by their gist: where a correction and the end
#: are asked about anyway.
_ASKED = (DECISIVE | {"pause"}) - {"correct", "finish"}
#: Obeyed whatever is asked.
_PAUSING = ("pause", "resume")
#: A value that is less likely than this to be right is confirmed: one that is logged wrongly
#: without a question costs as much as six questions.
SURE_VALUE = 0.85
#: The same for an answer to what is observed: there are few, and none was misheard by the accents
#: that are tuned with, of whose numbers one in eleven was.
SURE_ANSWER = 0.5
#: The same for a number of one word, without wire and unit: many a word sounds like one.
SURE_ONE_WORD = 0.95


@dataclass(frozen=True, slots=True)
class Response:
    """What came of an utterance.

    Attributes:
        session: the dialogue afterwards.
        events: what to log and say, in order; none if nothing is kept of it.
        understood: how the utterance was read; None if nothing was said.
    """

    session: Session
    events: tuple[Event, ...]
    understood: Understood | None = None


@once(kept=3)
def _spoken(language: Language, plan: Plan) -> SpokenPlan:
    return SpokenPlan(language, plan)


class Dialogue:
    """The dialogue about one plan in one language.

    Args:
        plan: what is to be probed.
        language: what is spoken.
        apprentice: also say how to probe and why, before each step.
        informed: the next step is the one that tells most a minute, not that of the plan.
        self_check: the meter is checked before the first step.
        known: how the technician was heard before this session.
    """

    def __init__(
        self,
        plan: Plan,
        language: Language,
        *,
        apprentice: bool = False,
        informed: bool = False,
        self_check: bool = False,
        known: VoiceRecord = UNHEARD,
    ) -> None:
        self._self_check, self._known = self_check, known
        self.desk = Desk(
            plan, _spoken(language, plan), Wording(language, plan), apprentice, informed
        )
        self._latest: tuple[tuple[Amendment, ...], Desk] = (), self.desk

    def at(self, session: Session) -> Desk:
        """The desk with all that was told of the plan so far; the latest is kept."""
        told, desk = self._latest
        if session.told[: len(told)] != told:
            told, desk = (), self.desk
        for change in session.told[len(told) :]:
            desk = desk.amended(change)
        self._latest = session.told, desk
        return desk

    def start(self) -> Response:
        """The first words: title, cautions, the first step."""
        desk, plan = self.desk, self.desk.plan
        title = desk.say("start", title=plan.title)
        words = [title, desk.say(f"caution_{plan.circuit_class}"), *plan.cautions]
        if self._self_check:
            turn = meter.begin_check(desk, Session()).led_by(words)
            return Response(turn.session, turn.events)
        turn = begin_tests(desk, Session()).led_by(words)
        return Response(turn.session, turn.events)

    def resume(self, session: Session) -> Response:
        """The first words when a job goes on: where it stands."""
        turn = where(self.at(session), session)
        return Response(turn.session, turn.events)

    def again(self, session: Session) -> Response:
        """What is said after an outage of the sound."""
        turn = again(self.at(session), session)
        return Response(turn.session, turn.events)

    def respond(self, session: Session, heard: Heard) -> Response:
        """What follows from an utterance."""
        if session.phase == "finished":
            return Response(session, ())
        understood = self.understand(session, heard)
        wakes = isinstance(understood.meaning, Command) and understood.meaning.name == "resume"
        if session.paused and not wakes:
            return Response(session, (), understood)
        turn = Turn(session).then(_event(heard, understood))
        turn = turn.and_then(self._follow(turn.session, understood, heard))
        turn = after_interruption(self.at(session), session, turn, heard.at)
        return Response(turn.session, turn.events, understood)

    def enter(self, session: Session, step: Step, value: Take) -> Response | Refusal:
        """What follows from a value that was not said, at whatever step it belongs to."""
        desk = self.at(session)
        verdict = check(value, step, desk.plan, session.taken)
        if isinstance(verdict, Refusal):
            return verdict
        turn = record(desk, session, step, value, verdict)
        return Response(turn.session, turn.events)

    def understand(self, session: Session, heard: Heard) -> Understood:
        """The meaning of an utterance where the dialogue stands, settled as far as it can be."""
        if heard.broke:
            return Understood(Unclear(heard.broke))
        desk = self.at(session)
        step = desk.focus(session)
        understood = interpret(heard, desk.spoken, step, session.moment)
        asked = correctable(session)
        if session.last and not asked and (_correction(understood) or _unknown(understood)):
            before = desk.plan.step(session.last.step)  # a correction is in the unit of that step
            corrected = interpret(heard, desk.spoken, before, session.moment)
            if _correction(corrected, with_value=True):
                understood, step = corrected, before
        understood = answered(session, step, understood)
        if is_put_right(understood):
            settled = in_number_forms(understood)
            settled = resolve(settled, step, desk.plan, session.taken) if step else settled
            understood = correcting(settled, something=bool(session.last) or asked)
        understood = chosen(session, understood)
        understood = _sure(understood, session)
        if desk.free and not session.watch:
            return free.settled(desk, session, understood)
        of_several = session.question is not None and session.question.kind == "several"
        if step is None or of_several:  # settled at the test of its own wire
            return understood
        return resolve(understood, step, desk.plan, session.taken)

    def _follow(self, session: Session, understood: Understood, heard: Heard) -> Turn:
        desk = self.at(session)
        if heard.broke:
            return Turn(session).then(Spoke(desk.say("recogniser_broke")))
        number = not isinstance(understood.meaning, State | Observation)
        enough = SURE_ANSWER if isinstance(understood.meaning, Observation) else SURE_VALUE
        enough = SURE_ONE_WORD if _one_word(understood) else enough
        likely = (self._known + session.speaker).probability(understood.share)
        unsure = likely < enough or (number and not heard.numbers_trusted)
        said = [desk.say("name_repaired", heard=r.heard, taken=r.taken) for r in understood.repairs]
        unsure = unsure or understood.by_gist
        kind = session.question.kind if session.question else ""
        paused = isinstance(understood.meaning, Command) and understood.meaning.name in _PAUSING
        if (kind == "leads" or kind == "battery") and not paused:
            return meter.said_in_check(desk, session, kind, understood.meaning, unsure=unsure)
        open_end = session.question and session.question.kind in ("finish", "meant")
        match understood.meaning:
            case Command(name="yes" | "no" | "pause" | "resume"):
                pass
            case Aside(about=False):
                pass
            case Aside(kind="unknown") | Unclear() if kind == "meant":
                pass  # it is put once more
            case _ if open_end:  # anything but yes goes on
                turn = closed(session)
                return turn.and_then(self._follow(turn.session, understood, heard))
        turn = Turn(session)
        if isinstance(understood.meaning, SetCondition) and desk.free:
            turn = free.condition_known(desk, session, understood.meaning.condition)
            session, desk = turn.session, self.at(turn.session)
        if session.watch:
            return turn.and_then(said_in_watch(desk, session, understood.meaning, unsure=unsure))
        if desk.free:
            how = free.HowSaid(tuple(said), unsure=unsure, by_gist=understood.by_gist)
            return turn.and_then(free.follow_freely(desk, session, understood.meaning, how))
        meant_before = session.question.meant if session.question else None
        match understood.meaning:
            case Command(name="yes") if isinstance(meant_before, Telling):
                turn = closed(session)
                told_before = vehicle.tell_vehicle(desk, turn.session, meant_before, confirmed=True)
                return turn.and_then(told_before)
            case (Command() | SetCondition()) as meant if understood.by_gist and _decides(meant):
                turn = closed(session)
                asked = ask(desk, turn.session, Question("meant", None, meant=meant), "meant", said)
                return turn.and_then(asked)
            case Command() as command:
                return obey(desk, session, command, said, unsure=unsure)
            case SetCondition(condition=condition):
                return set_condition(desk, session, condition)
            case (Reading() | State() | Ambiguous()) as value if kind == "several":
                assert session.question is not None
                return put_right(desk, session, session.question, value, said)
            case Reading() | State() | Observation() | Ambiguous() as value:
                return take(desk, session, value, said, unsure=unsure)
            case Several() as values:
                return take_several(desk, session, values, said, unsure=unsure)
            case Note(text=text):
                return Turn(session).then(Noted(text), Spoke(desk.say("noted")))
            case Aside() as said_beside:
                return aside(desk, session, said_beside)
            case Unclear(reason=reason):
                return unclear(desk, session, reason)
            case Telling() as told if understood.by_gist and not session.entries:
                turn = closed(session)
                asked = ask(desk, turn.session, Question("meant", None, meant=told), "meant", said)
                return turn.and_then(asked)
            case Telling() as told:
                turn = closed(session)
                return turn.and_then(vehicle.tell_vehicle(desk, turn.session, told))
            case Seen() | Difference():  # only said in a watch, and in a free job
                return unclear(desk, session, "that is said elsewhere")


def _event(heard: Heard, understood: Understood) -> UtteranceHeard:
    """What was heard, as exactly as it is kept."""
    return UtteranceHeard(
        start=round(heard.start, 3),
        end=round(heard.end, 3),
        engine=heard.engine,
        text=heard.text,
        confidence=round(heard.confidence, 4),
        alternatives=tuple(Hypothesis(h.text, round(h.score, 4)) for h in heard.hypotheses[1:]),
        understood=replace(understood, share=round(understood.share, 4)),
        at=heard.at,
    )


def _sure(understood: Understood, session: Session) -> Understood:
    """A command that is not likely enough to be obeyed is not understood.

    "Yes" answers nothing where nothing is asked, and "no" denies what was said.
    """
    match understood.meaning:
        case Command(name="yes" | "no" as name) if not session.question:
            said = Aside("filler", about=False) if name == "yes" else Aside("negated")
            return replace(understood, meaning=said)
        case SetCondition():
            name, decisive = "a condition", True
        case Command(name="yes" as name) if session.question:
            decisive = session.question.kind in ("finish", "several")
        case Command(name=name):
            decisive = name in DECISIVE
        case _:
            return understood
    if understood.share >= (SURE_COMMAND if decisive else SURE_QUERY):
        return understood
    return replace(understood, meaning=Unclear(f"heard as {name}, too unsure to be obeyed"))


def _decides(meant: Command | SetCondition) -> bool:
    """Whether it ends, strikes, skips, moves or begins a watch, and is asked about nowhere else."""
    return isinstance(meant, SetCondition) or meant.name in _ASKED


def _one_word(understood: Understood) -> bool:
    match understood.meaning:
        case Reading(wire=None, unit_spoken=False, number=number) if number is not None:
            return len(understood.text.split()) == 1
    return False


def _unknown(understood: Understood) -> bool:
    """Whether the grammar of the step has no place for it."""
    match understood.meaning:
        case Unclear() | Aside(kind="unknown"):
            return True
    return False


def _correction(understood: Understood, *, with_value: bool = False) -> bool:
    """Whether it corrects the last value; perhaps only by a value that this step cannot show."""
    match understood.meaning:
        case Command(name="correct", take=value):
            return value is not None or not with_value
    return is_put_right(understood)
