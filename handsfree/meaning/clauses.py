"""Two things said in one breath, of which one settles the other.

"Twelve six, yeah, twelve point six" is one value, said again; "not five, four point eight" puts a
value right; "the second, four point nine" is one answer.  A text that the grammar does not have as
a whole is cut in two, and each part is read by itself; no word is passed over.  Where it has commas
it is cut there, else anywhere; ways to cut it that differ in meaning count for nothing.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Container, Iterator, Sequence
from dataclasses import replace
from functools import cache
from itertools import accumulate

from handsfree.grammar.parsing import is_numeral
from handsfree.grammar.text import tokens
from handsfree.meaning.meanings import (
    CORRECTION,
    Ambiguous,
    Aside,
    Command,
    Meaning,
    Observation,
    Reading,
    SetCondition,
    State,
    Take,
)
from handsfree.meaning.parsed import amount_of

Reader = Callable[[str], Sequence[Meaning]]
"""The meanings of some words, read by themselves."""

#: Words of a text that is cut, at most.
LONGEST_CUT = 16
#: Parts of a text, at most.
MOST_CLAUSES = 3
#: A stop, before a space: no point of a number.
STOP = re.compile(r"[,;:.!?]+(?=\s)|\s[-\u2013\u2014]\s")

_Parts = tuple[Meaning, ...]


def in_clauses(
    text: str,
    read: Reader,
    denied: Reader,
    numbers: Container[str],
    values: Container[str],
    *,
    answering: bool,
) -> Meaning | None:
    """What a text comes to whose parts settle each other; None if they do not.

    Args:
        text: the words.
        read: what a part means by itself.
        denied: the values that a part denies.
        numbers: words of numbers.
        values: the same, and units: between a number and one of these only a comma parts a text.
        answering: a question is open; else "no" before a value denies it.
    """
    said = tokens(text)
    if not 1 < len(said) <= LONGEST_CUT:
        return None
    stops = stops_of(text)

    def is_number(word: str) -> bool:
        return word.lower() in numbers or is_numeral(word)

    def within(place: int) -> bool:
        after = said[place]
        return is_number(said[place - 1]) and (after.lower() in values or is_numeral(after))

    @cache
    def part(start: int, end: int) -> tuple[_Parts, _Parts]:
        words = " ".join(said[start:end])
        return tuple(read(words)), tuple(denied(words))

    def cut(start: int, end: int, places: Sequence[int], parts: int) -> Iterator[Meaning]:
        for place in places:
            if not start < place < end or (places is not stops and within(place)):
                continue
            first, second = part(start, place), part(place, end)
            if places is not stops and is_number(said[place - 1]):
                second = second[0], ()  # "forty not two": one number, with a word in it
            yield from _settled(first, second, answering)
            if parts > 2 and any(first):
                for rest in dict.fromkeys(cut(place, end, places, parts - 1)):
                    yield from _settled(first, ((rest,), ()), answering)

    for places in (stops, range(1, len(said))):
        found = list(dict.fromkeys(cut(0, len(said), places, MOST_CLAUSES)))
        clear = [one for one in found if not isinstance(one, Aside)] or found
        if len(clear) == 1:
            return clear[0]
    return None


def stops_of(text: str) -> list[int]:
    """Where commas and full stops part the words of a text: how many words stand before each."""
    return list(accumulate(len(tokens(part)) for part in STOP.split(text)))[:-1]


def restated(text: str, read: Reader) -> Take | None:
    """The value of a text that says it twice, the second time in full.

    "Four nine, four point nine" is 4.9, whatever else it may be.
    """
    said = tokens(text)
    if len(said) > LONGEST_CUT:
        return None
    found: dict[Take, None] = {}
    for place in range(1, len(said)):
        second = [one for one in read(" ".join(said[place:])) if _in_full(one)]
        if second and (first := read(" ".join(said[:place]))):
            found |= dict.fromkeys(_same(_values(first), _values(second)))
    return next(iter(found)) if len(found) == 1 else None


def _in_full(meaning: Meaning) -> bool:
    return (
        isinstance(meaning, Reading)
        and meaning.number is not None
        and meaning.form == "plain"
        and meaning.number != meaning.number.to_integral()
    )


def _settled(
    first: tuple[_Parts, _Parts], second: tuple[_Parts, _Parts], answering: bool
) -> Iterator[Meaning]:
    """What two parts come to that stand behind each other; nothing if none settles the other."""
    (before, not_before), (after, not_after) = first, second
    one, other = _values(before), _values(after)
    if one and other:
        same = _same(one, other)
        yield from same if len(same) == 1 else ()
        if not same and not _apart(one, other):
            yield Aside("several")
        return
    yield from _corrected(other, not_before)
    yield from _corrected(one, not_after)
    yield from _told(before, other, not_after, answering, first=True)
    yield from _told(after, one, not_before, answering, first=False)
    yield from _answered(before, after)


def _told(
    command: _Parts, values: tuple[Take, ...], denied: _Parts, answering: bool, *, first: bool
) -> Iterator[Meaning]:
    """A command of one part with the values of the other; some only if it stands first."""
    match command:
        case (Command(name="no"),) if answering and denied:
            yield Command("no")
        case (Command(name="no"),) if answering and values and first:
            yield Ambiguous(values, CORRECTION)
        case (Command(name="yes" | "choice" | "larger" | "smaller", take=None) as one,):
            yield from (replace(one, take=value) for value in values)
        case (Command(name="repeat"),) if values and first:
            yield values[0] if len(values) == 1 else Ambiguous(values, "number form")


def _answered(before: _Parts, after: _Parts) -> Iterator[Meaning]:
    """An answer that is given in two ways: "no, make it five", "second, the small one"."""
    match before, after:
        case (Command(name="no"),), (Command(name="correct", take=take) as correct,) if take:
            yield correct
        case (Command(name="no"),), (Ambiguous(reason=reason) as right,) if reason == CORRECTION:
            yield right
        case (Command(name="no"),), (Command(name="choice" | "larger" | "smaller") as one,):
            yield one
        case (Command(name="choice") as one,), (Command(name="larger" | "smaller") as size,):
            yield replace(size, choice=one.choice)
        case (Command(take=None) as one,), (Command() as again,) if one == again:
            yield one
        case (SetCondition() as one,), (SetCondition() as again,) if one == again:
            yield one


def _corrected(values: tuple[Take, ...], denied: _Parts) -> Iterator[Meaning]:
    """The value that is right, where another of its kind is denied."""
    wrong = [one for one in denied if isinstance(one, Take)]
    if values and any(_comparable(value, one) for value in values for one in wrong):
        yield Ambiguous(values, CORRECTION)


def _comparable(value: Take, other: Take) -> bool:
    match value, other:
        case Reading(value=one), Reading(value=two) if one is not None and two is not None:
            return bool(one.is_compatible_with(two.units)) and one != two
        case State(state=one), State(state=two):
            return one != two
    return False


def _values(meanings: Sequence[Meaning]) -> tuple[Take, ...]:
    """The values that a part may be; none if it may be something else."""
    values: list[Take] = []
    for meaning in meanings:
        match meaning:
            case Ambiguous(candidates=takes, reason="number form"):
                values.extend(takes)
            case Reading() | State() | Observation():
                values.append(meaning)
            case _:
                return ()
    return tuple(values)


def _same(first: Sequence[Take], second: Sequence[Take]) -> list[Take]:
    """The values that both parts may be, with the wire that one of them names."""
    found: dict[object, Take] = {}
    for one in first:
        for other in second:
            wires = {one.wire, other.wire} - {None}
            if len(wires) <= 1 and (told := _what(one)) == _what(other):
                found.setdefault(told, replace(other, wire=one.wire or other.wire))
    return list(found.values())


def _what(take: Take) -> object:
    match take:
        case Reading(value=value, hold=hold):
            return amount_of(value), hold
        case State(state=state):
            return state
        case Observation(answer=answer):
            return ("answer", answer)


def _apart(first: Sequence[Take], second: Sequence[Take]) -> bool:
    """Whether the parts are not both numbers: then they are no list."""
    return not all(isinstance(one, Reading) for one in (*first, *second))
