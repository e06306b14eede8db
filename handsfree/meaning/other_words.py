"""What words come to that the grammar does not have as a whole: by their clauses, or their gist."""

from __future__ import annotations

from collections.abc import Sequence

from handsfree.grammar.moment import Moment, SpokenPlan
from handsfree.grammar.parsing import Parser
from handsfree.grammar.text import parse_text, words
from handsfree.meaning.clauses import Reader, in_clauses, restated
from handsfree.meaning.gist import gist
from handsfree.meaning.intent import by_intent
from handsfree.meaning.meanings import (
    Ambiguous,
    Aside,
    Command,
    Meaning,
    Reading,
    SetCondition,
    Take,
    Unclear,
    is_correction,
)
from handsfree.meaning.parsed import meanings_of
from handsfree.meaning.remarks import beside_remarks
from handsfree.meaning.tags import meaning_of
from handsfree.plan.schema import Step

#: No smaller number is one that was said twice: "four nine, four point nine" is 494.9.
LEAST_TWICE = 100
#: An intent that is as likely says better than the gist which command is meant.
SURE_INTENT = 0.8


def in_other_words(
    text: str, spoken: SpokenPlan, grammar: Parser, step: Step | None, moment: Moment
) -> Meaning | None:
    """What a text comes to by its parts, or by its gist."""
    if moment not in ("beginning", "listening", "answering"):
        return gist(text, spoken, step, moment)
    read = _reader(spoken, grammar, step, moment)
    answering = moment == "answering"
    parts = _by_clauses(text, read, spoken, step, answering=answering)
    if parts is not None and not isinstance(parts, Aside):
        return parts
    if twice := restated(text, read):
        return twice
    told = gist(text, spoken, step, moment) or parts
    if isinstance(told, Command) and told.take is None:
        meant = by_intent(text, spoken, grammar, read, step, moment, SURE_INTENT)
        return meant if isinstance(meant, Command) else told
    if told is None or isinstance(told, Aside):
        told = beside_remarks(text, read, spoken, step, answering=answering) or told
    if told is None or (isinstance(told, Aside) and told.kind in ("unknown", "several")):
        meant = by_intent(text, spoken, grammar, read, step, moment)
        told = meant if meant and not (told and isinstance(meant, Ambiguous)) else told
    return told


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
    told = gist(text, spoken, step, moment, strictly=True)
    wanted = ("yes", "no", "choice") if moment == "answering" else ()
    if isinstance(told, Command) and told.name in wanted:
        return told
    if found.kind != "negated":
        return None
    if isinstance(told, Command) and told.name == "correct":
        return told
    read, answering = _reader(spoken, grammar, step, moment), moment == "answering"
    put_right = _by_clauses(text, read, spoken, step, answering=answering)
    return put_right if isinstance(put_right, Command) or is_correction(put_right) else None
