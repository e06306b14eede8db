"""Which of several readings of one utterance was meant, by what the step can show.

A number that was spoken short ("two fifty") has several forms.  A form that is
physically absurd, or finer than the meter's last digit, falls away; forms that lead to
the same verdict are settled by the expected order of magnitude.  Where verdicts differ,
nobody but the technician may choose: a reading is never pulled into range.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Sequence
from dataclasses import replace

from handsfree.check.expected import Expected, Taken, expected
from handsfree.check.verdict import Comparison, Refusal, check
from handsfree.meaning.meanings import Ambiguous, Reading, Seen, Take, Understood
from handsfree.plan.schema import Plan, Step

#: Forms in which few people say a number: "one two six" for 12.6, "four thousand nine hundred"
#: for 4.9 kΩ.  Common practice, no published source.
UNUSUAL = ("point left out late", "unit left out")


def resolve(understood: Understood, step: Step, plan: Plan, taken: Taken) -> Understood:
    """`understood` with an ambiguity settled where the plan can settle it."""
    meaning = understood.meaning
    if isinstance(meaning, Seen) and meaning.reading:
        ways = (meaning.reading, *meaning.others)
        reading = _seen_value(meaning, ways, step, plan, taken)
        return replace(understood, meaning=replace(meaning, reading=reading, others=()))
    if not isinstance(meaning, Ambiguous) or meaning.reason == "wire":
        return understood  # which wire was meant no expectation can say
    checks = [(take, check(take, step, plan, taken)) for take in meaning.candidates]
    possible = [(t, c) for t, c in checks if not isinstance(c, Refusal)]
    if not possible:
        return replace(understood, meaning=meaning.candidates[0])
    if meaning.reason == "number form":
        possible = [(t, c) for t, c in possible if _readable(t, step, plan)] or possible
        possible = _usual(possible)
        if len({_group(c) for _, c in possible}) == 1:
            wanted = expected(step, taken)
            best = min((t for t, _ in possible), key=lambda take: _decades(take, wanted))
            return replace(understood, meaning=best)
    if len(possible) == 1:
        return replace(understood, meaning=possible[0][0])
    return replace(understood, meaning=replace(meaning, candidates=tuple(t for t, _ in possible)))


def _seen_value(
    seen: Seen, ways: Sequence[Reading], step: Step, plan: Plan, taken: Taken
) -> Reading:
    """Of the ways to read a fleeting number the possible one that lies where the meter went.

    It is said back at once and can be struck; nobody is asked while the loom is being moved.
    """
    wanted = expected(step, taken)

    def misfit(way: Reading) -> tuple[bool, bool, float]:
        refused = isinstance(check(way, step, plan, taken), Refusal)
        impossible = refused or not _readable(way, step, plan)
        return impossible, not _on_side(seen, way, wanted), _decades(way, wanted)

    return min(ways, key=misfit)


def _on_side(seen: Seen, way: Reading, wanted: Expected) -> bool:
    """Whether a value lies below or above what is expected, as it was told."""
    limit = {"drop": wanted.low, "jump": wanted.high}.get(seen.shows)
    if limit is None or way.value is None or not way.value.is_compatible_with(limit.units):
        return True
    return bool(way.value < limit if seen.shows == "drop" else way.value > limit)


def _usual(possible: list[tuple[Take, Comparison]]) -> list[tuple[Take, Comparison]]:
    """Beside a number that was said in full, an unusual reading counts only if it alone passes."""
    usual = [(t, c) for t, c in possible if _form(t) not in UNUSUAL]
    full = any(_form(t) in ("plain", "written") for t, _ in usual)
    if full and any(c.passed for _, c in usual):
        return usual
    return [(t, c) for t, c in possible if not full or _form(t) not in UNUSUAL or c.passed]


def _form(take: Take) -> str:
    return take.form if isinstance(take, Reading) else "plain"


def _group(verdict: Comparison | Refusal) -> Hashable:
    return (verdict.result, verdict.outcome) if isinstance(verdict, Comparison) else verdict


def _readable(take: Take, step: Step, plan: Plan) -> bool:
    """Whether the meter has the decimal places that were spoken."""
    kind = step.measure.quantity
    spec = plan.meter.accuracy.get(kind) if kind else None
    if spec is None or not isinstance(take, Reading) or take.value is None or take.number is None:
        return True
    exponent = take.number.as_tuple().exponent
    last_digit = 10.0 ** (exponent if isinstance(exponent, int) else 0)
    unit = take.value.units
    return last_digit >= float(spec.resolution.m_as(unit)) * (1 - 1e-9)


def _decades(take: Take, wanted: Expected) -> float:
    """Distance in decades from the expected limits; 0 inside, large if unknown."""
    if not isinstance(take, Reading) or take.value is None:
        return 99.0
    value = float(take.value.to_base_units().magnitude)
    limits = [
        float(limit.to_base_units().magnitude)
        for limit in (wanted.low, wanted.high)
        if limit is not None
    ]
    if not limits or value <= 0 or min(limits) <= 0:
        return abs(value - sum(limits) / len(limits)) if limits else 0.0
    if min(limits) <= value <= max(limits):
        return 0.0
    return min(abs(math.log10(value / limit)) for limit in limits)
