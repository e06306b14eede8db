"""Readings that a meter may show at a step, and the ways to say them."""

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

from num2words import num2words

from handsfree.check import expected
from handsfree.grammar import Language
from handsfree.plan import Plan, Step
from handsfree.units import Quantity, quantity

#: Decades over which a faulty circuit's readings spread.  Common practice, no published source.
_FAULTY = {
    "voltage": (-2.0, 1.2),
    "resistance": (-1.0, 5.5),
    "current": (-3.5, 1.0),
    "frequency": (1.0, 4.0),
    "time": (-3.0, 1.0),
    "capacitance": (-9.0, -4.0),
}
#: The units a meter shows each quantity in, with the largest magnitude it shows there.
_SHOWN = {
    "voltage": (("mV", 0.6), ("V", math.inf)),
    "resistance": (("Ω", 600.0), ("kΩ", 6e5), ("MΩ", math.inf)),
    "current": (("mA", 0.6), ("A", math.inf)),
    "frequency": (("Hz", 6000.0), ("kHz", math.inf)),
    "temperature": (("°C", math.inf),),
    "duty cycle": (("%", math.inf),),
    "share": (("%", math.inf),),
    "time": (("ms", 0.6), ("s", math.inf)),
    "capacitance": (("nF", 1e-6), ("µF", math.inf)),
}
#: Shares of readings in range, a little outside, and anywhere; the rest of the time it fails.
_IN_RANGE, _NEAR = 0.5, 0.25


@dataclass(frozen=True, slots=True)
class Shown:
    """What the display shows: the number with its places, and its unit."""

    number: Decimal
    unit: str


def reading(step: Step, plan: Plan, rng: random.Random) -> Shown:
    """A plausible reading at a step that measures a quantity; it may pass or fail."""
    kind = step.measure.quantity
    assert kind is not None
    value = _value(step, plan, kind, rng)
    unit = next(u for u, most in _SHOWN[kind] if abs(value) < most)
    if kind == "voltage" and unit == "mV" and rng.random() < 0.6:
        unit = "V"  # the range stays where it is on most meters
    places = _places(abs(_in(value, kind, unit)))
    if kind in ("temperature", "duty cycle", "share"):
        places = min(places, rng.choice((0, 1)))
    spec = plan.meter.accuracy.get(kind)
    if spec is not None:
        least = _in(float(spec.resolution.to_base_units().magnitude), kind, unit, delta=True)
        places = min(places, max(0, -math.floor(math.log10(least) + 1e-9)))
    places = max(0, places - (rng.random() < 0.3))
    number = Decimal(f"{_in(value, kind, unit):.{places}f}")
    if number == 0:
        number = abs(number)
    return Shown(number.normalize() if _whole(number) and rng.random() < 0.7 else number, unit)


def _whole(number: Decimal) -> bool:
    return bool(number == number.to_integral_value()) and abs(number) < 10


def _value(step: Step, plan: Plan, kind: str, rng: random.Random) -> float:
    """In base SI units; degrees Celsius for temperature, percent for a share."""
    wanted = expected(step, {})
    low, high = (_base(limit, kind) for limit in (wanted.low, wanted.high))
    if low is None and high is None and kind == "voltage":
        low, high = 0.9 * (supply := float(plan.supply.m_as("V"))), 1.05 * supply
    if low is None:
        low = 0.0 if high is None or high > 0 else 2 * high
    if high is None:
        high = 2 * low or 10.0
    chance = rng.random()
    width = high - low or abs(high) or 1.0
    if chance < _IN_RANGE:
        return rng.uniform(low, high)
    if chance < _IN_RANGE + _NEAR:
        return high + width * rng.random() if rng.random() < 0.5 else low - low * 0.3 * rng.random()
    if kind in _FAULTY:
        return float(10 ** rng.uniform(*_FAULTY[kind]))
    return rng.uniform(-20, 120) if kind == "temperature" else rng.uniform(0, 100)


def _base(limit: Quantity | None, kind: str) -> float | None:
    if limit is None:
        return None
    unit = {"temperature": "°C", "duty cycle": "%", "share": "%"}.get(kind)
    return float(limit.m_as(unit)) if unit else float(limit.to_base_units().magnitude)


def _in(value: float, kind: str, unit: str, *, delta: bool = False) -> float:
    """`value` as `_value` gives it, in `unit`; `delta` for a resolution in base units."""
    if kind == "temperature":
        return value
    if kind in ("duty cycle", "share"):
        return value * 100 if delta else value
    return value / float(quantity(1, unit).to_base_units().magnitude)


def _places(magnitude: float) -> int:
    """Places of a display of 6000 counts."""
    return next((p for p, most in ((3, 6), (2, 60), (1, 600)) if magnitude < most), 0)


def wordings(number: Decimal, language: Language, rng: random.Random) -> Iterator[tuple[int, str]]:
    """Weight and words of the ways to say `number`; not every one fits every grammar."""
    minus = rng.choice(("minus ", "negative ")) if number < 0 else ""
    whole_text, _, fraction = f"{abs(number):f}".partition(".")
    whole = int(whole_text)
    nought = rng.choice(("oh", "zero"))
    digits = [nought if d == "0" else language.spoken_digits[int(d)] for d in fraction]
    integer = _integer(whole, rng)
    point = rng.choice(("point",) * 8 + ("decimal", "dot"))
    if not fraction:
        yield 8, minus + integer
        if whole > 9:
            singly = (nought if d == "0" else language.spoken_digits[int(d)] for d in whole_text)
            yield 4, minus + " ".join(singly)
        if whole > 100 and whole % 100 > 9 and whole < 10_000 and whole // 100 % 10:
            yield 2, f"{minus}{_integer(whole // 100, rng)} {_integer(whole % 100, rng)}"
        return
    yield 10, f"{minus}{integer} {point} {' '.join(digits)}"
    if whole == 0:
        yield 8, f"{minus}{point} {' '.join(digits)}"
    if len(fraction) == 2 and fraction[0] != "0":
        yield 3, f"{minus}{integer} {point} {_integer(int(fraction), rng)}"
        yield 1, f"{minus}{integer} {_integer(int(fraction), rng)}"
    if whole and len(fraction) == 1:
        yield 2, f"{minus}{integer} {digits[0]}"
    if whole and fraction == "5":
        yield 1, f"{minus}{integer} and a half"


def _integer(number: int, rng: random.Random) -> str:
    words = str(num2words(number)).replace("-", " ").replace(",", "")
    return words.replace(" and ", " ") if rng.random() < 0.7 else words
