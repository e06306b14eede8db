"""What a dictation reads and makes, kept for the processes forked from one that imports this."""

from __future__ import annotations

from dictation import PLAN

from handsfree.dialogue import Dialogue
from handsfree.heard import Heard
from handsfree.live.verbosity import Verbosity, language_for
from handsfree.plan import load_plan

_plan = load_plan(PLAN).plan
_dialogue = Dialogue(_plan, language_for(_plan.language, Verbosity.normal))
for _step in _plan.steps:
    _dialogue.desk.spoken.automaton(_step)
_dialogue.respond(_dialogue.start().session, Heard.of_text("twelve point six volts"))
