"""A statement with a remark beside it: "forty seven ohms way too high for a motor".

What a remark says is not understood.  It is one if none of its words can take the statement back,
or give it to something else: no number, unit or colour, nothing wanted, past or somebody's, and
nothing denied but behind a value in full ("forty seven ohms", "four point nine"), and there not
first and not last.  Behind such a value it may begin with any word but one to which the value
would belong ("ten amps fuse", "five volts more"); else at a stop, or with a word that begins a
remark.  Before a statement it ends at a stop or before a word that begins anew, or has words of
chatter alone.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import combinations

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
    words = [word.lower() for word in said]
    cut = _Cutting(words, frozenset(stops_of(text)), spoken, answering)
    for size in range(len(said) - 1, 0, -1):
        found: dict[Meaning, None] = {}
        for start in range(len(said) - size + 1):
            end = start + size
            if cut.before(start, end) and cut.parted(start, end):
                one = _stated(read(" ".join(said[start:end])), step)
                if not one or cut.opens(one, start, end):
                    continue
                if cut.after(start, end, asks=_asks_only(one)):
                    found[one] = None
        if found:
            return next(iter(found)) if len(found) == 1 else None
    return None


def before_remark(said: Sequence[str], spoken: SpokenPlan) -> list[int]:
    """Where a remark may begin that lasts to the end: "that's the lot"; the last place first."""
    remarks = spoken.language.remarks
    if not remarks:
        return []
    begin = remarks["begin"] | remarks["behind_lists"]
    cut = _Cutting(said, frozenset(), spoken, answering=False)
    return [
        end
        for end in range(len(said) - 1, 0, -1)
        if said[end] in begin and cut.after(0, end, asks=False)
    ]


def stands(
    said: Sequence[str], stops: Collection[int], spoken: SpokenPlan, start: int, end: int
) -> bool:
    """Whether a part stands apart from what is behind it, and that cannot change it."""
    if not spoken.language.remarks:
        return end == len(said)
    cut = _Cutting([word.lower() for word in said], frozenset(stops), spoken, answering=False)
    return cut.parted(start, end) and cut.after(start, end, asks=False)


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

    def before(self, start: int, end: int) -> bool:
        """Whether what stands before a part is a remark, and stands apart from it."""
        if not start:
            return True
        words, remarks = self.said[:start], self._remarks
        chatter = self._chatter.issuperset(words)
        if start not in self.stops:
            number = any(map(self._number, self.said[start:end]))
            if number and not self._in_full(start, end):
                return False
            if self._number(words[-1]) and self._number(self.said[start]):
                return False
            anew = self.said[start] in remarks["markers"]
            if not number and self.said[start] in remarks["begin"]:  # "with the ground" goes on
                anew |= {self.said[start]}.isdisjoint(remarks["never_last"])
                anew |= words[-1] in remarks["markers"]
            if not chatter and not anew:
                return False
        return words[0] not in remarks["asking"] and not self._matters(0, start)

    def parted(self, start: int, end: int) -> bool:
        """Whether a part stands apart from what is behind it."""
        remarks, said, number = self._remarks, self.said, self._number(self.said[end - 1])
        within = [stop for stop in self.stops if start < stop < end]
        if any(self._number(said[stop - 1]) and self._number(said[stop]) for stop in within):
            return False
        if said[end - 1] in self.spoken.language.homophones:
            return False  # "go to", "point five too"
        if end == len(said) or end in self.stops:
            return True
        if number and self._number(said[end]):
            return False
        if self._in_full(start, end):
            return said[end] not in remarks["owners"] or self._innocent_from(end)
        return said[end] in remarks["begin"] or (said[end] in remarks["joins"] and not number)

    def after(self, start: int, end: int, *, asks: bool) -> bool:
        """Whether what stands behind a part cannot change it, and is not broken off.

        What is said behind a part that only `asks` may deny and want.
        """
        if end == len(self.said):
            return True
        size, last = len(self.said), self.said[-1]
        joins = end == size - 1 and last in self._remarks["joins"]
        if joins or last in self._remarks["never_last"]:
            return False
        bad = self._matters(end, size)
        if asks:
            if end not in self.stops and self.said[end] not in self._remarks["clauses"]:
                return False
            return not any(i < 0 or self.said[i] not in self._denying for i in bad)
        return all(self._may_deny(i, end) for i in bad)

    def _may_deny(self, place: int, end: int) -> bool:
        """Whether a word denies, or may, something of a remark and not the value before it."""
        if place < 0:
            return False
        word, last = self.said[place], place == len(self.said) - 1
        begins = place > end or word in self._remarks["denies_next"]
        return word in self._denying and begins and not last

    def _matters(self, start: int, end: int) -> set[int]:
        """The places of words that may change what is said beside them; -1 for a guess."""
        if any(start <= a and b <= end for a, b in self._hedging):
            return {-1}
        bad = {i for i in range(start, end) if i in self._weighty}
        for a, b in self._innocent:
            if start <= a and b <= end:
                bad -= set(range(a, b))
        return bad

    def opens(self, one: Meaning, start: int, end: int) -> bool:
        """Whether it is a yes or a no with which people begin what they say: "yes I'm coming"."""
        if (
            not isinstance(one, Observation)
            or self.answering
            or end in (*self.stops, len(self.said))
        ):
            return False
        language, said = self.spoken.language, self.said[start:end]
        plain = any(language.is_said(rule, one.answer.split()) for rule in _BARE)
        return plain or language.fillers.issuperset(said)

    def _in_full(self, start: int, end: int) -> bool:
        """Whether a part ends as a value with its unit does, in the plural, or with its point."""
        words, last = self.said[start:end], self.said[end - 1]
        if last in self._units:
            single = len(words) > 1 and words[-2] in self._remarks["articles"]
            return last not in self._remarks["singular"] or single
        pointed = any("." in word for word in words if is_numeral(word))
        return (pointed or not self._remarks["point"].isdisjoint(words)) and self._number(last)

    def _number(self, word: str) -> bool:
        return is_numeral(word) or word in self._numbers

    def _innocent_from(self, start: int) -> bool:
        return any(a == start for a, _ in self._innocent)

    @property
    def _remarks(self) -> Mapping[str, frozenset[str]]:
        return self.spoken.language.remarks

    @cached_property
    def _chatter(self) -> frozenset[str]:
        return self._remarks["chatter"] | self.spoken.language.fillers

    @cached_property
    def _numbers(self) -> frozenset[str]:
        return self.spoken.plain_number_words - self._remarks["never_last"]

    @cached_property
    def _units(self) -> frozenset[str]:
        return self._remarks["units"] | self.spoken.unit_words

    @cached_property
    def _denying(self) -> frozenset[str]:
        denials = self.spoken.language.denials - self._remarks["reserved"]
        return denials | self._remarks["soft"]

    @cached_property
    def _weighty(self) -> set[int]:
        """The places of words that may change what is said beside them, by themselves."""
        language, spoken = self.spoken.language, self.spoken
        known = language.denials | self._remarks["reserved"] | self._remarks["soft"]
        known |= spoken.unit_words | language.colours.keys()
        counted = self._remarks["chatter"]
        return {
            i
            for i, word in enumerate(self.said)
            if word in known or (self._number(word) and word not in counted)
        }

    @cached_property
    def _innocent(self) -> list[tuple[int, int]]:
        return self._spans("innocent")

    @cached_property
    def _hedging(self) -> list[tuple[int, int]]:
        return self._spans("hedging")

    def _spans(self, rule: str) -> list[tuple[int, int]]:
        """Where the sentences of a rule stand."""
        places = combinations(range(len(self.said) + 1), 2)
        return [p for p in places if self.spoken.language.is_said(rule, self.said[slice(*p)])]


def _asks_only(meaning: Meaning) -> bool:
    """Whether it changes nothing, so that whatever is said behind it may be a remark."""
    return isinstance(meaning, Command) and meaning.name not in DECISIVE


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
