"""A take compared with what is expected."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from handsfree.check.expected import Expected, Taken, accuracy, expected
from handsfree.check.guard import guard_band
from handsfree.check.states import as_state
from handsfree.meaning.meanings import Hold, Observation, Reading, State, Take
from handsfree.plan.schema import Outcome, Plan, Step
from handsfree.units import Quantity, difference, quantity, size, ureg

Result = Literal[
    "in range", "low", "high", "marginal", "as expected", "wrong", "not comparable", "logged"
]


@dataclass(frozen=True, slots=True)
class Comparison:
    """The comparison of one take.

    Attributes:
        result: in range; low or high (out of range); marginal (nearer to a limit than the guard
            band); as expected or wrong (states and observations); not comparable; logged (nothing
            was expected).
        outcome: what the plan's rules see; None if it was not judged.
        expected: what it was compared with.
        distance: how far outside the limit, or, if marginal, how far from it.
    """

    result: Result
    outcome: Outcome | None
    expected: Expected
    distance: Quantity | None = None

    @property
    def passed(self) -> bool:
        """Whether the take is as expected; a marginal one passes if it lies inside."""
        return self.outcome == "pass"


@dataclass(frozen=True, slots=True)
class Refusal:
    """A take that is not logged.

    Attributes:
        reason: "dimension" (not what is measured here), "absurd" (asked back), "kind" (a state
            where a number is wanted, and the like) or "hold" (a maximum where only a least value
            is wanted, and the like).
        value: the value refused, if it is one.
        limit: for "absurd", the limit it breaks.
    """

    reason: Literal["dimension", "absurd", "kind", "hold"]
    value: Quantity | None = None
    limit: Quantity | None = None


#: Beyond these a value is absurd, unless the plan says otherwise.  Common practice, no
#: published source: far outside what a hand-held meter or a vehicle can show.
_ABSURD = {
    "resistance": "1000 MΩ",
    "current": "2000 A",
    "frequency": "100 MHz",
    "temperature": "1300 °C",
    "duty cycle": "100 %",
    "share": "1000 %",
    "time": "24 h",
    "capacitance": "1 F",
}
_COLDEST = quantity(-60, "°C")
#: A voltage above this many times the supply is absurd.
SUPPLY_FACTOR = 2.5
#: A meter with its leads shorted may show a little less than nothing.
_BELOW_ZERO_OHMS = quantity(-1, "Ω")


def absurd_limit(plan: Plan, step: Step, value: Quantity) -> Quantity | None:
    """The limit that makes `value` physically absurd here, or None if it is possible."""
    kind = step.measure.quantity
    if kind is None:
        return None
    reach = value if kind == "temperature" else size(value)
    if kind in plan.limits:
        limit = plan.limits[kind]
    elif kind == "voltage":
        limit = plan.supply * SUPPLY_FACTOR
    else:
        magnitude, unit = _ABSURD[kind].split()
        limit = quantity(float(magnitude), unit)
    if reach > limit:
        return limit
    lowest = {"temperature": _COLDEST, "resistance": _BELOW_ZERO_OHMS}.get(kind)
    if lowest is not None and value < lowest:
        return lowest
    if kind in ("duty cycle", "frequency", "time", "capacitance") and value.magnitude < 0:
        return quantity(0, str(value.units))
    return None


def check(take: Take, step: Step, plan: Plan, taken: Taken) -> Comparison | Refusal:
    """Compare `take` with what `step` expects.

    Args:
        take: a reading, a state or an observation.
        step: the step it was taken at.
        plan: gives the meter and the limits of the possible.
        taken: earlier takes by step id, for relative expectations.
    """
    wanted = expected(step, taken)
    if isinstance(take, State) and step.measure.quantity == "resistance" and take.state == "open":
        take = Reading(None, take.wire)
    take = as_state(take, step, plan)
    match take:
        case Reading() if step.measure.quantity:
            return _check_reading(take, step, plan, wanted)
        case State() if step.measure.states and step.expect.nothing:
            return Comparison("logged", None, wanted)
        case State(state=state) if step.measure.states:
            right = state in wanted.states
            return Comparison(*_RIGHT[right], wanted)
        case Observation(answer=answer) if step.measure.options:
            right = answer in wanted.answers
            return Comparison(*_RIGHT[right], wanted)
    return Refusal("kind", take.value if isinstance(take, Reading) else None)


_RIGHT: dict[bool, tuple[Result, Outcome]] = {
    True: ("as expected", "pass"),
    False: ("wrong", "fail"),
}


def _check_reading(
    reading: Reading, step: Step, plan: Plan, wanted: Expected
) -> Comparison | Refusal:
    value = reading.value
    if value is None:
        if step.expect.nothing:
            return Comparison("logged", None, wanted)
        if wanted.over_limit:
            return Comparison("as expected", "pass", wanted)
        if wanted.missing:
            return Comparison("not comparable", None, wanted)
        if wanted.high is None:  # only a least value is wanted
            return Comparison("in range", "pass", wanted)
        return Comparison("high", "high", wanted)
    if not value.is_compatible_with(ureg.Unit(step.measure.base_unit)):
        return Refusal("dimension", value)
    if (limit := absurd_limit(plan, step, value)) is not None:
        return Refusal("absurd", value, limit)
    if step.expect.nothing:
        return Comparison("logged", None, wanted)
    if wanted.over_limit:
        return Comparison("low", "low", wanted)
    if wanted.missing:
        return Comparison("not comparable", None, wanted)
    held = _held(reading.hold, value, wanted)
    if held is None:
        return Refusal("hold", value)
    return _compare(value, held, accuracy(plan, step, value))


def _held(hold: Hold, value: Quantity, wanted: Expected) -> Expected | None:
    """The limits that say something of what the meter has kept; None if none does.

    Nothing was lower than a minimum: it is held against the lower limit, unless even it lies above
    the upper one; a maximum and a peak likewise.
    """
    low, high = wanted.low, wanted.high
    match hold:
        case "min" if high is None or value <= high:
            return replace(wanted, high=None) if low is not None else None
        case "max" | "peak" if low is None or value >= low:
            return replace(wanted, low=None) if high is not None else None
    return wanted


def _compare(value: Quantity, wanted: Expected, spread: Quantity | None) -> Comparison:
    low, high = wanted.low, wanted.high
    side: Literal["low", "high"] | None = None
    distance: Quantity | None = None
    if low is not None and value < low:
        side, distance = "low", difference(low.to(value.units), value)
    elif high is not None and value > high:
        side, distance = "high", difference(value, high)
    limits = [limit for limit in (low, high) if limit is not None and not _no_limit(limit)]
    gaps = [size(difference(value, limit)) for limit in limits]
    near = min(gaps, default=None)
    if spread is not None and near is not None and near < guard_band(spread):
        return Comparison("marginal", side or "pass", wanted, near)
    return Comparison(side or "in range", side or "pass", wanted, distance)


def _no_limit(limit: Quantity) -> bool:
    """Whether nothing can lie beyond it: nothing has less than nought ohms."""
    return bool(limit.magnitude == 0 and limit.check("[resistance]"))
