"""From a verdict to the next step: a pure state machine."""

from handsfree.dialogue.effects import (
    Ask,
    Conclude,
    Effect,
    Finish,
    Move,
    Record,
    Say,
    Strike,
    Teach,
    WriteNote,
)
from handsfree.dialogue.respond import Dialogue, Response
from handsfree.dialogue.session import Entry, Guess, Question, Session
from handsfree.dialogue.wording import Wording

__all__ = [
    "Ask",
    "Conclude",
    "Dialogue",
    "Effect",
    "Entry",
    "Finish",
    "Guess",
    "Move",
    "Question",
    "Record",
    "Response",
    "Say",
    "Session",
    "Strike",
    "Teach",
    "Wording",
    "WriteNote",
]
