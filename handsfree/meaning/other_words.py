"""What words come to that the grammar does not have as a whole: by their clauses, or their gist."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from handsfree.grammar.moment import Moment, SpokenPlan
from handsfree.grammar.parsing import Parser
from handsfree.grammar.text import parse_text, words
from handsfree.meaning.clauses import Reader, in_clauses, restated
from handsfree.meaning.gist import gist
from handsfree.meaning.intent import LEAST_AT_ONCE, LEAST_LIKELY, Sentence, by_intent
from handsfree.meaning.meanings import (
    Ambiguous,
    Aside,
    Command,
    Meaning,
    Note,
    Reading,
    SetCondition,
    State,
    Take,
    Unclear,
    is_correction,
)
from handsfree.meaning.parsed import logged_alike, meanings_of
from handsfree.meaning.remarks import beside_remarks
from handsfree.meaning.tags import meaning_of
from handsfree.meaning.trimmed import without_frills
from handsfree.plan.schema import Step

#: No smaller number is one that was said twice: "four nine, four point nine" is 494.9.
LEAST_TWICE = 100
#: What the gist tells as well as any intent if it passes over no word.
_ANSWERS = ("yes", "no", "choice")
#: An intent that is as likely says better than the gist which command is meant.
SURE_INTENT = 0.8


def in_other_words(
    text: str, spoken: SpokenPlan, grammar: Parser, step: Step | None, moment: Moment
) -> Meaning | None:
    """What a text comes to by its parts, by its gist, or by what is mostly wanted so."""
    text = spoken.language.spelled_plainly(text)
    sentence = Sentence.of(text, spoken, grammar, step, moment)
    read = _reader(spoken, grammar, step, moment)
    told = _in_any_way(text, sentence, read)
    match told:
        case Reading() | State():
            astray = _other_wires(told, sentence, read, step)
            if astray and gist(text, spoken, step, moment) != told:  # which knows of pairs
                return Aside("several")
        case Command(name="yes" | "no" as name, take=None) if _in_two_minds(name, sentence):
            return Aside("unknown", about=True)
        case Command(name=name, take=None) if name not in _ANSWERS and sentence.keeps(name):
            return Aside("kept")
        case SetCondition() if sentence.keeps("a condition"):
            return Aside("kept")
    return told


def _in_two_minds(name: str, sentence: Sentence) -> bool:
    """Whether an answer has the other in it too: "nah, yeah that's it"."""
    language, said = sentence.spoken.language, sentence.said
    yes, no = ({*language.phrases(rule)} for rule in ("yes", "no"))
    if name == "yes":
        return not no.isdisjoint(said)
    return any(first in no and second in yes for first, second in pairwise(said))


def _other_wires(
    take: Reading | State, sentence: Sentence, read: Reader, step: Step | None
) -> bool:
    """Whether a text that comes to one value names more wires than those it is taken from.

    "Earth" may be a wire and a state: there it is the state.
    """

    def is_state(start: int, end: int) -> bool:
        told = read(" ".join(sentence.said[start:end])) if isinstance(take, State) else ()
        return any(isinstance(one, State) for one in told)

    named = {pin for start, end, pin in sentence.wires if not is_state(start, end)}
    return len(named) > 1 and not (step and named <= {*step.pins})


def _in_any_way(text: str, sentence: Sentence, read: Reader) -> Meaning | None:
    spoken, step, moment = sentence.spoken, sentence.step, sentence.moment
    if moment not in ("beginning", "listening", "answering"):
        return gist(text, spoken, step, moment) or _woken(text, sentence, read)
    answering = moment == "answering"
    if bare := _trimmed(text, read, spoken, sentence.grammar, step, moment):
        return bare
    whole = gist(text, spoken, step, moment, strictly=True)
    if isinstance(whole, Command) and whole.name in _ANSWERS and whole.take is None:
        return whole
    parts = _by_clauses(text, read, spoken, step, answering=answering)
    if parts is not None and not isinstance(parts, Aside):
        return _or_as_a_whole(parts, whole, step)
    if twice := restated(text, read):
        return twice
    told = gist(text, spoken, step, moment) or parts
    if isinstance(told, Note) or (isinstance(told, Command) and told.take is None):
        sure = isinstance(told, Command) and told == whole
        least = SURE_INTENT if sure else LEAST_LIKELY
        meant = by_intent(text, sentence, read, least)
        return meant if isinstance(meant, Command) else told
    if told is None or isinstance(told, Aside):
        told = beside_remarks(text, read, spoken, step, answering=answering) or told
    if told is None or (isinstance(told, Aside) and told.kind in ("unknown", "several")):
        meant = by_intent(text, sentence, read)
        told = meant if meant and not (told and isinstance(meant, Ambiguous)) else told
    return told


def _woken(text: str, sentence: Sentence, read: Reader) -> Meaning | None:
    """The wish to go on while it is asleep, if that is most likely."""
    if sentence.moment != "asleep":
        return None
    meant = by_intent(text, sentence, read, LEAST_AT_ONCE)
    return meant if meant == Command("resume") else None


def _or_as_a_whole(parts: Meaning, whole: Meaning | None, step: Step | None) -> Meaning:
    """What the parts of a text come to, unless it is another number as a whole: "two k two"."""
    if not isinstance(parts, Reading) or not isinstance(whole, Reading):
        return parts
    same = logged_alike(parts, step) == logged_alike(replace(whole, wire=parts.wire), step)
    return parts if same else Ambiguous((whole, parts), "number form")


def _trimmed(
    text: str, read: Reader, spoken: SpokenPlan, grammar: Parser, step: Step | None, moment: Moment
) -> Meaning | None:
    """What a text comes to without what carries nothing; what may be asked only by the grammar."""
    language = spoken.language
    asking = language.remarks.get("asking", frozenset())
    begins = text.lower().split()[:1]
    for shorter in without_frills(text, language, answering=moment == "answering"):
        asks = not (asking.isdisjoint(begins) or shorter.lower().split()[:1] == begins)
        found = meanings_of(grammar, shorter, step, moment, language) if asks else read(shorter)
        told = [one for one in found if not isinstance(one, Aside | Unclear)]
        readings = tuple(one for one in told if isinstance(one, Reading))
        if len(readings) == len(told) > 1:
            return Ambiguous(readings, "number form")
        if len(told) == 1:
            return told[0]
    return None


def _by_clauses(
    text: str, read: Reader, spoken: SpokenPlan, step: Step | None, *, answering: bool
) -> Meaning | None:
    unit = step.measure.bare_unit if step else ""

    def denied(part: str) -> Sequence[Meaning]:
        return [meaning_of(tags, unit) for tags in parse_text(denials, part)] if denials else []

    denials = spoken.denied(step)
    numbers, values = spoken.number_words, spoken.value_words
    found = in_clauses(text, read, denied, numbers, values, answering=answering)
    if found is None and answering and any(isinstance(one, Take) for one in denied(text)):
        return Command("no")
    return found


def _reader(spoken: SpokenPlan, grammar: Parser, step: Step | None, moment: Moment) -> Reader:
    """What reads a part of a text by itself: by the grammar, or else strictly by its gist."""

    language = spoken.language
    denials = language.denials - {w for no in language.phrases("no") for w in no.split()}

    def read(part: str) -> Sequence[Meaning]:
        found = meanings_of(grammar, part, step, moment, spoken.language)
        found = [one for one in found if not isinstance(one, Unclear)]
        if all(isinstance(one, Reading) and one.number == 1 for one in found):
            found = [one for one in found if isinstance(one, Reading) and one.unit_spoken]
        if found:
            return found
        told = gist(part, spoken, step, moment, strictly=True)
        if isinstance(told, Command) and told.name == "no" and denials & {*words(part, ())}:
            return []  # "neither" denies what follows
        return [told] if told else []

    return read


def may_be_condition(text: str, spoken: SpokenPlan, step: Step | None, moment: Moment) -> bool:
    """Whether a text may also say what was set: "it's at zero now", the meter or the control."""
    grammar = spoken.gist(step, moment)
    known = spoken.language.fillers | spoken.language.remarks.get("chatter", frozenset())
    return grammar is not None and any(
        isinstance(meaning_of(tags, ""), SetCondition)
        and all(tag[4:] in known for tag in tags if tag.startswith("any "))
        for tags in parse_text(grammar, text)
    )


def read_otherwise(
    found: Meaning,
    text: str,
    spoken: SpokenPlan,
    grammar: Parser,
    step: Step | None,
    moment: Moment,
) -> Meaning | None:
    """What a text comes to that the grammar has as a whole, but that is commonly meant otherwise.

    "Too right" is an answer; "not five, four point eight" denies a value to give another; "four
    nine four point nine" may be 4.9, said twice.  None for all other texts.
    """
    if isinstance(found, Reading):
        if found.number is None or abs(found.number) < LEAST_TWICE:
            return None
        twice = restated(text, _reader(spoken, grammar, step, moment))
        return Ambiguous((twice, found), "number form") if twice else None
    if not isinstance(found, Aside):
        return None
    read = _reader(spoken, grammar, step, moment)
    if found.kind == "negated" and moment != "answering":  # "yeah no that's five"
        bare = _trimmed(text, read, spoken, grammar, step, moment)
        if isinstance(bare, Reading | Ambiguous):
            return bare
    told = gist(text, spoken, step, moment, strictly=True)
    wanted = _ANSWERS if moment == "answering" else ()
    if isinstance(told, Command) and told.name in wanted:
        return told
    if found.kind != "negated":
        return None
    if isinstance(told, Command) and told.name == "correct":
        return told
    put_right = _by_clauses(text, read, spoken, step, answering=moment == "answering")
    return put_right if isinstance(put_right, Command) or is_correction(put_right) else None
