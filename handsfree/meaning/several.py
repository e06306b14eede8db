"""Several values in one breath: "brown ground, violet four nine eight, feedback point six".

No recogniser is given a grammar of them, which would be larger with every wire and every form of
a number: they are read from a text, as a gist is.  The text is cut into pieces of which each is one
value with its wire (`one_of_several` in utterance.jsgf); no word is passed over.  Of a wire whose
value is vague, or is not understood, this is kept, so that it alone is asked about.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from handsfree.grammar.moment import SpokenPlan
from handsfree.grammar.numerals import LEFT_OUT, NUMBER_TAGS, number_of
from handsfree.grammar.parsing import Parser, Tags, is_numeral
from handsfree.grammar.text import words
from handsfree.meaning.meanings import (
    Ambiguous,
    Aside,
    Meaning,
    OneValue,
    Reading,
    Several,
    State,
    Take,
    Understood,
    Unread,
    candidates,
)
from handsfree.meaning.remarks import before_remark
from handsfree.meaning.tags import in_base_unit, meaning_of
from handsfree.plan.schema import Step

#: Words of a text with several values, at most, and of one value with its wire.
LONGEST_BREATH, LONGEST_PIECE = 60, 14
#: Ways to cut a text that are followed at once.
MOST_WAYS = 24
#: Words of what tells the unit of all, at most.
LONGEST_SHARED = 8
#: Words of a value that is not understood, at most.
LONGEST_UNREAD = 6
#: Doubts that concern one value alone if they stand between its wire and its number.
_OF_ONE = ("hedged", "range")


@dataclass(frozen=True, slots=True)
class _Cut:
    """A beginning of the text that is cut into pieces.

    Attributes:
        values: that the pieces come to.
        doubt: what makes all of it no reading; None if nothing does.
        unread: words of values that were not understood.
        gist: values in other words than the grammar's.
    """

    values: tuple[OneValue, ...] = ()
    doubt: Aside | None = None
    unread: int = 0
    gist: int = 0

    def then(self, piece: _Cut) -> _Cut:
        """With one more piece."""
        return _Cut(
            self.values + piece.values,
            self.doubt or piece.doubt,
            self.unread + piece.unread,
            self.gist + piece.gist,
        )

    @property
    def misfit(self) -> tuple[int, int]:
        """How little the pieces explain."""
        return self.unread, self.gist


def several(told: str, spoken: SpokenPlan, step: Step | None) -> Understood | None:
    """The values of several wires that are `told`; an aside if all of it is denied, or asked.

    None if it tells less than two, or if it can be cut in ways that differ in meaning.

    Args:
        told: words outside the grammar of the moment.
        spoken: the plan in its language.
        step: the open step; its unit is meant where none is said.
    """
    if step is None:
        return None
    text = spoken.language.spelled_plainly(told)
    if sum(word in spoken.wire_words for word in words(text, {*spoken.wire_words, "'s"})) < 2:
        return None
    grammars = spoken.several()
    if grammars is None:
        return None
    begins, pieces = grammars
    vocabulary = pieces.vocabulary | begins.vocabulary
    owned = {f"{word}'s" for word in (*spoken.wire_words, "wire", "one")}  # "violet's" is two words
    said = words(text, vocabulary - owned)
    if len(said) > LONGEST_BREATH:
        return None
    read = _Pieces(pieces, spoken, step, step.measure.bare_unit or "V")
    for start, announced in _beginnings(begins, said):
        cut = _of_one_unit(said[start:], read) or _without_remark(said[start:], read)
        if cut is not None:
            meaning = cut.doubt or _half_a_guess(cut.values, step) or Several(cut.values, announced)
            return Understood(meaning, told, by_gist=cut.gist > 0)
    return None


def _half_a_guess(values: Sequence[OneValue], step: Step) -> Aside | None:
    """A vague value, where all that is clear beside it is the open test's own.

    That test would be closed by half of a guess.
    """
    vague = [one.reason for one in values if isinstance(one, Unread) and one.reason != "unknown"]
    clear = [take.wire for one in values for take in candidates(one)]
    own = clear and all(wire in step.pins for wire in clear)
    return Aside(vague[0]) if vague and own else None


def _beginnings(begins: Parser, said: Sequence[str]) -> Iterator[tuple[int, int]]:
    """Where the first value may begin, and how many are announced before it (0 for none)."""
    for end in range(min(len(said), LONGEST_PIECE), 0, -1):
        for tags in begins.parses(said[:end]):
            count = [tag for tag in tags if tag.partition(" ")[0] in NUMBER_TAGS]
            yield end, int(number_of(count).value) if count else 0
    yield 0, 0


def _of_one_unit(said: Sequence[str], pieces: _Pieces) -> _Cut | None:
    """The way to cut a text that ends with the unit of all its values, of which none has its own.

    "Violet five, white two point six, all volts."
    """
    grammar = pieces.spoken.unit_of_all()
    if grammar is None:
        return None
    for end in range(max(len(said) - LONGEST_SHARED, 1), len(said)):
        tags = {tag for parse in grammar.parses(said[end:]) for tag in parse}
        units = {tag.removeprefix("unit ") for tag in tags if tag.startswith("unit ")}
        if len(units) == 1:
            cut = _cut(said[:end], replace(pieces, unit=units.pop()))
            told = [take for one in cut.values for take in candidates(one)] if cut else []
            bare = [not one.unit_spoken for one in told if isinstance(one, Reading)]
            if cut and not cut.unread and len(bare) > 1 and all(bare):
                return replace(cut, gist=1)
    return None


def _without_remark(said: Sequence[str], pieces: _Pieces) -> _Cut | None:
    """The way to cut a text, without the remark at its end if all is understood so."""
    whole = _cut(said, pieces)
    if whole is None or whole.unread:
        for end in before_remark(said, pieces.spoken):
            shorter = _cut(said[:end], pieces)
            if shorter is not None and not shorter.unread:
                return shorter
    return whole


def _cut(said: Sequence[str], pieces: _Pieces) -> _Cut | None:
    """The way to cut a text that explains most of it, if there is one."""
    ways: list[dict[_Cut, None]] = [{} for _ in range(len(said) + 1)]
    ways[0][_Cut()] = None
    for start in range(len(said)):
        likely = sorted(ways[start], key=lambda way: way.misfit)[:MOST_WAYS]
        for end in range(start + 1, min(start + LONGEST_PIECE, len(said)) + 1) if likely else ():
            if piece := pieces.read(said[start:end], last=end == len(said)):
                ways[end] |= {way.then(piece): None for way in likely}
    whole = [way for way in ways[-1] if len(way.values) > 1]
    best = [way for way in whole if way.misfit == min(one.misfit for one in whole)]
    if len(best) != 1 or all(isinstance(value, Unread) for value in best[0].values):
        return best[0] if len(best) == 1 and best[0].doubt else None
    return best[0]


@dataclass(frozen=True, slots=True)
class _Pieces:
    """Reads one value with its wire.

    Attributes:
        grammar: of one value.
        spoken: the plan in its language.
        step: the open step.
        unit: of a value that has none.
    """

    grammar: Parser
    spoken: SpokenPlan
    step: Step
    unit: str

    def read(self, said: Sequence[str], *, last: bool) -> _Cut | None:
        """What the words come to; None if they are no value with its wire.

        The `last` may be broken off.
        """
        parses = [tags for tags in self.grammar.parses(said) if last or _BROKEN not in tags]
        for kind in (_PLAIN, _GIST, _UNREAD):
            found = [tags for tags in parses if _kind(tags) == kind]
            if piece := self._piece(found, said) if found else None:
                return replace(piece, gist=int(kind == _GIST))
        return None

    def _piece(self, parses: Sequence[Tags], said: Sequence[str]) -> _Cut | None:
        """The value that these parses give, with the ways to read its number."""
        told: dict[tuple[str, ...], list[Tags]] = {}
        for tags in parses:
            named = tuple(dict.fromkeys(tag[5:] for tag in tags if tag.startswith("wire ")))
            if len(named) == 1 or (_SHARED in tags and named):
                told.setdefault(named, []).append(tags)
        if not told:
            return None
        if len(told) > 1:  # wires of one name
            return self._of_twins(told)
        ((pins, ways),) = told.items()
        values = [self._value(pin, ways, said) for pin in pins]
        doubts = [one for one in values if isinstance(one, Aside)]
        known = tuple(one for one in values if one is not None and not isinstance(one, Aside))
        if len(doubts) + len(known) < len(pins):
            return None
        unread = len(said) if any(isinstance(one, Unread) for one in known) else 0
        if doubts:  # counted as a value, and makes all of it none
            return _Cut(tuple(Unread(pin, doubts[0].kind) for pin in pins), doubts[0])
        return _Cut(known, unread=unread)

    def _of_twins(self, told: Mapping[tuple[str, ...], Sequence[Tags]]) -> _Cut | None:
        """Only the technician can tell which of the wires was meant."""
        read = [self._value(pin, ways, ()) for (pin, *_), ways in told.items()]
        takes = tuple(one for one in read if isinstance(one, Reading | State))
        return _Cut((Ambiguous(takes, "wire"),)) if len(takes) == len(read) else None

    def _value(
        self, pin: str, ways: Sequence[Tags], said: Sequence[str]
    ) -> OneValue | Aside | None:
        """The value of one wire; an aside if what is said of it makes all of it no reading."""
        if _kind(ways[0]) == _UNREAD:
            return Unread(pin) if any(map(self._may_be_a_value, ways)) else None
        read = [(self._of_wire(tags, pin, self.unit), tags) for tags in ways]
        takes = [one for one, _ in read if isinstance(one, Reading | State)]
        if not takes:
            for one, tags in read:
                if isinstance(one, Aside):
                    return Unread(pin, one.kind) if _of_one(one, tags) else one
            return None
        if self._names_only(takes[0], said):
            return Unread(pin)
        takes += [one for one in (in_base_unit(one, self.unit) for one in takes) if one]
        apart: dict[Hashable, Reading | State] = {}
        for take in sorted(takes, key=_left_out):
            shown = (take.value, take.hold) if isinstance(take, Reading) else take
            apart.setdefault(shown, take)
        if len(apart) > 1:
            return Ambiguous(tuple(apart.values()), "number form")
        return next(iter(apart.values()))

    def _of_wire(self, tags: Tags, pin: str, unit: str) -> Meaning:
        meaning = meaning_of(tags, unit)
        return replace(meaning, wire=pin) if isinstance(meaning, Reading | State) else meaning

    def _names_only(self, take: Take, said: Sequence[str]) -> bool:
        """Whether it may be a wire that is pointed at and no value: "the blue one"."""
        bare = isinstance(take, Reading) and not take.unit_spoken and take.number == 1
        return bare and said[-1:] == ["one"] and said[-2] in self.spoken.language.colours

    def _may_be_a_value(self, tags: Tags) -> bool:
        """Whether a wire is followed by a value that was misheard: few words, and of a number.

        No other wire may be among them, and nothing that denies or guards a value.
        """
        said = [tag.removeprefix("any ") for tag in tags if tag.startswith("any ")]
        language, numbers = self.spoken.language, self.spoken.number_words
        never = (language.denials | language.guards | self.spoken.wire_words) - numbers
        some = _BROKEN in tags or any(
            is_numeral(word) or (word in numbers and word not in language.homophones)
            for word in said
        )
        return some and len(said) <= LONGEST_UNREAD and not never & set(said)


#: How a piece is read: by the grammar, in other words, or not but for its wire.
_PLAIN, _GIST, _UNREAD = "plain", "gist", "unread"
#: The tag of a wire whose value is broken off.
_BROKEN = "broken"
#: The tag of a value that two wires share.
_SHARED = "shared"


def _kind(tags: Tags) -> str:
    return next((kind for kind in (_UNREAD, _GIST) if kind in tags), _PLAIN)


def _left_out(take: Reading | State) -> int:
    return LEFT_OUT[take.form] if isinstance(take, Reading) else 0


def _of_one(said: Aside, tags: Tags) -> bool:
    """Whether a doubt is of this value alone: it stands between the wire and the number."""
    verbs = [tag.partition(" ")[0] for tag in tags]
    number = next((i for i, verb in enumerate(verbs) if verb in (*NUMBER_TAGS, "state")), 0)
    place = verbs.index("aside")
    ranged = said.kind == "range" and verbs.index("wire") < number
    return ranged or (said.kind in _OF_ONE and verbs.index("wire") < place < number)
