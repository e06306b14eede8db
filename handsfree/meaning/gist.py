"""What is probably meant by words that the grammar does not have.

A transcriber writes nearly always what was said, and people say more than a grammar that
is far apart in sound can hold.  The text is read by a wider grammar in which most words do
not matter.  The reading with the fewest of these words counts, if it is the only one, and
if none of them may change what is meant: "not", "if", a number.
"""

from __future__ import annotations

from collections.abc import Container
from dataclasses import replace
from itertools import pairwise, takewhile

from handsfree.grammar.moment import Moment, SpokenPlan
from handsfree.grammar.numerals import NUMBER_TAGS
from handsfree.grammar.parsing import Tags, is_numeral
from handsfree.grammar.text import parse_text, words
from handsfree.meaning.meanings import (
    CORRECTION,
    DECISIVE,
    Ambiguous,
    Aside,
    Command,
    Difference,
    Meaning,
    Note,
    Observation,
    Reading,
    SetCondition,
    State,
    Telling,
)
from handsfree.meaning.tags import meaning_of
from handsfree.plan.schema import Step

#: Share of the words that may be passed over.
MOST_PASSED = 2 / 5
#: The same for what changes the job.
MOST_AROUND_DECISION = 1 / 3
#: So many words may be passed over where a state of a wire is said.
MOST_AROUND_STATE = 1

#: The same where it is told how something is in this vehicle.
MOST_AROUND_TELLING = 3

#: Words of a text that has a gist, at most; what may be passed over grows with the cube of them.
LONGEST_GIST = 60

#: Commands that ask something, in as many little words as questions have.
_QUESTIONS = ("expected", "probe", "why", "left", "last")
#: States that are also said where a quantity is measured.
_OF_METER = ("open", "continuity", "dead", "ground", "battery")
#: Words of numbers that are also little words.
_LITTLE = frozenset({"a", "and", "one"})


def gist(
    text: str, spoken: SpokenPlan, step: Step | None, moment: Moment, *, strictly: bool = False
) -> Meaning | None:
    """What `text` comes to; None if that cannot be told.

    Args:
        text: words outside the grammar of the moment.
        spoken: the plan in its language.
        step: the open step; None for none.
        moment: what is waited for.
        strictly: no word may be passed over that adds anything.
    """
    grammar = spoken.gist(step, moment)
    if grammar is None:
        return None
    unit = step.measure.base_unit if step else ""
    size = len(words(text, grammar.vocabulary))
    if size > LONGEST_GIST:
        return None
    found: dict[tuple[int, int], dict[Meaning, None]] = {}
    for tags in parse_text(grammar, text):
        meaning = meaning_of(tags, unit)
        if isinstance(meaning, Aside):
            meaning = replace(meaning, about=True)
        beside = _beside(meaning, tags)
        passed = [word for word in beside if word not in _adding_nothing(meaning, spoken)]
        if (
            not any(word in _guards(meaning, spoken) or is_numeral(word) for word in passed)
            and len(passed) <= (0 if strictly else size * _most_passed(meaning))
            and _likely(meaning, tags, passed, step, spoken.language.spoken_digits)
        ):
            found.setdefault((len(passed), len(beside)), {})[meaning] = None
    nearest = list(found[min(found)]) if found else []
    states = step is not None and bool(step.measure.states)
    for first in (_answers, _state if states else _over_limit, _no_note, _no_aside):
        nearest = [one for one in nearest if first(one)] or nearest
    if moment != "beginning" and all(isinstance(one, Reading) or _corrects(one) for one in nearest):
        nearest = list(filter(_corrects, nearest)) or nearest
    readings = tuple(one for one in nearest if isinstance(one, Reading))
    if len(readings) == len(nearest) > 1:
        return Ambiguous(readings, "number form")
    notes = [one for one in nearest if isinstance(one, Note)]
    if notes and len(notes) == len(nearest):
        return min(notes, key=lambda note: len(note.text))  # least of it is what announces it
    takes = tuple(one.take for one in nearest if isinstance(one, Command) and one.take)
    if len(takes) == len(nearest) > 1:
        return Ambiguous(takes, CORRECTION)
    return nearest[0] if len(nearest) == 1 else None


def _beside(meaning: Meaning, tags: Tags) -> list[str]:
    """The words of a reading of the text that say nothing of its meaning."""
    if isinstance(meaning, Note):
        return []
    return [tag.removeprefix("any ") for tag in tags if tag.startswith("any ")]


