"""What a dictation reads and makes, kept for the processes forked from one that imports this."""

from __future__ import annotations

from dictation import PLAN

from handsfree.dialogue import Dialogue
from handsfree.languages import language_of
from handsfree.plan import load_plan

_loaded = load_plan(PLAN)
_dialogue = Dialogue(_loaded.plan, language_of(_loaded))
for _step in _loaded.plan.steps:
    _dialogue.desk.spoken.automaton(_step)
