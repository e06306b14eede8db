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
from functools import partial

from rapidfuzz import fuzz, process

from handsfree.grammar.language import Language
from handsfree.grammar.moment import Moment, SpokenPlan
from handsfree.grammar.numerals import LEFT_OUT
from handsfree.grammar.parsing import Parser, is_numeral
from handsfree.grammar.text import known, parse_text, words
from handsfree.heard import Heard, Hypothesis
from handsfree.meaning.clauses import Reader, in_clauses, restated
from handsfree.meaning.gist import gist
from handsfree.meaning.meanings import (
    CORRECTION,
    TWINS,
    Ambiguous,
    Aside,
    Command,
    Difference,
    Meaning,
    Note,
    Observation,
    OneValue,
    Reading,
    Repair,
    Seen,
    Several,
    State,
    Take,
    Telling,
    Unclear,
    Understood,
    candidates,
)
from handsfree.meaning.several import several
from handsfree.meaning.tags import in_base_unit, meaning_of
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
        meanings = _meanings(grammar, hypothesis.text, step, moment, spoken.language)
        clear = [m for m in meanings if not isinstance(m, Unclear)]
        if clear:
            keys = tuple(_key(m, step) for m in clear)
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
            if several_of and isinstance(several_of.meaning, Several):
                if _all_clear(several_of.meaning):
                    return several_of
        if moment == "answering" and isinstance(found.meaning, Aside):  # "too right"
            told = gist(found.text, spoken, step, moment, strictly=True)
            if isinstance(told, Command) and told.name in ("yes", "no", "choice"):
                return replace(found, meaning=told, share=likely, by_gist=True)
        if found.meaning == Aside("negated"):  # "not five, four point eight" denies another value
            put_right = gist(found.text, spoken, step, moment, strictly=True)
            if not isinstance(put_right, Command) or put_right.name != "correct":
                put_right = _in_clauses(found.text, spoken, grammar, step, moment)
            if isinstance(put_right, Command) or _is_correction(put_right):
                return replace(found, meaning=put_right, share=likely, by_gist=True)
        if isinstance(found.meaning, Reading) and (
            twice := restated(found.text, _reader(spoken, grammar, step, moment))
        ):  # "four nine four point nine" may also be 494.9
            both = Ambiguous((twice, found.meaning), "number form")
            return replace(found, meaning=both, share=likely)
        return replace(found, share=likely)
    awake = moment in ("beginning", "listening", "answering")
    if strange and awake and (told := _in_one_breath(heard, strange, spoken, step)):
        return told
    repaired = None if best else _repaired(heard.hypotheses[0], spoken, grammar, step)
    if repaired or reason:
        return repaired or Understood(Unclear(reason), heard.text)
    if strange and (meaning := _in_other_words(strange, spoken, grammar, step, moment)):
        share = sum(
            share
            for one, share in zip(heard.hypotheses, heard.shares, strict=True)
            if one.text == strange
        )
        return Understood(meaning, strange, share=share, by_gist=True)
    about = _may_be_meant(strange, spoken, telling=spoken.may_be_told(moment))
    return Understood(Aside("unknown", about=about), strange)


def _in_other_words(
    text: str, spoken: SpokenPlan, grammar: Parser, step: Step | None, moment: Moment
) -> Meaning | None:
    """What a text comes to by its parts, or by its gist."""
    if moment not in ("beginning", "listening", "answering"):
        return gist(text, spoken, step, moment)
    parts = _in_clauses(text, spoken, grammar, step, moment)
    if parts is not None and not isinstance(parts, Aside):
        return parts
    if twice := restated(text, _reader(spoken, grammar, step, moment)):
        return twice
    return gist(text, spoken, step, moment) or parts


def _in_clauses(
    text: str, spoken: SpokenPlan, grammar: Parser, step: Step | None, moment: Moment
) -> Meaning | None:
    unit = step.measure.bare_unit if step else ""
    read = _reader(spoken, grammar, step, moment)

    def denied(part: str) -> Sequence[Meaning]:
        return [meaning_of(tags, unit) for tags in parse_text(denials, part)] if denials else []

    answering, denials = moment == "answering", spoken.denied(step)
    numbers, values = spoken.number_words, spoken.value_words
    found = in_clauses(text, read, denied, numbers, values, answering=answering)
    if found is None and answering and (wrong := [d for d in denied(text) if isinstance(d, Take)]):
        return Command("no", take=wrong[0])
    return found


def _reader(spoken: SpokenPlan, grammar: Parser, step: Step | None, moment: Moment) -> Reader:
    """What reads a part of a text by itself: by the grammar, or else strictly by its gist."""

    def read(part: str) -> Sequence[Meaning]:
        found = _meanings(grammar, part, step, moment, spoken.language)
        found = [one for one in found if not isinstance(one, Unclear)]
        if all(isinstance(one, Reading) and one.number == 1 for one in found):
            found = [one for one in found if isinstance(one, Reading) and one.unit_spoken]
        if found:
            return found
        told = gist(part, spoken, step, moment, strictly=True)
        return [told] if told else []

    return read


def _is_correction(meaning: Meaning | None) -> bool:
    return isinstance(meaning, Ambiguous) and meaning.reason == CORRECTION


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
        if rival.meaning.values == found.meaning.values:
            share += shares[other]
        elif shares[other] >= RIVAL_SHARE * shares[text]:
            values = [_or_rival(value, rival.meaning.values) for value in values]
    meaning = replace(found.meaning, values=tuple(values))
    return replace(found, meaning=meaning, share=share, by_gist=found.by_gist or not heard.typed)


