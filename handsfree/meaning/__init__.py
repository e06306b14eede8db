"""From words to meaning: readings, states, observations, commands, notes."""

from handsfree.meaning.interpret import interpret
from handsfree.meaning.meanings import (
    Ambiguous,
    Command,
    Meaning,
    Note,
    Observation,
    Reading,
    Repair,
    SetCondition,
    State,
    Take,
    Unclear,
    Understood,
)

__all__ = [
    "Ambiguous",
    "Command",
    "Meaning",
    "Note",
    "Observation",
    "Reading",
    "Repair",
    "SetCondition",
    "State",
    "Take",
    "Unclear",
    "Understood",
    "interpret",
]
