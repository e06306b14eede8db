"""The current jack: a lead that is left in it shorts whatever is probed next.

From the moment a current is to be measured in series the lead counts as in the current jack, until
the technician says that it is back, or a reading shows it.  A clamp needs no such jack.
"""

from __future__ import annotations

from handsfree.dialogue.desk import Desk
from handsfree.dialogue.session import Session
from handsfree.dialogue.turn import Turn, closed
from handsfree.events import LeadMoved, Question, Spoke
from handsfree.meaning import Reading, State, Take
from handsfree.plan.schema import Step
from handsfree.units import Quantity, quantity, size

#: Below this a meter whose lead is in the wrong jack may stand.  Common practice, no published
#: source.
NEARLY_NOTHING: Quantity = quantity(0.05, "V")


def warning(desk: Desk, session: Session) -> str:
    """That the lead goes back, where no step is to come; empty if it need not."""
    return desk.say("lead_back_first") if session.jack == "current" else ""


def moved_for(desk: Desk, session: Session, step: Step) -> Turn:
    """A step is opened: one that measures a current in series wants the lead in its jack."""
    turn = Turn(session)
    series = desk.plan.in_series(step)
    return turn.then(LeadMoved("current")) if series and session.jack == "volts" else turn


def proven_by(session: Session, step: Step, taken: Take) -> Turn:
    """A reading that cannot come of the current jack tells that the lead is back."""
    proves = session.jack == "current" and step.by_volts_jack and not shows_nothing(step, taken)
    return Turn(session).then(LeadMoved("volts")) if proves else Turn(session)


def doubted(session: Session, step: Step, taken: Take) -> bool:
    """Whether a reading is just what a lead in the current jack, or a blown fuse, would show."""
    return session.jack == "current" and step.by_volts_jack and shows_nothing(step, taken)


def shows_nothing(step: Step, taken: Take) -> bool:
    """Whether the meter shows what it shows with a lead in the wrong jack."""
    match taken:
        case Reading(value=None):
            return step.needs_ohmmeter
        case Reading(value=value) if value is not None and value.check("[electric_potential]"):
            return bool(size(value) < NEARLY_NOTHING)
        case State(state=state):
            return state in ("dead", "ground", "open")
    return False


def question(step: Step, taken: Take, supersedes: int | None) -> Question:
    """Asks whether the lead was back when that was read."""
    return Question("jack", step.id, (taken,), supersedes=supersedes)


def back(desk: Desk, session: Session) -> Turn:
    """The lead is said to be back; what was read before does not count."""
    turn = closed(session)
    if session.jack == "current":
        turn = turn.then(LeadMoved("volts"))
    prompt = desk.standing_prompt(turn.session)
    return turn.then(Spoke(desk.say("lead_is_back", prompt=prompt)))
