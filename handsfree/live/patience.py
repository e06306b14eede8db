"""How long a pause is waited for before an utterance counts as ended.

Pure: it depends on what was said so far.  A sentence that cannot go on to another value is over
after a short pause; one that may is waited for longer, and somebody who hesitates longest.  Whoever
made longer pauses within his sentences of late is waited for accordingly.
"""

from __future__ import annotations

from collections import deque

from handsfree.grammar import Automaton
from handsfree.grammar.going_on import Outlook, outlook, value_of_wire
from handsfree.heard import Heard
from handsfree.sound.endpoint import PAUSE

WAITED_FOR: dict[Outlook, float] = {
    "whole": 0.25,
    "unit": 0.5,
    "decimals": 0.65,
    "number": PAUSE,
    "words": PAUSE,
    "no sentence": PAUSE,
    "hesitation": 2.0,
}
"""Seconds without speech that end an utterance, by what may come; the first and the third fitted on
the tuning split, as a value cut in two against waiting (`python -m tests.patience_fit`)."""

ANOTHER_WIRE = 0.5
"""Seconds after a value that was said with its wire, since that of another wire may follow.  Common
practice, no published source: the pause of a comma."""

DECIDES = 0.6
"""Belief below which what was heard decides nothing."""

REMEMBERED = 10
"""Utterances over which the pauses within them count."""

AMPLE = 1.3
"""How much longer than those a pause must be."""


class Patience:
    """Decides for each utterance; remembers the pauses within the last ones."""

    def __init__(self) -> None:
        self._within: deque[float] = deque(maxlen=REMEMBERED)

    def spoke(self, within: float) -> None:
        """An utterance has ended; the longest pause within it, in seconds."""
        self._within.append(within)

    def pause(self, heard: Heard, grammar: Automaton, within: float = 0.0) -> float:
        """Seconds without speech by which what was heard is all that is said.

        Args:
            heard: of the utterance so far.
            grammar: of the moment.
            within: longest pause within the utterance so far, in seconds.
        """
        wanted = WAITED_FOR[self._outlook(heard, grammar)]
        if wanted < ANOTHER_WIRE and value_of_wire(grammar, heard.text.split()):
            wanted = ANOTHER_WIRE
        if wanted >= PAUSE:
            return wanted
        longest = max(within, *self._within, 0.0)
        return min(max(wanted, AMPLE * longest), PAUSE)

    def _outlook(self, heard: Heard, grammar: Automaton) -> Outlook:
        if not grammar.spaced or heard.broke or not heard.hypotheses or heard.shares[0] < DECIDES:
            return "no sentence"
        return outlook(grammar, heard.text.split())
