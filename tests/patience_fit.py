"""How long to wait for more: a value cut in two is weighed against waiting.

    python -m tests.patience_fit [--final]

Each phrase of the tuning split of the speech bench ends once; so often the pause of its class is
waited.  At each boundary between two of its words somebody may hesitate; where what was said is
another value than is meant, the value is cut if the hesitation is longer than the pause.

How people hesitate is assumed: at one boundary in twenty, for 0.2 s and an exponential rest of
0.35 s in the mean (silent pauses are mostly shorter than half a second: Goldman-Eisler 1968,
"Psycholinguistics", from memory).  A value that is cut costs the seconds of a correction.
"""

from __future__ import annotations

import math
import sys
from collections import Counter

import numpy as np

from handsfree.grammar.going_on import outlook
from handsfree.heard import Heard
from handsfree.live.patience import WAITED_FOR
from handsfree.meaning import Meaning, Reading, interpret
from handsfree.sound.endpoint import PAUSE

from .speech_bench.phrases import Split, dialogue, phrases

HESITATES, LEAST, MEAN = 0.05, 0.2, 0.35
CUT_COSTS = 10.0
"""Seconds that it takes to notice and to say the value again."""

WAITS = np.arange(0.25, 0.91, 0.05)


def counted(split: Split) -> tuple[Counter[str], Counter[str]]:
    """How many phrases end in each class, and how many values within them would be cut there."""
    ends: Counter[str] = Counter()
    within: Counter[str] = Counter()
    for phrase in phrases(split, None):
        if phrase.before in ("confirm", "which", "paused"):
            continue
        desk = dialogue(phrase.plan).desk
        step = desk.plan.step(phrase.step)
        grammar = desk.spoken.automaton(step)
        words = phrase.text.split()
        ends[outlook(grammar, words)] += 1
        for n in range(1, len(words) if phrase.is_value else 0):
            part = interpret(Heard.of_text(" ".join(words[:n])), desk.spoken, step).meaning
            if isinstance(part, Reading) and not _same(part, phrase.intended):
                within[outlook(grammar, words[:n])] += 1
    return ends, within


def _same(part: Reading, whole: Meaning) -> bool:
    """Whether the part is the value already: a unit or a wire may come after it."""
    return isinstance(whole, Reading) and part.value == whole.value


def cut(wait: float) -> float:
    """Probability that a boundary is hesitated at for longer than that."""
    return HESITATES * math.exp(-max(wait - LEAST, 0.0) / MEAN)


def main(split: Split) -> None:
    """Print for each class what is best, and what is set."""
    ends, within = counted(split)
    said = sum(ends.values())
    cuts = 0.0
    for name, pause in WAITED_FOR.items():
        costs = [ends[name] * w + within[name] * cut(w) * CUT_COSTS for w in WAITS]
        best = WAITS[int(np.argmin(costs))]
        cuts += within[name] * cut(pause)
        print(
            f"{name:12} ends {ends[name]:4} within {within[name]:4} best {best:.2f} s, set {pause}"
        )
    waited = sum(ends[name] * pause for name, pause in WAITED_FOR.items()) / said
    before = sum(within.values()) * cut(PAUSE) / said
    print(f"{said} phrases: {waited:.2f} s waited each, {cuts / said:.2%} cut in two")
    print(f"with {PAUSE} s for all: {before:.2%}")


if __name__ == "__main__":
    main("held-out" if "--final" in sys.argv else "tune")
