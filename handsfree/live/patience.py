"""How long a pause is waited for before an utterance counts as ended.

Pure: it depends on what was said so far.  A sentence that cannot go on to another value is over
after a short pause; one that may is waited for longer, and somebody who hesitates longest.  Whoever
made longer pauses within his sentences of late, or said several values in a breath, is waited for
accordingly.
"""

from __future__ import annotations

from collections import deque
from itertools import accumulate

from handsfree.grammar import Automaton
from handsfree.grammar.going_on import Outlook, outlook, value_of_wire
from handsfree.heard import Heard
from handsfree.sound.endpoint import PAUSE

WAITED_FOR: dict[Outlook, float] = {
    "whole": 0.25,
    "unit": 0.5,
    "answer": 0.5,
    "decimals": 0.65,
    "number": PAUSE,
    "words": PAUSE,
    "no sentence": PAUSE,
    "hesitation": 2.0,
}
"""Seconds without speech that end an utterance, by what may come; that of whole sentences and that
of decimals fitted on the tuning split, as a value cut in two against waiting (tests/patience_fit).
After an answer as long is waited as for another wire."""

ANOTHER_WIRE = 0.5
"""Seconds after a value that was said with its wire by somebody who says several in a breath, since
that of another wire may follow.  Common practice, no published source: the pause of a comma."""

PLAUSIBLE = 0.8
"""Share of the belief that decides: of the likeliest wordings that have it the one that may go on
furthest is waited for."""

REMEMBERED = 10
"""Utterances over which the pauses within them count, and what was said in them."""

AMPLE = 1.3
"""How much longer than those a pause must be."""


class Patience:
    """Decides for each utterance; remembers the pauses within the last ones."""

    def __init__(self) -> None:
        self._within: deque[float] = deque(maxlen=REMEMBERED)
        self._several: deque[bool] = deque(maxlen=REMEMBERED)

    def spoke(self, within: float, *, several: bool = False) -> None:
        """An utterance has ended.

        Args:
            within: the longest pause within it, in seconds.
            several: whether several values were said in it.
        """
        self._within.append(within)
        self._several.append(several)

    def pause(self, heard: Heard, grammar: Automaton, within: float = 0.0) -> float:
        """Seconds without speech by which what was heard is all that is said.

        Args:
            heard: of the utterance so far.
            grammar: of the moment.
            within: longest pause within the utterance so far, in seconds.
        """
        if not grammar.spaced or heard.broke or not heard.hypotheses:
            return PAUSE
        wanted = max(self._wanted(text, grammar) for text in _plausible(heard))
        if wanted >= PAUSE:
            return wanted
        longest = max(within, *self._within, 0.0)
        return min(max(wanted, AMPLE * longest), PAUSE)

    def _wanted(self, text: str, grammar: Automaton) -> float:
        words = text.split()
        wanted = WAITED_FOR[outlook(grammar, words)]
        if any(self._several) and wanted < ANOTHER_WIRE and value_of_wire(grammar, words):
            return ANOTHER_WIRE
        return wanted


def _plausible(heard: Heard) -> list[str]:
    """The likeliest wordings that together have the belief that decides."""
    believed = accumulate(heard.shares)
    count = sum(share < PLAUSIBLE for share in believed) + 1
    return [hypothesis.text for hypothesis in heard.hypotheses[:count]]
