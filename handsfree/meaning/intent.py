"""What is wanted by a sentence that no grammar has: it is near to sentences that were learnt.

The intent is told as a whole (`Intents`); what it is about, values and wires, is found in the
sentence by the grammar.  An intent is called by a sentence that the grammar has, "short to ground",
so that it is understood here if it means anything here.  All of it is asked about before it is
logged.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Hashable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from handsfree.grammar.moment import Moment, SpokenPlan
from handsfree.grammar.parsing import Parser, is_numeral
from handsfree.grammar.text import parse_text, words
from handsfree.meaning.clauses import STOP, Reader
from handsfree.meaning.meanings import (
    CORRECTION,
    DECISIVE,
    Ambiguous,
    Aside,
    Command,
    Meaning,
    Note,
    OneValue,
    Reading,
    Several,
    State,
    Take,
)
from handsfree.meaning.parsed import logged_alike, meanings_of
from handsfree.meaning.remarks import stands
from handsfree.plan.schema import Step

_Place = tuple[int, int, tuple[Reading, ...]]
"""Where a value stands, first word and the one behind the last, and the ways to read it."""

#: Intents that no sentence stands for.
VALUE, VALUES, CORRECT, GO, NOTE = "a value", "values", "a correction", "go to a wire", "a note"
VAGUE, NO_INTENT = "something vague", "nothing"

#: How likely an intent must be to be acted upon.
LEAST_LIKELY = 0.6
#: The same for one that is acted upon at once, and changes what is logged: answers and notes.
LEAST_AT_ONCE = 0.8
#: Words of a sentence, at most.
LONGEST_SENTENCE = 40
#: Words of a value, and of the name of a wire, at most.
LONGEST_VALUE, LONGEST_NAME = 9, 5
#: So many words before a value are looked at for one that denies it.
DENIES_NEXT = 2
#: Words that make a value no reading, at most.
LONGEST_DOUBT = 4
#: Words of a wish that is denied, at most.
LONGEST_DENIED = 9
#: Values between which is asked, at most.
MOST_VALUES = 3


def by_intent(
    text: str, sentence: Sentence, read: Reader, least: float = LEAST_LIKELY
) -> Meaning | None:
    """What is wanted by a text; None if that is not likely enough, or nothing here.

    Args:
        text: words outside the grammar of the moment.
        sentence: the same, and what it names.
        read: the meanings of a sentence, in other words than the grammar's too.
        least: an intent that is less likely than this is not acted upon.
    """
    intents = sentence.spoken.language.intents
    if intents is None:
        return None
    if not 0 < len(sentence.said) <= LONGEST_SENTENCE or sentence.broken_off:
        return None
    shares = intents.shares(text, sentence.cues)
    likeliest = max(shares, key=shares.__getitem__)
    alike = _WITH_A_VALUE if likeliest in _WITH_A_VALUE else (likeliest,)
    if sum(shares.get(one, 0) for one in alike) < least:
        return None
    wanted = sentence.wanted(likeliest, read)
    at_once = isinstance(wanted, Note) or (
        isinstance(wanted, Command) and wanted.name in ("yes", "no", "choice")
    )
    return None if at_once and shares[likeliest] < LEAST_AT_ONCE else wanted


@dataclass(frozen=True)
class Sentence:
    """A sentence, and what it names.

    Attributes:
        said: its words.
        stops: the places before which a comma or a full stop stands.
        spoken: the plan in its language.
        grammar: of the moment.
        step: the open step.
        moment: what is waited for.
    """

    said: Sequence[str]
    stops: Collection[int]
    spoken: SpokenPlan
    grammar: Parser
    step: Step | None
    moment: Moment

    @classmethod
    def of(
        cls, text: str, spoken: SpokenPlan, grammar: Parser, step: Step | None, moment: Moment
    ) -> Sentence:
        """A text as a sentence."""
        said: list[str] = []
        stops: set[int] = set()
        for part in STOP.split(text):
            for word in words(part, spoken.wire.vocabulary):
                stem = word.removesuffix("'s")
                owner = stem != word and stem in spoken.wire_words  # "violet's" is two words
                said += [stem, "'s"] if owner else [word]
            stops.add(len(said))
        return cls(said, stops, spoken, grammar, step, moment)

    @property
    def cues(self) -> list[float]:
        """What of the text and the moment helps to tell the intent: nine numbers, 0 or 1."""
        measure = self.step.measure if self.step else None
        known = (
            self.moment == "answering",
            measure is not None and measure.quantity is not None,
            measure is not None and bool(measure.states),
            measure is not None and bool(measure.options),
            len(self.values) == 1,
            len(self.values) > 1,
            any(map(self._numeral, self.said)),
            bool(self.wires),
            not self.spoken.language.denials.isdisjoint(self.said),
        )
        return list(map(float, known))

    @property
    def broken_off(self) -> bool:
        """Whether it ends with a word that never ends one: "and", "point"."""
        return self.said[-1] in self._listed("never_last") | self._listed("point")

    def wanted(self, intent: str, read: Reader) -> Meaning | None:
        """What is meant, if this is the intent; None if it cannot be meant here."""
        if intent == NO_INTENT:
            return None
        if intent == VAGUE:
            return Aside("hedged")
        if intent == NOTE:
            return Note(" ".join(self.said))
        if intent in (VALUE, CORRECT):
            return self._value(corrects=intent == CORRECT)
        if intent == VALUES:
            return self._several()
        if intent == GO:
            known = len(self._pins) == 1 and not self._other_colour
            return Command("go", wire=next(iter(self._pins))) if known else None
        meant = [one for one in read(intent) if not isinstance(one, Aside)]
        if len(meant) != 1 or (isinstance(meant[0], Take) and self._doubtful):
            return None
        return self._of_wire(meant[0], intent)

    def keeps(self, wish: str) -> bool:
        """Whether what is wished is denied: "don't take that one back", "leave it as it is".

        Args:
            wish: a command, or "a condition".
        """
        language = self.spoken.language
        answers = {word for no in language.phrases("no") for word in no.split()}
        denials = (language.denials - answers) | self._listed("asking")
        rules = [rule for rule, wishes in _DENIED_BY.items() if wish in wishes] or ["denied_ask"]
        size = len(self.said)
        return any(
            language.is_said(rule, self.said[start:end])
            for rule in rules
            if rule in language.rules
            for start in range(size)
            for end in range(start + 1, min(start + LONGEST_DENIED, size) + 1)
            if not any(start < stop < end for stop in self.stops)
            and denials.isdisjoint(self.said[start - 1 : start] if start else ())
        )

    def _of_wire(self, meant: Meaning, intent: str) -> Meaning:
        """With the wire that is named, unless it has the name of what is said of it."""
        pins = {pin for a, b, pin in self.wires if not {*self.said[a:b]} & {*intent.split()}}
        if isinstance(meant, State | Reading) and len(pins) == 1:
            return replace(meant, wire=pins.pop())
        return meant

    def _value(self, *, corrects: bool) -> Meaning | None:
        apart: dict[Hashable, Reading] = {}
        places = [place for place in self.numbers if not self._denied(place[0])]
        if self._other_colour:
            return None
        doubtful = self._doubtful or self._denied(DENIES_NEXT) or places != self.values
        if doubtful and not corrects:
            return Aside("several") if len(self.numbers) > 1 else None
        told = [one for _, _, readings in places for one in readings]
        in_full = [one for one in told if one.unit_spoken]
        for one in in_full or told:
            apart.setdefault(logged_alike(one, self.step), one)
        takes = list(map(self._named, apart.values()))
        if not 0 < len(takes) <= MOST_VALUES:
            return Aside("several") if takes else None
        if corrects:
            several = Ambiguous(tuple(takes), CORRECTION)
            return Command("correct", take=takes[0]) if len(takes) == 1 else several
        return takes[0] if len(takes) == 1 else Ambiguous(tuple(takes), "heard")

    def _named(self, reading: Reading) -> Reading:
        return replace(reading, wire=next(iter(self._pins))) if len(self._pins) == 1 else reading

    @property
    def _pins(self) -> set[str]:
        return {pin for _, _, pin in self.wires}

    @property
    def _other_colour(self) -> bool:
        """Whether a colour is named that is in no wire's name: another wire is meant."""
        within = {i for a, b, _ in self.wires for i in range(a, b)}
        colours = self.spoken.language.colours
        return any(word in colours for i, word in enumerate(self.said) if i not in within)

    @property
    def _doubtful(self) -> bool:
        """Whether it begins as what is no reading does: "almost", "there's no"."""
        language, begins = self.spoken.language, range(1, LONGEST_DOUBT + 1)
        return not self._listed("asking").isdisjoint(self.said[:1]) or any(
            language.is_said(rule, self.said[:end]) for rule in _DOUBTS for end in begins
        )

    def _several(self) -> Meaning | None:
        """Each wire with the one value that follows it before the next wire."""
        found: list[OneValue] = []
        starts = [a for a, _, _ in self.wires] + [len(self.said)]
        for (_, end, pin), until in zip(self.wires, starts[1:], strict=True):
            within = [place for place in self.numbers if end <= place[0] and place[1] <= until]
            if len(within) != 1 or within[0] not in self.values:
                return Aside("several")
            takes = tuple(replace(one, wire=pin) for one in within[0][2])
            found.append(takes[0] if len(takes) == 1 else Ambiguous(takes, "number form"))
        return Several(tuple(found)) if len(found) > 1 else self._value(corrects=False)

    @cached_property
    def wires(self) -> list[tuple[int, int, str]]:
        """Where wires are named, first word and the one behind the last, and the label of each."""
        found: list[tuple[int, int, str]] = []
        for start, end in self._spans(LONGEST_NAME, self.spoken.wire.vocabulary.__contains__):
            parses = parse_text(self.spoken.wire, self._text(start, end))
            pins = {tag[5:] for tags in parses for tag in tags if tag.startswith("wire ")}
            if len(pins) == 1 and all(end <= a or b <= start for a, b, _ in found):
                found.append((start, end, pins.pop()))
        return sorted(found)

    @cached_property
    def values(self) -> list[_Place]:
        """Where values stand that are not denied, vague, wanted, of the past or asked about."""
        return [one for one in self.numbers if not self._made_other(one)]

    @cached_property
    def numbers(self) -> list[_Place]:
        """Where values stand; none ends within a number, or before its unit."""
        found: list[_Place] = []
        for start, end in self._spans(LONGEST_VALUE, self._of_value):
            taken = any(a < end and start < b for a, b, _ in (*found, *self.wires))
            if taken or self._goes_on(start, end):
                continue
            meanings = meanings_of(
                self.grammar, self._text(start, end), self.step, self.moment, self.spoken.language
            )
            ways = tuple(one for one in meanings if isinstance(one, Reading) and _counts(one))
            if ways:
                found.append((start, end, ways))
        return sorted(found, key=lambda place: place[:2])

    def _goes_on(self, start: int, end: int) -> bool:
        """Whether a part begins or ends within a number, or goes over a stop."""
        if any(start < stop < end for stop in self.stops):
            return True
        before = self.said[start - 1 : start] if start not in self.stops else ()
        after = self.said[end : end + 1] if end not in self.stops else ()
        return self._cut_off(start) or any(map(self._of_number, (*before, *after)))

    def _cut_off(self, start: int) -> bool:
        """Whether a number begins with its point, behind a word that may be its whole part."""
        language = self.spoken.language
        begins = start > 0 and self.said[start] in self._listed("point")
        return begins and self.said[start - 1] not in language.little | language.fillers

    def _made_other(self, place: _Place) -> bool:
        """Whether what stands beside a value denies it, makes it vague, wants it or asks for it."""
        start, end, ways = place
        language, sizes = self.spoken.language, range(1, LONGEST_DOUBT + 1)
        before = [self.said[max(start - size, 0) : start] for size in sizes]
        if (
            self._denied(start)
            or any(language.is_said(rule, part) for rule in _DOUBTS for part in before)
            or not (self._listed("reserved") - self._listed("shows")).isdisjoint(before[1])
        ):
            return True
        if not ways[0].unit_spoken:  # it may count anything
            return not stands(self.said, self.stops, self.spoken, start, end)
        after = [self.said[end : end + size] for size in sizes] if end not in self.stops else [[]]
        innocent = any(language.is_said("innocent", part) for part in after)
        other = self._listed("reserved") | self._listed("owners")
        return any(
            language.is_said(rule, part) for rule in ("hedge_after", "hedging") for part in after
        ) or not (innocent or other.isdisjoint(after[0]))

    def _denied(self, start: int) -> bool:
        language = self.spoken.language
        before = self.said[max(start - DENIES_NEXT, 0) : start]
        return not (language.denials - language.guards).isdisjoint(before)

    def _numeral(self, word: str) -> bool:
        return is_numeral(word) or word in self._numbers

    def _of_number(self, word: str) -> bool:
        return self._numeral(word) or word in self.spoken.unit_words

    def _of_value(self, word: str) -> bool:
        return self._of_number(word) or word in self.spoken.plain_number_words

    @cached_property
    def _numbers(self) -> frozenset[str]:
        """Words of numbers that are no little words too."""
        little = self._listed("articles") | self._listed("behind_lists")
        return self.spoken.plain_number_words - little

    def _listed(self, use: str) -> frozenset[str]:
        """Words by what they may do in a remark; none in a language that does not tell."""
        return self.spoken.language.remarks.get(use, frozenset())

    def _spans(self, longest: int, fits: Callable[[str], bool]) -> Iterator[tuple[int, int]]:
        """Runs of words that fit and are in no name of a wire, the longest first."""
        size = len(self.said)
        for length in range(min(longest, size), 0, -1):
            for start in range(size - length + 1):
                if all(map(fits, self.said[start : start + length])):
                    yield start, start + length

    def _text(self, start: int, end: int) -> str:
        return " ".join(self.said[start:end])


def _counts(reading: Reading) -> bool:
    """Whether it is a number, and not a bare "one"."""
    return reading.number is not None and (reading.number != 1 or reading.unit_spoken)


#: What is asked about before it counts: which of these is likelier need not be as sure.
_WITH_A_VALUE = (VALUE, CORRECT, VAGUE)
#: Rules that deny a wish, with the wishes; all others are denied by the one of what is asked.
_DENIED_BY = {
    "denied_wish": DECISIVE | {"last", "a condition", "resume"},
    "kept": {"strike", "correct", "skip", "last"},
    "denied_ask": {"last"},
}
#: Rules of what makes a value behind it no reading.
_DOUBTS = ("hedge", "wanted", "earlier", "asking", "denial", "hedging")
