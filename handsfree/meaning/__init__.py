"""From words to meaning: readings, states, observations, commands, notes."""

from handsfree.meaning.interpret import interpret
from handsfree.meaning.meanings import (
    DECISIVE,
    NO_UNIT,
    Ambiguous,
    Aside,
    Command,
    Meaning,
    Note,
    Observation,
    Reading,
    Repair,
    Seen,
    SetCondition,
    State,
    Take,
    Unclear,
    Understood,
)

__all__ = [
    "DECISIVE",
    "NO_UNIT",
    "Ambiguous",
    "Aside",
    "Command",
    "Meaning",
    "Note",
    "Observation",
    "Reading",
    "Repair",
    "Seen",
    "SetCondition",
    "State",
    "Take",
    "Unclear",
    "Understood",
    "interpret",
]
