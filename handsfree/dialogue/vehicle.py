"""What differs in the vehicle at hand, told at the beginning of a planned job."""

from __future__ import annotations

from handsfree.dialogue.desk import Desk
from handsfree.dialogue.session import Session
from handsfree.dialogue.turn import Turn, closed
from handsfree.events import Spoke
from handsfree.meaning import Telling


def tell_vehicle(desk: Desk, session: Session, told: Telling) -> Turn:
    """Take over what was told."""
    return closed(session).then(Spoke(desk.standing_prompt(session)))