def _adding_nothing(meaning: Meaning, spoken: SpokenPlan) -> frozenset[str]:
    """Words that may be passed over for this meaning, however many they are."""
    language = spoken.language
    asked = isinstance(meaning, Command) and meaning.name in _QUESTIONS
    return language.fillers | language.little if asked else language.fillers


def _guards(meaning: Meaning, spoken: SpokenPlan) -> frozenset[str]:
    """Words that must not be passed over for this meaning."""
    language = spoken.language
    if isinstance(meaning, Aside):
        return language.denials | (spoken.plain_number_words - _LITTLE)
    if isinstance(meaning, Command) and meaning.name == "yes":
        return language.denials | {no for no in language.phrases("no") if " " not in no}
    if isinstance(meaning, Command) and meaning.name not in DECISIVE:
        return language.denials | (spoken.subject_words & spoken.number_words - _LITTLE)
    return language.denials | language.guards | (spoken.subject_words - _LITTLE)


def _most_passed(meaning: Meaning) -> float:
    """Share of the words that may be passed over for this meaning."""
    match meaning:
        case Command(name=name) if name in DECISIVE - {"correct"}:
            return MOST_AROUND_DECISION
    return MOST_PASSED


def _likely(
    meaning: Meaning, tags: Tags, passed: list[str], step: Step | None, digits: Container[str]
) -> bool:
    """Whether so much may be passed over for this meaning, and the step can show it."""
    wires = {tag for tag in tags if tag.startswith("wire ")}
    match meaning:
        case Reading() | State() if len(wires) > 1 and "pair" not in tags:
            return False
        case Reading() | State() | Observation() if _of_another(tags, passed):
            return False
        case State(state=state) if step is None or not step.measure.states:
            return state in _OF_METER and not passed
        case Observation():
            return not passed
        case Reading(value=None) | State():
            return len(passed) <= MOST_AROUND_STATE
        case Reading(unit_spoken=False, number=number) if number == 1:
            return False  # "a good one"
        case Reading() if _cut_off(tags, digits):
            return False
        case Reading(unit_spoken=False) if "point" not in tags:
            # A bare number may count anything, unless a meter is said to show it.
            return not passed or ("shown" in tags and tags[-1] != f"any {passed[-1]}")
        case Telling() | Difference():
            return len(passed) <= MOST_AROUND_TELLING
        case Note(text=text):
            return bool(text)
        case Reading() | Command() | SetCondition() | Aside():
            return True
    return False


def _of_another(tags: Tags, passed: list[str]) -> bool:
    """Whether a word that is passed over says what has the value, and it is nothing of ours.

    It stands before "says" or "shows" ("the manual says five"), or behind the value ("a ten amp
    fuse", "open the door").
    """
    told = [i for i, tag in enumerate(tags) if tag.partition(" ")[0] in _VALUE_TAGS]
    behind = takewhile(lambda tag: tag.startswith("any "), tags[told[-1] + 1 :]) if told else ()
    before = [tag for tag, after in pairwise(tags) if after == "bare"]
    return any(t.startswith("any ") and t[4:] in passed for t in (*behind, *before))


#: Tags of what a value is made of.
_VALUE_TAGS = NUMBER_TAGS | {"unit", "scale", "state", "over", "option"}


def _cut_off(tags: Tags, digits: Container[str]) -> bool:
    """Whether a word is passed over that was part of the number: before a point, or a digit."""
    for before, after in pairwise(tags):
        if after == "point" and before.startswith("any "):
            return True
        for beside, of_number in ((before, after), (after, before)):
            digit = beside.startswith("any ") and beside.removeprefix("any ") in digits
            if digit and of_number.partition(" ")[0] in NUMBER_TAGS:
                return True
    return False


def _answers(meaning: Meaning) -> bool:
    return isinstance(meaning, Command) and meaning.name in ("yes", "no", "choice")


def _over_limit(meaning: Meaning) -> bool:
    """What the meter shows of an open wire, rather than the state of the wire."""
    return isinstance(meaning, Reading) and meaning.over_limit


def _state(meaning: Meaning) -> bool:
    return isinstance(meaning, State)


def _no_aside(meaning: Meaning) -> bool:
    return not isinstance(meaning, Aside)


def _corrects(meaning: Meaning) -> bool:
    """A value in place of the last one, rather than one that was begun anew."""
    return isinstance(meaning, Command) and meaning.name == "correct" and meaning.take is not None


def _no_note(meaning: Meaning) -> bool:
    return not isinstance(meaning, Note)
