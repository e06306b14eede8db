"""A statement with a remark beside it: "forty seven ohms way too high for a motor".

What a remark says is not understood.  It is one if none of its words can take the statement back,
or give it to something else: no number, unit or colour, nothing denied, wanted, past or
somebody's.  Behind a value in full ("forty seven ohms", "four point nine") it may begin with any
word but one to which the value would belong ("ten amps fuse", "five volts more"); else at a stop,
or with a word that begins a remark.  Before a statement it ends at a stop, or has words of chatter
alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

from handsfree.grammar.language import Language
from handsfree.grammar.moment import SpokenPlan
from handsfree.grammar.parsing import is_numeral
from handsfree.grammar.text import tokens
from handsfree.meaning.clauses import Reader, stops_of
from handsfree.meaning.meanings import (
    DECISIVE,
    Ambiguous,
    Aside,
    Command,
    Meaning,
    Observation,
    Reading,
    SetCondition,
    State,
)
from handsfree.plan.schema import Step

#: Words of a text with remarks, at most.
LONGEST_REMARKED = 24
#: Doubts that hold, whatever is said beside them.
_DOUBTS = ("hedged", "range", "several")
#: Rules of answers that are also said to begin with.
_BARE = ("yes", "no")


def beside_remarks(
    text: str, read: Reader, spoken: SpokenPlan, step: Step | None, *, answering: bool
) -> Meaning | None:
    """What a text comes to of which one part is a statement and the rest remarks; the longest.

    Args:
        text: the words.
        read: what a part means by itself.
        spoken: the plan in its language.
        step: the open step.
        answering: a question is open.
    """
    said = tokens(text)
    if not spoken.language.remarks or not 1 < len(said) <= LONGEST_REMARKED:
        return None
    cut = _Cutting([word.lower() for word in said], frozenset(stops_of(text)), spoken, answering)
    starts = [start for start in range(len(said)) if cut.before(start)]
    ends = [end for end in range(1, len(said) + 1) if cut.after(end)]
    for size in range(len(said) - 1, 0, -1):
        found: dict[Meaning, None] = {}
        for start in starts:
            end = start + size
            if end in ends and cut.parted(start, end):
                one = _stated(read(" ".join(said[start:end])), step)
                found |= {one: None} if one else {}
        if found:
            return next(iter(found)) if len(found) == 1 else None
    return None


def before_remark(said: Sequence[str], spoken: SpokenPlan) -> list[int]:
    """Where a remark may begin that lasts to the end: "that's the lot"; the last place first."""
    begin = spoken.language.remarks.get("begin", frozenset())
    cut = _Cutting(said, frozenset(), spoken, answering=False)
    return [end for end in range(len(said) - 1, 0, -1) if said[end] in begin and cut.after(end)]


@dataclass(frozen=True)
class _Cutting:
    """A text that may have remarks.

    Attributes:
        said: its words, in lower case.
        stops: where a comma or a full stop parts them.
        spoken: the plan in its language.
        answering: a question is open.
    """

    said: Sequence[str]
    stops: frozenset[int]
    spoken: SpokenPlan
    answering: bool

    @property
    def language(self) -> Language:
        return self.spoken.language

    def before(self, start: int) -> bool:
        """Whether no word before `start` can change what follows."""
        asks = self.said[0] in self.language.remarks["asking"]
        return not start or (not asks and self._harmless(self.said[:start]))

    def after(self, end: int) -> bool:
        """Whether no word from `end` on can change what stands before, and it is not broken off."""
        words = self.said[end:]
        broken = words and words[-1] in self.language.remarks["never_last"]
        return not broken and self._harmless(words)

    def parted(self, start: int, end: int) -> bool:
        """Whether what stands between them stands apart from the words around it."""
        remarks, said = self.language.remarks, self.said
        core, number = said[start:end], self._number(said[end - 1])
        full = self._in_full(start, end)
        within = [stop for stop in self.stops if start < stop < end]
        if any(self._number(said[stop - 1]) and self._number(said[stop]) for stop in within):
            return False
        if start and start not in self.stops:
            chatter = (remarks["chatter"] | self.language.fillers).issuperset(said[:start])
            if (number and not full) or not (chatter or said[start] in remarks["markers"]):
                return False
        if self.language.homophones.keys() >= set(core):
            return False  # "go to"
        if end == len(said) or end in self.stops:
            return True
        if not self.answering and self._bare(core):
            return False  # "yes I'm still holding for parts"
        first = said[end]
        if full:
            return first not in remarks["owners"]
        return first in remarks["begin"] or (first in remarks["joins"] and not number)

    def _bare(self, core: Sequence[str]) -> bool:
        """Whether it is a yes or a no alone, with which people begin whatever they say."""
        words = [word for word in core if word not in self.language.fillers] or core
        return any(self.language.is_said(rule, words) for rule in _BARE)

    def _in_full(self, start: int, end: int) -> bool:
        """Whether a part ends as a value with its unit does, in the plural, or with its point."""
        words, last = self.said[start:end], self.said[end - 1]
        if last in self.spoken.value_words - self.spoken.number_words:
            return last not in self.language.remarks["singular"] or words[-2:-1] in (["a"], ["an"])
        pointed = any("." in word for word in words if is_numeral(word))
        return (pointed or "point" in words) and self._number(last)

    def _number(self, word: str) -> bool:
        numbers = self.spoken.number_words - self.language.homophones.keys()
        return is_numeral(word) or word in numbers

    def _harmless(self, words: Sequence[str]) -> bool:
        """Whether no word can change what is said beside it, but in a phrase that cannot."""
        bad = {i for i, word in enumerate(words) if self._matters(word)}
        for start, end in combinations(range(len(words) + 1), 2):
            if self.language.is_said("hedging", words[start:end]):
                return False
            if bad and self.language.is_said("innocent", words[start:end]):
                bad -= set(range(start, end))
        return not bad

    def _matters(self, word: str) -> bool:
        language, spoken = self.language, self.spoken
        units = spoken.value_words - spoken.number_words
        return (
            word in language.denials | language.remarks["reserved"] | units
            or (self._number(word) and word not in language.remarks["chatter"])
            or word in language.colours
        )


def _stated(meanings: Sequence[Meaning], step: Step | None) -> Meaning | None:
    """The statement that a part is, if it is one."""
    readings = tuple(one for one in meanings if isinstance(one, Reading))
    if len(readings) == len(meanings) > 1:
        return Ambiguous(readings, "number form")
    if len(meanings) != 1:
        return None
    match meanings[0]:
        case Aside(kind=kind) as doubt if kind in _DOUBTS:
            return replace(doubt, about=True)
        case State() if step is None or not step.measure.states:
            return None  # "ow, that's hot"
        case Reading() | State() | Observation() | Ambiguous() | SetCondition() as one:
            return one
        case Command(name=name, take=take) as one if name not in DECISIVE or take:
            return one
    return None
