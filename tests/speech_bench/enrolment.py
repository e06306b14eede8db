"""Strangers enrol: each accent and speaker reads the lines, in quiet, before the phrases are said.

The lines are said at other speeds and with other rules of the accent kept than the phrases are.
"""

from __future__ import annotations

import random
import zlib

from handsfree.dialogue.enrolled import Enrolled, LineHeard, learnt
from handsfree.job.enrolling import enrolment_lines, understood_text
from handsfree.meaning import Reading, Unclear

from .hearing import Listener
from .phrases import Phrase, dialogue, scene
from .strangers import SPEED, SPLITS, Stranger

#: Where the lines are said.
_PLAN, _STEP = "thermistor-2wire", "resistance_warm"
#: The probability of a line of which nothing is understood.
_NOTHING = 0.5


def lines_of(stranger: Stranger) -> list[Stranger]:
    """The lines, said by the one who says a trial."""
    return [_line(stranger, number, text) for number, text in enumerate(enrolment_lines())]


def _line(stranger: Stranger, number: int, text: str) -> Stranger:
    name = f"enrol {stranger.accent} {stranger.speaker} {number}"
    return Stranger(
        Phrase(number, SPLITS[stranger.who], "reading", _PLAN, _STEP, text, Reading(None), _STEP),
        stranger.who,
        stranger.accent,
        stranger.speaker,
        round(random.Random(name).uniform(*SPEED), 2),
        "quiet",
        "room",
        zlib.crc32(name.encode()),
    )


def enrolled(stranger: Stranger, listener: Listener) -> Enrolled:
    """What the lines of the one who says a trial teach."""
    talk, heard = dialogue(_PLAN), []
    for trial in lines_of(stranger):
        session, text = scene(trial.phrase), trial.phrase.text
        ears = list(listener.listen(trial, text, 0))
        if not ears:
            heard.append(LineHeard(text, "", _NOTHING))
            continue
        found = ears[0].hear(talk.desk, session).heard
        understood = talk.understand(session, found)
        unclear = not found.hypotheses or isinstance(understood.meaning, Unclear)
        taken = understood_text(talk, session, text, found.text)
        heard.append(LineHeard(text, taken, _NOTHING if unclear else understood.share))
    return learnt("", heard)