def _all_clear(told: Several) -> bool:
    """Whether each is a value, and of another wire."""
    wires = [{take.wire for take in candidates(value)} for value in told.values]
    return all(wires) and len(set[str | None]().union(*wires)) >= len(wires)


def _or_rival(value: OneValue, heard: Sequence[OneValue]) -> OneValue:
    """The value of a wire, or the two between which must be asked, if it was heard otherwise."""
    takes = candidates(value)
    for other in heard:
        rivals = candidates(other)
        if takes and rivals and {t.wire for t in takes} == {r.wire for r in rivals}:
            both = tuple(dict.fromkeys((*takes, *rivals)))
            return value if set(both) == set(takes) else Ambiguous(both, "heard")
    return value


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


def _key(meaning: Meaning, step: Step | None) -> Hashable:
    """Equal for meanings that would be logged alike."""
    if isinstance(meaning, Command) and meaning.take:
        return meaning.name, _key(meaning.take, step)
    if isinstance(meaning, Reading | State | Observation):
        wire = meaning.wire or (step.wire if step else None)
        if isinstance(meaning, Reading):
            return meaning.value, wire, meaning.hold
        return replace(meaning, wire=wire)
    return meaning


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
                takes.setdefault(_key(meaning, step), meaning)
    first = best.meanings[0]
    if isinstance(first, Reading | State | Observation) and len(takes) > 1:
        one_value = len({_key(replace(take, wire=None), None) for take in takes.values()}) == 1
        reason = "wire" if one_value else "heard" if rivals else "number form"
        return Understood(Ambiguous(tuple(takes.values()), reason), best.text, share=best.share)
    return Understood(first, best.text, share=best.share)


def _meanings(
    grammar: Parser, text: str, step: Step | None, moment: Moment, language: Language
) -> list[Meaning]:
    """Distinct meanings of one wording; the likeliest number form first.

    "Yes" answers what is to be observed, or the question that is open.  A wording that the
    grammar has as a reading is no aside: "no continuity".
    """
    unit = step.measure.bare_unit if step else ""
    parses = parse_text(grammar, text)
    if not parses and (sounds := language.as_it_sounds(text)) != text.lower():
        parses = parse_text(grammar, sounds)
    found: list[Meaning] = _told_apart([meaning_of(tags, unit) for tags in parses], step)
    found += [m for m in map(partial(in_base_unit, unit=unit), found) if m]
    found = [m for m in found if not isinstance(m, Aside)] or found
    told: list[Meaning] = [m for m in found if isinstance(m, Telling | Difference)]
    if told:
        return told if len(told) == 1 else [Unclear(TWINS)]
    wanted = Command if moment == "answering" else Observation
    if any(isinstance(m, wanted) for m in found):
        return [m for m in found if isinstance(m, wanted)]
    numbers: dict[Hashable, Reading] = {}
    others: list[Meaning] = []
    for meaning in [*(m for m in found if not isinstance(m, Seen)), *_seen(found)]:
        if isinstance(meaning, Reading):
            known = numbers.get(key := _key(meaning, step))
            if known is None or LEFT_OUT[meaning.form] < LEFT_OUT[known.form]:
                numbers[key] = meaning
        else:
            others.append(meaning)
    return [*sorted(numbers.values(), key=lambda r: LEFT_OUT[r.form]), *others]


def _seen(meanings: Sequence[Meaning]) -> list[Meaning]:
    """What is seen: once for each thing that the meter may do, with every way to read it."""
    kinds: dict[Seen, list[Reading]] = {}
    for seen in meanings:
        if isinstance(seen, Seen):
            read = kinds.setdefault(replace(seen, reading=None), [])
            read += [seen.reading] if seen.reading else []
    found: list[Meaning] = []
    for kind, readings in kinds.items():
        ways = sorted(readings, key=lambda r: LEFT_OUT[r.form])
        found.append(replace(kind, reading=next(iter(ways), None), others=tuple(ways[1:])))
    return found


def _told_apart(meanings: list[Meaning], step: Step | None) -> list[Meaning]:
    """Distinct meanings; where wires of one name are meant, that of the step wins."""
    alike: dict[Hashable, list[Meaning]] = {}
    for meaning in dict.fromkeys(meanings):
        alike.setdefault(_wireless(meaning), []).append(meaning)
    apart: list[Meaning] = []
    for same in alike.values():
        first = same[0]
        if isinstance(first, Command) and first.wire is not None:
            others = tuple(w for w in map(_wire_of, same[1:]) if w is not None)
            apart.append(replace(first, others=others))
        else:
            own = [m for m in same if step and _wire_of(m) in step.pins]
            apart += own[:1] or same
    return apart


def _wireless(meaning: Meaning) -> Meaning:
    """Equal for meanings that differ in the wire that was named alone."""
    match meaning:
        case Command(take=take) if take:
            return replace(meaning, take=replace(take, wire=None))
        case Command() | Reading() | State() | Observation():
            return replace(meaning, wire=None)
    return meaning


def _wire_of(meaning: Meaning) -> str | None:
    """The wire that was named, in a correction that of the new value."""
    if isinstance(meaning, Command) and meaning.take:
        return meaning.take.wire
    return getattr(meaning, "wire", None)


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
    meanings = _meanings(grammar, text, step, "listening", spoken.language)
    clear = [m for m in meanings if not isinstance(m, Unclear | Note)]
    if not clear:
        return None
    result = _decide([_Family(clear, text, 1.0)], 0.0, step, spoken.language)
    return replace(result, text=hypothesis.text, repairs=tuple(repairs))


def _letters(word: str) -> str:
    """`word` in single letters, also where they are written in syllables as in Hangul."""
    return unicodedata.normalize("NFD", word)
