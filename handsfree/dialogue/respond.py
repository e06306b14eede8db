"""The dialogue: an utterance in, a new session and effects out.

A pure state machine.  Effects come in the order in which they must happen: what is
recorded comes before what is said, so that nothing is read back that is not logged.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from handsfree.check import resolve
from handsfree.dialogue.asking import aside, unclear
from handsfree.dialogue.commanding import obey, set_condition
from handsfree.dialogue.desk import Desk
from handsfree.dialogue.effects import Effect, Say, WriteNote, lead
from handsfree.dialogue.moving import Turn, open_step
from handsfree.dialogue.session import Session
from handsfree.dialogue.taking import take
from handsfree.dialogue.wording import Wording
from handsfree.grammar import Language, SpokenPlan
from handsfree.heard import Heard
from handsfree.meaning import (
    Ambiguous,
    Aside,
    Command,
    Note,
    Observation,
    Reading,
    SetCondition,
    State,
    Unclear,
    Understood,
    interpret,
)
from handsfree.plan.schema import Plan

#: A command that ends, strikes, skips or moves is not obeyed if it is less likely than this.
SURE_COMMAND = 0.5
#: The same for one that changes nothing that is logged.
SURE_QUERY = 0.3
#: Commands that end, strike, skip or move.
DECISIVE = frozenset({"finish", "strike", "skip", "next", "back", "go", "repaired", "correct"})
#: A value that is less likely than this to be right is confirmed.
SURE = 0.8


@dataclass(frozen=True, slots=True)
class Response:
    """What came of an utterance.

    Attributes:
        session: the dialogue afterwards.
        effects: what to log and say, in order.
        understood: how the utterance was read; None if nothing was said.
    """

    session: Session
    effects: tuple[Effect, ...]
    understood: Understood | None = None


class Dialogue:
    """The dialogue about one plan in one language.

    Args:
        plan: what is to be probed.
        language: what is spoken.
        apprentice: also say how to probe and why, before each step.
        informed: the next step is the one that tells most a minute, not that of the plan.
    """

    def __init__(
        self,
        plan: Plan,
        language: Language,
        *,
        apprentice: bool = False,
        informed: bool = False,
    ) -> None:
        spoken = SpokenPlan(language, plan)
        self.desk = Desk(plan, spoken, Wording(language, plan), apprentice, informed)

    def start(self) -> Response:
        """The first words: title, cautions, the first step."""
        desk, plan = self.desk, self.desk.plan
        title = desk.say("start", title=plan.title)
        words = [title, desk.say(f"caution_{plan.circuit_class}"), *plan.cautions]
        session, effects = open_step(desk, Session(), plan.steps[0], "next")
        return Response(session, tuple(lead(effects, words)))

    def resume(self, session: Session) -> Response:
        """The first words when a job goes on."""
        return Response(session, (Say(self.desk.standing_prompt(session)),))

    def respond(self, session: Session, heard: Heard) -> Response:
        """What follows from an utterance."""
        if session.phase == "finished":
            return Response(session, ())
        understood = self.understand(session, heard)
        if session.paused and not isinstance(understood.meaning, Command):
            return Response(session, (), understood)
        if not isinstance(understood.meaning, Unclear | Aside):
            session = replace(session, misses=0)
        session, effects = self._follow(session, understood, heard)
        return Response(session, tuple(effects), understood)

    def understand(self, session: Session, heard: Heard) -> Understood:
        """The meaning of an utterance where the dialogue stands, settled as far as it can be."""
        desk = self.desk
        step = desk.focus(session)
        understood = interpret(heard, desk.spoken, step, session.moment)
        if session.last and (_corrects(understood) or isinstance(understood.meaning, Unclear)):
            before = desk.plan.step(session.last.step)  # a correction is in the unit of that step
            corrected = interpret(heard, desk.spoken, before, session.moment)
            if _corrects(corrected):
                understood, step = corrected, before
        understood = _sure(understood, session)
        return resolve(understood, step, desk.plan, session.taken) if step else understood

    def _follow(self, session: Session, understood: Understood, heard: Heard) -> Turn:
        desk = self.desk
        number = not isinstance(understood.meaning, State | Observation)
        unsure = understood.share < SURE or (number and not heard.numbers_trusted)
        said = [desk.say("name_repaired", heard=r.heard, taken=r.taken) for r in understood.repairs]
        ending = session.question is not None and session.question.kind == "finish"
        match understood.meaning:
            case Command(name="yes" | "no" | "pause" | "resume"):
                pass
            case Aside(about=False):
                pass
            case _ if ending:  # anything but yes goes on
                session = replace(session, question=None)
        match understood.meaning:
            case Command() as command:
                return obey(desk, session, command, said, unsure=unsure)
            case SetCondition(condition=condition):
                return set_condition(desk, replace(session, question=None), condition)
            case Reading() | State() | Observation() | Ambiguous() as value:
                return take(desk, session, value, said, unsure=unsure)
            case Note(text=text):
                return session, [WriteNote(text), Say(desk.say("noted"))]
            case Aside() as said_beside:
                return aside(desk, session, said_beside)
            case Unclear(reason=reason):
                return unclear(desk, session, reason)


def _sure(understood: Understood, session: Session) -> Understood:
    """A command that is not likely enough to be obeyed is not understood."""
    match understood.meaning:
        case SetCondition():
            name, decisive = "a condition", True
        case Command(name="yes" as name) if session.question:
            decisive = session.question.kind == "finish"
        case Command(name=name):
            decisive = name in DECISIVE
        case _:
            return understood
    if understood.share >= (SURE_COMMAND if decisive else SURE_QUERY):
        return understood
    return replace(understood, meaning=Unclear(f"heard as {name}, too unsure to be obeyed"))


def _corrects(understood: Understood) -> bool:
    return isinstance(understood.meaning, Command) and understood.meaning.take is not None
