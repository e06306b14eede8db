"""From what was heard to what was meant.

Every hypothesis is read by the grammar; hypotheses that mean the same join their
belief.  Where two meanings stay close, or one wording has two readings, the result is
`Ambiguous` and somebody who knows what is expected (or the technician) decides.  What is
likelier no reading at all than one is an `Aside`: nothing that was not said is ever logged.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Hashable, Sequence
from dataclasses import dataclass, replace

from rapidfuzz import fuzz, process

from handsfree.grammar.language import Language
from handsfree.grammar.moment import Moment, SpokenPlan
from handsfree.grammar.parsing import Parser, is_numeral
from handsfree.grammar.text import known, words
from handsfree.heard import Heard, Hypothesis
from handsfree.meaning.meanings import (
    Ambiguous,
    Aside,
    Meaning,
    Note,
    Observation,
    OneValue,
    Reading,
    Repair,
    Several,
    State,
    Take,
    Unclear,
    Understood,
    candidates,
)
from handsfree.meaning.other_words import in_other_words, may_be_condition, read_otherwise
from handsfree.meaning.parsed import logged_alike, meanings_of
from handsfree.meaning.several import several
from handsfree.plan.schema import Step

#: A rival meaning with at least this share of the belief of the best is asked about.
RIVAL_SHARE = 0.25
#: The same for one that differs in words only that sound alike: "fifteen" and "fifty".
ALIKE_SHARE = 0.08
#: Words outside the grammar, or a value that is denied or vague, with more belief than this
#: for each in the best reading: then that reading was not said.
OUTSIDE_SHARE = 1.0
#: The same: then it may not have been said, and it is asked for once more.
DOUBT_SHARE = 0.25
#: A text of more words than these that the grammar does not have is talk to somebody else.
LONGEST_TRY = 7
#: The same where something is told of the vehicle, or of what is measured.
LONGEST_TELLING = 20
#: rapidfuzz ratio, 0 to 100, from which a near miss of a name is put right.
NAME_LIKENESS = 72.0


def interpret(
    heard: Heard, spoken: SpokenPlan, step: Step | None, moment: Moment = "listening"
) -> Understood:
    """The meaning of an utterance at `step`.

    Args:
        heard: n-best hypotheses, best first.
        spoken: the plan in its language.
        step: the open step; None for none.
        moment: "listening", "answering" (a question is open) or "asleep".
    """
    grammar = spoken.parser(step, moment)
    if not heard.hypotheses:
        return Understood(Unclear("nothing was understood"))
    families: dict[tuple[Hashable, ...], _Family] = {}
    outside, strange, reason = 0.0, "", ""
    for hypothesis, share in zip(heard.hypotheses, heard.shares, strict=True):
        meanings = meanings_of(grammar, hypothesis.text, step, moment, spoken.language)
        clear = [m for m in meanings if not isinstance(m, Unclear)]
        if clear:
            keys = tuple(logged_alike(m, step) for m in clear)
            families.setdefault(keys, _Family(clear, hypothesis.text)).share += share
        elif meanings and isinstance(meanings[0], Unclear):
            reason = reason or meanings[0].reason
        else:
            outside, strange = outside + share, strange or hypothesis.text
    best = max(families.values(), key=lambda f: f.share, default=None)
    if best is not None and outside <= OUTSIDE_SHARE * best.share:
        found = _decide(list(families.values()), outside, step, spoken.language)
        likely = heard.calibration.probability(found.share, max(h.score for h in heard.hypotheses))
        if found.meaning == Aside("range"):  # "white one and violet five" sounds like one
            several_of = _in_one_breath(heard, found.text, spoken, step)
            if several_of and _all_clear(several_of.meaning):
                return several_of
        otherwise = read_otherwise(found.meaning, found.text, spoken, grammar, step, moment)
        if otherwise is not None:
            by_gist = not isinstance(found.meaning, Reading)
            return replace(found, meaning=otherwise, share=likely, by_gist=by_gist)
        zero = isinstance(found.meaning, Reading) and found.meaning.number == 0
        either = zero and may_be_condition(found.text, spoken, step, moment)
        return replace(found, share=likely, by_gist=either)
    awake = moment in ("beginning", "listening", "answering")
    if strange and awake and (told := _in_one_breath(heard, strange, spoken, step)):
        return told
    repaired = None if best else _repaired(heard.hypotheses[0], spoken, grammar, step)
    if repaired or reason:
        return repaired or Understood(Unclear(reason), heard.text)
    if strange and (meaning := in_other_words(strange, spoken, grammar, step, moment)):
        share = sum(
            share
            for one, share in zip(heard.hypotheses, heard.shares, strict=True)
            if one.text == strange
        )
        return Understood(meaning, strange, share=share, by_gist=True)
    about = _may_be_meant(strange, spoken, telling=spoken.may_be_told(moment))
    return Understood(Aside("unknown", about=about), strange)


def _in_one_breath(
    heard: Heard, text: str, spoken: SpokenPlan, step: Step | None
) -> Understood | None:
    """Several values that were said in one breath, if `text` tells them.

    What is heard otherwise of one of them, and nearly as likely, is its rival.  They are as by
    gist where they were heard: no grammar has held them against what sounds alike.
    """
    found = several(text, spoken, step)
    if found is None or not isinstance(found.meaning, Several):
        return found
    shares = {h.text: share for h, share in zip(heard.hypotheses, heard.shares, strict=True)}
    values, share = list(found.meaning.values), shares[text]
    for other in shares:
        rival = several(other, spoken, step) if other != text else None
        if rival is None or not isinstance(rival.meaning, Several):
            continue
        if list(map(_keys, rival.meaning.values)) == list(map(_keys, found.meaning.values)):
            share += shares[other]
        elif shares[other] >= RIVAL_SHARE * shares[text]:
            values = [_or_rival(value, rival.meaning.values) for value in values]
    meaning = replace(found.meaning, values=tuple(values))
    return replace(found, meaning=meaning, share=share, by_gist=found.by_gist or not heard.typed)


def _all_clear(told: Meaning | None) -> bool:
    """Whether they are several, each a value, and of another wire."""
    if not isinstance(told, Several):
        return False
    wires = [{take.wire for take in candidates(value)} for value in told.values]
    return all(wires) and len(set[str | None]().union(*wires)) >= len(wires)


def _or_rival(value: OneValue, heard: Sequence[OneValue]) -> OneValue:
    """The value of a wire, or the two between which must be asked, if it was heard otherwise."""
    takes = candidates(value)
    for other in heard:
        rivals = candidates(other)
        if takes and rivals and {t.wire for t in takes} == {r.wire for r in rivals}:
            new = [rival for rival in rivals if logged_alike(rival, None) not in _keys(value)]
            return Ambiguous((*takes, *new), "heard") if new else value
    return value


def _keys(value: OneValue) -> list[Hashable]:
    """Equal for values that would be logged alike, whatever unit was left out."""
    return [logged_alike(take, None) for take in candidates(value)]


def _may_be_meant(text: str, spoken: SpokenPlan, *, telling: bool) -> bool:
    """Whether words that are not in the grammar may be for the tool: few, and of its subject.

    What is told of a wire, or measured, is longer, and mostly of its subject.
    """
    ours = spoken.words_for_the_tool
    said = words(text, ours)
    subject = sum(word in ours or is_numeral(word) for word in said)
    measured = sum(word in ours | spoken.value_words or is_numeral(word) for word in said)
    told = 2 * (subject if telling else measured) >= len(said)
    return subject > 0 and len(said) <= (LONGEST_TELLING if told else LONGEST_TRY)


@dataclass
class _Family:
    """The meanings of wordings that mean the same: more than one if a number has two forms."""

    meanings: Sequence[Meaning]
    text: str
    share: float = 0.0


def _decide(
    families: list[_Family], outside: float, step: Step | None, language: Language
) -> Understood:
    """One meaning, or the takes between which only the technician can decide.

    Args:
        families: what parses.
        outside: the belief in what does not.
        step: the open step.
        language: knows what sounds alike.
    """
    families.sort(key=lambda f: -f.share)
    best = families[0]
    rivals = []
    aside = sum(f.share for f in families[1:] if isinstance(f.meanings[0], Aside))
    if (
        isinstance(best.meanings[0], Reading | State | Observation)
        and aside + outside > DOUBT_SHARE * best.share
    ):
        return Understood(Unclear("it may have been no reading"), best.text, share=best.share)
    for family in families[1:]:
        alike = language.sound_alike(best.text, family.text)
        if family.share >= (ALIKE_SHARE if alike else RIVAL_SHARE) * best.share:
            rivals.append(family)
    takes: dict[Hashable, Take] = {}
    for family in (best, *rivals):
        for meaning in family.meanings:
            if isinstance(meaning, Reading | State | Observation):
                takes.setdefault(logged_alike(meaning, step), meaning)
    first = best.meanings[0]
    if isinstance(first, Reading | State | Observation) and len(takes) > 1:
        wireless = {logged_alike(replace(take, wire=None), None) for take in takes.values()}
        one_value = len(wireless) == 1
        reason = "wire" if one_value else "heard" if rivals else "number form"
        return Understood(Ambiguous(tuple(takes.values()), reason), best.text, share=best.share)
    return Understood(first, best.text, share=best.share)


def _repaired(
    hypothesis: Hypothesis,
    spoken: SpokenPlan,
    grammar: Parser,
    step: Step | None,
) -> Understood | None:
    """The meaning after near misses of names are put right; numbers are never touched."""
    names, numbers = spoken.name_words, spoken.number_words
    mended, repairs = [], []
    for word in words(hypothesis.text, grammar.vocabulary):
        if known(grammar, word):
            mended.append(word)
            continue
        near = process.extractOne(
            word, names, scorer=fuzz.ratio, processor=_letters, score_cutoff=NAME_LIKENESS
        )
        number = process.extractOne(word, numbers, scorer=fuzz.ratio, processor=_letters)
        if near is None or (number is not None and number[1] >= near[1]):
            return None
        mended.append(near[0])
        repairs.append(Repair(word, near[0]))
    if not repairs:
        return None
    text = " ".join(mended)
    meanings = meanings_of(grammar, text, step, "listening", spoken.language)
    clear = [m for m in meanings if not isinstance(m, Unclear | Note)]
    if not clear:
        return None
    result = _decide([_Family(clear, text, 1.0)], 0.0, step, spoken.language)
    return replace(result, text=hypothesis.text, repairs=tuple(repairs))


def _letters(word: str) -> str:
    """`word` in single letters, also where they are written in syllables as in Hangul."""
    return unicodedata.normalize("NFD", word)
