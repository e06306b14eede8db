"""How long words take to say.

A model that writes text, such as Whisper, knows little of time: it may repeat what it has
written, or stop early.  What was said in the sound cannot be much longer or much shorter than
its words, so wordings that do not fit the time lose belief, and nothing else does.
"""

from __future__ import annotations

import math
import unicodedata

from handsfree.words.recogniser import Recognition, recognition

#: Seconds of speech for a wording of n letters: `START + LETTER * n`.  As all numbers here,
#: fitted on the tuning split of the speech bench.
START, LETTER = 0.15, 0.085
#: Standard deviation of the natural logarithm of speech over that, where it is shorter and
#: where it is longer: noise may be taken for speech, so that "too long" says less.
SHORTER, LONGER = 0.33, 0.5
#: A wording that fits worse than this was not said: nine times too long, four times too short.
IMPOSSIBLE = -10.0


def fit(text: str, voiced: float) -> float:
    """How well a wording fits the time in which there was speech.

    Args:
        text: of any script.
        voiced: seconds of speech.

    Returns:
        A natural logarithm to add to that of its likelihood: 0 where it fits, else less.
    """
    letters = sum(map(str.isalnum, unicodedata.normalize("NFD", text)))
    ratio = math.log(max(voiced, 0.01) / (START + LETTER * letters))
    return -((ratio / (SHORTER if ratio < 0 else LONGER)) ** 2) / 2


def in_time(found: Recognition, voiced: float, weight: float = 1.0) -> Recognition:
    """What was recognised, judged by the time in which there was speech as well."""
    fits = {h: fit(h.text, voiced) for h in found.hypotheses}
    scores = {h.text: h.score + weight * f for h, f in fits.items() if f > IMPOSSIBLE}
    return recognition(scores, best=len(fits))
