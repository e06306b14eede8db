"""What a step expects, made concrete by the readings taken so far."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

from handsfree.meaning.meanings import Reading, Take
from handsfree.plan.schema import Expect, Plan, Step
from handsfree.units import Quantity, show, size, span, ureg

#: Takes that stand, by step id.
Taken = Mapping[str, Take]


@dataclass(frozen=True, slots=True)
class Expected:
    """Limits, states or answers that are right.

    Attributes:
        low, high: limits, inclusive; None for no limit.
        over_limit: the meter is expected to show over limit.
        states, answers: what is right for a state or an observation.
        missing: id of the step whose reading is needed first, if it is not there.
        relative_to: id of the step whose reading the limits come from.
    """

    low: Quantity | None = None
    high: Quantity | None = None
    over_limit: bool = False
    states: tuple[str, ...] = ()
    answers: tuple[str, ...] = ()
    missing: str | None = None
    relative_to: str | None = None


def written(wanted: Expected) -> str:
    """What is expected, in figures: "4.8 V to 5.2 V", "at least 12 V", "ground"."""
    if wanted.missing:
        return f"depends on {wanted.missing}"
    if wanted.over_limit:
        return "over limit"
    if wanted.states or wanted.answers:
        return " or ".join(wanted.states or wanted.answers)
    low = "" if wanted.low is None else show(wanted.low)
    high = "" if wanted.high is None else show(wanted.high)
    if not low and not high:
        return ""
    if low and high:
        return f"{low} to {high}"
    return f"at least {low}" if low else f"at most {high}"


def expected(step: Step, taken: Taken) -> Expected:
    """What `step` expects, given the takes so far."""
    expect = step.expect
    if expect.refers_to is not None:
        return _relative(expect, expect.refers_to, taken)
    if expect.by is not None and (limits := _by_temperature(expect, taken.get(expect.by))):
        return limits
    if expect.nominal is not None and expect.tolerance is not None:
        nominal, spread = expect.nominal, expect.tolerance
        if spread.is_compatible_with(ureg.percent) and not nominal.dimensionless:
            spread = size(nominal) * spread.m_as("dimensionless")
        return _around(nominal, spread)
    return Expected(expect.low, expect.high, expect.over_limit, expect.states, expect.answers)


def _by_temperature(expect: Expect, take: Take | None) -> Expected | None:
    """The limits at the temperature that was measured; None without one, or beyond the points."""
    if not isinstance(take, Reading) or take.value is None or not take.value.check("[temperature]"):
        return None
    here = float(take.value.m_as("degC"))
    for one, other in pairwise(expect.points):
        begin, end = (float(point.at.m_as("degC")) for point in (one, other))
        if begin <= here <= end:
            share = (here - begin) / (end - begin)
            low, high = (a + (b.to(a.units) - a) * share
                         for a, b in ((one.low, other.low), (one.high, other.high)))  # fmt: skip
            return Expected(low, high)
    return None


def _around(middle: Quantity, spread: Quantity) -> Expected:
    """`middle` plus and minus `spread`; a spread in °C counts degrees, not a temperature."""
    width = abs(float(spread.magnitude))
    unit = spread.units
    if middle.is_compatible_with(ureg.degC):
        middle = middle.to(unit)
    else:
        width, unit = abs(float(spread.m_as(middle.units))), middle.units
    here = float(middle.magnitude)
    return Expected(ureg.Quantity(here - width, unit), ureg.Quantity(here + width, unit))


def _relative(expect: Expect, other: str, taken: Taken) -> Expected:
    take = taken.get(other)
    if not isinstance(take, Reading) or take.value is None:
        return Expected(missing=other, relative_to=other)
    base = take.value
    if expect.within is not None:
        limits = _around(base, expect.within)
        return Expected(limits.low, limits.high, relative_to=other)
    low, high = (
        None if share is None else base * share.m_as("dimensionless")
        for share in (expect.low, expect.high)
    )
    return Expected(low, high, relative_to=other)


def accuracy(plan: Plan, step: Step, value: Quantity) -> Quantity | None:
    """The meter's accuracy at `value`: percent of reading plus counts; None if not known."""
    kind = step.measure.quantity
    one = plan.meter.count(kind, value) if kind else None
    if kind is None or one is None:
        return None
    spec = plan.meter.accuracy[kind]
    here = abs(float(value.m_as(spec.resolution.units)))
    return span(here * spec.percent / 100 + spec.counts * float(one.magnitude), spec.resolution)
