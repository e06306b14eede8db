"""What is said while a wire is watched."""

from __future__ import annotations

from handsfree.dialogue import watching
from handsfree.dialogue.asking import MISSES_ANSWERED, ask
from handsfree.dialogue.commanding import QUERIES, obey
from handsfree.dialogue.desk import Desk
from handsfree.dialogue.session import Session
from handsfree.dialogue.turn import Turn, closed
from handsfree.events import Asked, ConditionSet, Noted, Question, Spoke
from handsfree.meaning import Aside, Command, Meaning, Note, Seen, SetCondition

#: Commands that are obeyed in a watch as anywhere.
_AS_ANYWHERE = (*QUERIES, "pause", "resume")


def said_in_watch(desk: Desk, session: Session, meaning: Meaning, *, unsure: bool) -> Turn:
    """What follows from an utterance within a watch.

    Args:
        desk: the plan and its wording.
        session: where the dialogue stands; a watch is on.
        meaning: what was said.
        unsure: what is seen is confirmed before it is logged; its time is that of its telling.
    """
    question = session.question
    turn = closed(session)
    match meaning:
        case Command(name="yes") if question and isinstance(question.meant, Seen):
            at = session.now if question.at is None else question.at
            return turn.and_then(watching.see(desk, turn.session, question.meant, at))
        case Command(name="no") if question:
            return turn.then(Spoke(desk.say("say_again")))
        case Seen() as seen if unsure:
            asked = Question("meant", None, meant=seen, at=session.now)
            return turn.and_then(ask(desk, turn.session, asked, "unsure"))
        case Seen() as seen:
            return turn.and_then(watching.see(desk, turn.session, seen, session.now))
        case Command(name="end_watch"):
            return turn.and_then(watching.end(desk, turn.session))
        case Command(name="strike"):
            return turn.and_then(watching.strike_seen(desk, turn.session))
        case Command(name="last"):
            return turn.then(Spoke(_last(desk, session)))
        case Command(name=name) if name in _AS_ANYWHERE:
            return obey(desk, session, meaning, unsure=unsure)
        case SetCondition(condition=condition):
            said = desk.plan.condition(condition).say
            told = desk.say("condition_named", condition=said)
            return turn.then(ConditionSet(condition), Spoke(told))
        case Note(text=text):
            return turn.then(Noted(text), Spoke(desk.say("noted")))
        case Command():
            return turn.then(Spoke(desk.say("watch_first")))
        case Aside(kind="filler"):
            return turn
    unheard = session.misses > MISSES_ANSWERED or (isinstance(meaning, Aside) and not meaning.about)
    return turn if unheard else turn.then(Asked(desk.say("unclear_1")))


def _last(desk: Desk, session: Session) -> str:
    watch = session.watch
    if watch is None or not watch.seen:
        return desk.say("no_value_yet")
    seen = desk.wording.seen_event(watch.seen[-1])
    return desk.say("last_is", wire=watching.what_is_watched(desk, watch), value=seen)
