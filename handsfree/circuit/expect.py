"""What a sound circuit should read.

Sources:
    JCGM 101:2008 (Monte Carlo propagation of distributions): coverage interval.
Worst case: each tolerance at the limit that hurts, as its sign of influence says; exact where
the reading rises or falls steadily with each tolerance.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from handsfree.circuit.meter import Meter
from handsfree.circuit.model import Circuit
from handsfree.circuit.solve import predict
from handsfree.circuit.template import Template
from handsfree.circuit.values import Array
from handsfree.units import Quantity, show, ureg

CONFIDENCE = 0.95
"""Share of sound circuits whose readings are said to be likely."""

LIVE = ureg.Quantity(0.05, "V")
"""A voltage that falsifies a resistance reading: common practice, no published source."""

Interval = tuple[Quantity, Quantity]


@dataclass(frozen=True, slots=True)
class Expectation:
    """What a test reads in the sound circuit; infinite where the meter shows OL.

    Attributes:
        test: its id.
        nominal: with every value as drawn.
        likely: holds `CONFIDENCE` of all sound circuits (Monte Carlo).
        worst: from the lowest to the highest reading that the tolerances allow.
        error: largest error of the meter at the nominal reading.
    """

    test: str
    nominal: Quantity
    likely: Interval
    worst: Interval
    error: Quantity


@dataclass(frozen=True, slots=True)
class ExpectedWord:
    """What is answered in the sound circuit at a test without a number.

    Attributes:
        test: its id.
        nominal: the word with every value as drawn; None if none fits.
        shares: each word, and the share of sound circuits in which it is right.
    """

    test: str
    nominal: str | None
    shares: dict[str, float]


def expectations(
    circuit: Circuit,
    meter: Meter | None = None,
    *,
    samples: int = 1000,
    rng: np.random.Generator | None = None,
) -> dict[str, Expectation | ExpectedWord]:
    """What each test reads in the sound circuit, by test id.

    Args:
        circuit: the circuit.
        meter: its load and accuracy.
        samples: of the Monte Carlo.
        rng: source of the samples; seeded with 0 if not given.

    Raises:
        BadInput: the circuit does not fit together.
    """
    template, meter = Template(circuit), meter or Meter()
    rng = np.random.default_rng(0) if rng is None else rng
    tests = tuple(circuit.tests)
    one_by_one = np.concatenate([np.eye(template.columns), -np.eye(template.columns)])
    drawn = rng.uniform(-1, 1, (samples, template.columns))
    u = np.concatenate([np.zeros((1, template.columns)), one_by_one, drawn])
    u[:, 0] = 0.0
    values = predict(template, ((),), tests, u, meter).values[0]  # (T, 1 + 2 columns + samples)
    nominal, single, spread = np.split(values, [1, 1 + len(one_by_one)], axis=1)
    corners = _corners(template, tests, single, meter)
    found: dict[str, Expectation | ExpectedWord] = {}
    for t, (name, test) in enumerate(circuit.tests.items()):
        if test.outcomes:
            words = dict(enumerate(test.outcomes))
            shares = {w: float((spread[t] == k).mean()) for k, w in words.items()}
            found[name] = ExpectedWord(name, words.get(int(nominal[t, 0])), shares)
            continue
        assert test.measures is not None
        tail = (1 - CONFIDENCE) / 2
        likely = np.quantile(spread[t], [tail, 1 - tail], method="inverted_cdf")
        every = np.concatenate([nominal[t], single[t], spread[t], corners[t]])
        found[name] = Expectation(
            test=name,
            nominal=ureg.Quantity(float(nominal[t, 0]), test.unit),
            likely=_interval(likely, test.unit),
            worst=_interval(np.array([every.min(), every.max()]), test.unit),
            error=ureg.Quantity(float(meter.error(test.measures, nominal[t])[0]), test.unit),
        )
    return found


def _corners(template: Template, tests: tuple[str, ...], single: Array, meter: Meter) -> Array:
    """Lowest and highest reading of each test, every tolerance at one of its limits: (T, 2)."""
    up, down = np.split(np.where(np.isfinite(single), single, 1e12), 2, axis=1)
    sign = np.sign(up - down)
    u = np.concatenate([-sign, sign])
    u[:, 0] = 0.0
    values = predict(template, ((),), tests, u, meter).values[0]
    own = np.arange(len(tests))
    return np.stack([values[own, own], values[own, own + len(tests)]], axis=1)


def _interval(ends: Array, unit: str) -> Interval:
    return ureg.Quantity(float(ends[0]), unit), ureg.Quantity(float(ends[1]), unit)


def live_ohmmeter_tests(circuit: Circuit, meter: Meter | None = None) -> tuple[str, ...]:
    """Resistance tests whose leads carry voltage in the sound circuit: the reading would be false.

    Returns:
        ids of the tests, which want another condition (supply off, connector unplugged).
    """
    as_voltage = {
        name: test.model_copy(update={"measures": "voltage", "words": {}, "before": None})
        for name, test in circuit.tests.items()
        if test.measures == "resistance"
    }
    powered = circuit.model_copy(update={"tests": as_voltage})
    found = expectations(powered, meter, samples=1) if as_voltage else {}
    return tuple(
        name
        for name, reading in found.items()
        if isinstance(reading, Expectation) and abs(reading.nominal) > LIVE
    )


def contradiction(
    expectation: Expectation, low: Quantity | None, high: Quantity | None
) -> str | None:
    """Why hand-written limits contradict the circuit; None if they do not.

    They do if the sound circuit with every value as drawn would fail.
    """
    text = f"the circuit gives {reach(expectation)}"
    if low is not None and expectation.nominal < low:
        return f"{text}, below the limit of {show(low)}"
    if high is not None and expectation.nominal > high:
        return f"{text}, above the limit of {show(high)}"
    return None


def reach(expectation: Expectation) -> str:
    """The nominal reading and the worst case: "4.98 V (4.92 V to 5.03 V)"."""
    nominal, low, high = (
        "over limit" if math.isinf(value.magnitude) else show(value)
        for value in (expectation.nominal, *expectation.worst)
    )
    return f"{nominal} ({low} to {high})" if low != high else nominal
