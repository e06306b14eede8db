"""From a verdict to the next step: a pure state machine."""

from handsfree.dialogue.respond import Dialogue, Response
from handsfree.dialogue.session import Session
from handsfree.dialogue.wording import Wording

__all__ = ["Dialogue", "Response", "Session", "Wording"]
