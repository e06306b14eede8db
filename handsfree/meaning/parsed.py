"""What one wording means by the grammar of the moment."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import replace
from functools import partial

from handsfree.grammar.language import Language
from handsfree.grammar.moment import Moment
from handsfree.grammar.numerals import LEFT_OUT
from handsfree.grammar.parsing import Parser
from handsfree.grammar.text import parse_text
from handsfree.meaning.meanings import (
    TWINS,
    Aside,
    Command,
    Difference,
    Meaning,
    Observation,
    Reading,
    Seen,
    State,
    Telling,
    Unclear,
)
from handsfree.meaning.tags import in_base_unit, meaning_of
from handsfree.plan.schema import Step
from handsfree.units import Quantity

#: Significant figures in which amounts are the same.
_FIGURES = 9


def logged_alike(meaning: Meaning, step: Step | None) -> Hashable:
    """Equal for meanings that would be logged alike."""
    if isinstance(meaning, Command) and meaning.take:
        return meaning.name, logged_alike(meaning.take, step)
    if isinstance(meaning, Reading | State | Observation):
        wire = meaning.wire or (step.wire if step else None)
        if isinstance(meaning, Reading):
            return amount_of(meaning.value), wire, meaning.hold
        return replace(meaning, wire=wire)
    return meaning


def amount_of(value: Quantity | None) -> Hashable:
    """Equal for "seven hundred millivolts" and "point seven volts", whose floats may differ."""
    if value is None:
        return None
    base = value.to_base_units()
    return float(f"{base.magnitude:.{_FIGURES}g}"), base.units


def meanings_of(
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
            known = numbers.get(key := logged_alike(meaning, step))
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
