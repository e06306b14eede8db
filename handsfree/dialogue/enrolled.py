"""What an enrolled voice teaches: how one person is misheard, learnt from lines that were known.

Somebody reads lines aloud, and the engine hears them as it would hear any.  What it makes of them
tells of this person, and of nobody else:

- how far its doubt is right for him.  It expected so many of the lines to be misheard, and so many
  were: trials for his `VoiceRecord`;
- which words are taken for which.  Where one of those is heard again, the other is put beside it,
  so that he is asked which of the two it was;
- how long he takes for words, and how loud he speaks.

Nothing of the sound itself is kept.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from difflib import SequenceMatcher

from handsfree.dialogue.voice_record import PRIOR_RIGHT, PRIOR_WRONG, VoiceRecord
from handsfree.heard import Heard, Hypothesis

#: Words of a phrase that is taken for another, at most; longer ones are chance.
LONGEST_CONFUSED = 3
#: In so many lines words are taken for others before that counts: once is chance too.  On the
#: accents to tune with it saves a tenth of the questions, for 1 silent error more in 620.
LEAST_TIMES = 2


@dataclass(frozen=True, slots=True)
class LineHeard:
    """A line that was read aloud.

    Attributes:
        said: the line.
        heard: what the engine understood; empty for nothing.
        likely: with what probability it believed to be right, 0 to 1.
        pace: seconds that were spoken over those that the words usually take.
        level: of the sound, dBFS.
    """

    said: str
    heard: str
    likely: float
    pace: float = 1.0
    level: float = 0.0

    @property
    def right(self) -> bool:
        """Whether it was understood word by word."""
        return self.said == self.heard


@dataclass(frozen=True, slots=True)
class Confusion:
    """Words of a person that are taken for others.

    Attributes:
        said, heard: the words; where one was put in or left out, with the word before it.
        times: how often in the lines.
        true: how often what was heard had been said.
    """

    said: str
    heard: str
    times: int
    true: int

    @property
    def weight(self) -> float:
        """Natural logarithm of how likely the said words are, relative to the heard ones.

        The mean of a Beta distribution that begins with half a time for the one and one and a
        half for the other: the engine is right until it was seen to be wrong.
        """
        return math.log((self.times + 0.5) / (self.true + 1.5))


@dataclass(frozen=True, slots=True)
class Enrolled:
    """What the lines of a person taught.

    Attributes:
        engine: that heard them; of another it says nothing.
        lines: how many were read.
        right: how many of them were understood word by word.
        expected: how many of them the engine believed to be misheard, by its probabilities.
        pace: time for words, relative to the usual.
        level: of the sound, dBFS.
        confusions: words that are taken for others.
    """

    engine: str
    lines: int
    right: int
    expected: float
    pace: float = 1.0
    level: float = 0.0
    confusions: tuple[Confusion, ...] = ()

    @property
    def record(self) -> VoiceRecord:
        """The lines as trials of his voice: as many as make the engine expect what it expected."""
        rights = self.expected * PRIOR_RIGHT / PRIOR_WRONG
        return VoiceRecord(right=rights, wrong=float(self.lines - self.right))

    def corrected(self, heard: Heard, allowed: Callable[[str], bool]) -> Heard:
        """What was heard, with what may have been said instead beside it.

        Args:
            heard: best hypothesis first.
            allowed: whether the grammar has a wording.
        """
        if not heard.hypotheses:
            return heard
        scores = {h.text: h.score for h in heard.hypotheses}
        best = heard.hypotheses[0]
        for text, weight in self.instead(best.text):
            if allowed(text):
                scores[text] = max(scores.get(text, -math.inf), best.score + weight)
        ordered = sorted(scores.items(), key=lambda item: -item[1])
        return replace(heard, hypotheses=tuple(Hypothesis(t, s) for t, s in ordered))

    def instead(self, text: str) -> Iterator[tuple[str, float]]:
        """Wordings that may have been said where `text` was heard, with their weights."""
        words = text.split()
        for confusion in self.confusions:
            taken = confusion.heard.split()
            for at in range(len(words) - len(taken) + 1):
                if words[at : at + len(taken)] == taken:
                    said = [*words[:at], *confusion.said.split(), *words[at + len(taken) :]]
                    yield " ".join(said), confusion.weight


def learnt(engine: str, lines: Sequence[LineHeard]) -> Enrolled:
    """What lines teach that were read aloud."""
    count = max(len(lines), 1)
    return Enrolled(
        engine,
        lines=len(lines),
        right=sum(line.right for line in lines),
        expected=sum(1 - line.likely for line in lines),
        pace=math.exp(sum(math.log(max(line.pace, 0.01)) for line in lines) / count),
        level=sum(line.level for line in lines) / count,
        confusions=tuple(_confusions(lines)),
    )


def _confusions(lines: Sequence[LineHeard]) -> Iterator[Confusion]:
    taken = Counter(pair for line in lines for pair in _exchanged(line.said, line.heard))
    for (said, heard), times in sorted(taken.items()):
        if times < LEAST_TIMES:
            continue
        true = sum(_has(line.said, heard) and _has(line.heard, heard) for line in lines)
        yield Confusion(said, heard, times, true)


def _has(line: str, words: str) -> bool:
    return f" {words} " in f" {line} "


def _exchanged(said: str, heard: str) -> Iterator[tuple[str, str]]:
    """Words of `said` and what stands for them in `heard`; never nothing for something."""
    one, other = said.split(), heard.split()
    if not other:
        return
    for kind, i, j, k, m in SequenceMatcher(None, one, other, autojunk=False).get_opcodes():
        if kind == "equal":
            continue
        if i == j or k == m:  # put in or left out: told by the word before it
            if not i or not k:
                continue
            i, k = i - 1, k - 1
        if max(j - i, m - k) <= LONGEST_CONFUSED:
            yield " ".join(one[i:j]), " ".join(other[k:m])
