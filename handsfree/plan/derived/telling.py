"""Which tests tell something, and of what; what a sound circuit reads."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence

import numpy as np

from handsfree.circuit import (
    Circuit,
    Expectation,
    ExpectedWord,
    Meter,
    expectations,
    simulate,
)
from handsfree.circuit.values import Spread, parse_spread
from handsfree.plan.derived.enquiry import Enquiry
from handsfree.units import ureg

Told = Expectation | ExpectedWord

_SHOWN = 3.0  # errors of the meter by which a fault must move a reading
_FOLLOWING = {"voltage", "harness", "across", "rail", "node"}
_SAMPLES = 3  # of the tolerances: whether a fault shows at all
_POINTS, _THERMOMETER = 4, 2.0
"""Temperatures at which limits are computed; kelvin by which a contact thermometer may be beside
the part.  Common practice, no published source."""
DROPS = frozenset({"feed", "return", "drop across", "node"})
"""Kinds of test that tell what a line loses."""

MUCH = 1.0
"""Volts: what loses more is no drop."""

_NOUGHT = {"voltage": (0.2, 0.1), "resistance": (50.0, 0.5), "current": (0.0, 0.0)}
"""Below the first, room of the second around what is computed: V, Ω, A.  A tenth of a volt for a
ground and half an ohm for the leads: common practice, no published source.  Else none: what the
meter may err by is counted when a reading is judged."""


def shown(circuit: Circuit, meter: Meter) -> dict[str, tuple[str, ...]]:
    """What each test shows: the sites of the faults that move it, the likeliest first."""
    found = simulate(circuit, samples=_SAMPLES, meter=meter)
    faults = {fault.id: fault for fault in circuit.faults}
    sites: dict[str, tuple[str, ...]] = {}
    shown = [faults[hypothesis[0]] for hypothesis in found.hypotheses[1:]]
    for t, name in enumerate(found.tests):
        test, sound, values = circuit.tests[name], found.values[0, t], found.values[1:, t]
        error = (
            meter.error(test.measures, sound) if test.measures and not test.outcomes else 0 * sound
        )
        with np.errstate(invalid="ignore"):
            moved = (values != sound) & ~(np.abs(values - sound) <= _SHOWN * error)
        weight: dict[str, float] = {}
        for fault, seen in zip(shown, moved.any(axis=1), strict=True):
            if seen and fault.part:
                weight[fault.site] = weight.get(fault.site, 0.0) + fault.odds
        sites[name] = tuple(sorted(weight, key=lambda site: -weight[site]))
    return sites


def limits(expected: Expectation, measures: str, kind: str = "") -> dict[str, object]:
    """What a step expects: the worst case of the tolerances.

    Of a drop and a leak there is no least one, and of a leak twice as much passes, since no two
    looms are as dry; behind a fuse that is out no electronics have a most one, as an ohmmeter does
    not wake them.  Common practice, no published source.

    Args:
        expected: what a sound circuit gives.
        measures: the quantity.
        kind: of the test.

    Returns:
        as `Expect` has it.
    """
    si = {"voltage": "V", "resistance": "Ω", "current": "A"}[measures]
    low, high = (float(q.m_as(si)) for q in expected.worst)
    if math.isinf(low):
        return {"over_range": True}
    small, room = _NOUGHT[measures]
    room = room if abs(float(expected.nominal.m_as(si))) <= small else 0.0
    least, most = _rounded(low - room, math.floor, room / 2), None
    if kind == "leak" or (kind in DROPS and abs(float(expected.nominal.m_as(si))) < MUCH):
        least = min(least, -_NOUGHT[measures][1])
    if measures == "resistance":
        least = max(0.0, least)
    if kind == "leak":
        high *= 2
    asleep = kind == "behind fuse" and float(expected.nominal.m_as(si)) > small
    if math.isfinite(high) and not asleep:
        most = _rounded(high + room, math.ceil, room / 2)
    shown = unit(expected, measures) or si
    per = float(ureg.Quantity(1, si).m_as(shown))
    bounds = {"low": least, "high": most}
    return {k: f"{v * per:.10g} {shown}" for k, v in bounds.items() if v is not None}


def unit(expected: Expectation, measures: str) -> str | None:
    """The unit that is meant if none is spoken; None for the usual one."""
    small, large = {"resistance": (0.0, 1e3), "current": (1.0, math.inf)}.get(measures, (0, 1e9))
    nominal = abs(float(expected.nominal.magnitude))
    prefixed = {"resistance": "kΩ", "current": "mA"}.get(measures)
    return prefixed if nominal < small or large <= nominal < math.inf else None


def window(expected: Expectation) -> str:
    """From the least to the most that a sound circuit gives: "3.9 V to 4.6 V"."""
    bounds = limits(expected, "voltage")
    return f"{bounds['low']} to {bounds['high']}"


def degrees(shown: Spread) -> dict[str, object]:
    """What a thermometer may show, as limits."""
    low, high = (f"{float(limit.m_as('degC')):.4g} °C" for limit in shown.limits)
    return {"low": low, "high": high}


def by_temperature(
    circuit: Circuit, asked: Sequence[Enquiry], found: Mapping[str, Told], meter: Meter
) -> dict[str, dict[str, object]]:
    """What is read at the temperature that a thermometer shows, by test that it moves.

    Args:
        circuit: names the tests.
        asked: the tests in the order in which they are made; those before a thermometer's
            reading know nothing of it.
        found: what they read over all temperatures of their setting.
        meter: that is used.

    Returns:
        the thermometer's step, and limits by temperature, as `Expect` has them.
    """
    result: dict[str, dict[str, object]] = {}
    for place, shown in enumerate(asked):
        if shown.kind != "temperature":
            continue
        part, spread = shown.part, parse_spread(shown.extra["temperature"], "K")
        usual = {n: dict(sets) for n, sets in circuit.conditions.items()}
        here = {n for n, sets in usual.items() if sets.get(part) == shown.extra["temperature"]}
        names = [q.id for q in asked[place + 1 :] if q.test and q.test.get("measures")
                 and q.kind != "live value" and circuit.tests[q.id].condition in here
                 and isinstance(found[q.id], Expectation)]  # fmt: skip
        if not names:
            continue
        low, high = (float(limit.m_as("degC")) for limit in spread.limits)
        points: dict[str, list[dict[str, object]]] = {name: [] for name in names}
        tests = {name: circuit.tests[name] for name in names}
        for celsius in np.linspace(low, high, _POINTS):
            told = {part: f"{celsius:.6g} °C ± {_THERMOMETER:g} °C"}
            sets = {n: s | told if n in here else s for n, s in usual.items()}
            warm = circuit.model_copy(update={"conditions": sets, "tests": tests})
            for name, one in expectations(warm, meter, samples=20).items():
                assert isinstance(one, Expectation)
                bounds = limits(one, tests[name].measures or "")
                if {"low", "high"} <= set(bounds):
                    points[name].append({"at": f"{celsius:.6g} °C", **bounds})
        for name, rows in points.items():
            moved = len({(str(row["low"]), str(row["high"])) for row in rows}) > 1
            if moved and len(rows) == _POINTS:
                result[name] = {"by": shown.id, "points": rows}
    return result


def lost(
    circuit: Circuit, asked: Sequence[Enquiry], found: Mapping[str, Told], meter: Meter
) -> dict[str, tuple[str, str]]:
    """What is lost at most between an earlier reading of the battery and one that follows it.

    Of pins and nodes that stand within a tenth of the battery; they are then held against the
    battery's reading, best that under the same setting, and not against what batteries have.

    Args:
        circuit: names the tests.
        asked: the tests in the order in which they are made.
        found: what they read.
        meter: that is used.

    Returns:
        the battery's test and the loss, by test.
    """
    beside: dict[str, str] = {}
    batteries: dict[str, str] = {}
    for q in asked:
        if q.kind == "battery":
            batteries[q.setting] = q.id
        one = found.get(q.id)
        near = batteries.get(q.setting) or next(iter(batteries.values()), None)
        if near is None or q.kind not in _FOLLOWING or not isinstance(one, Expectation):
            continue
        full = found[near]
        assert isinstance(full, Expectation)
        if 0.9 * full.nominal < one.nominal < 1.02 * full.nominal:
            beside[q.id] = near
    drops = {}
    for name in beside:
        test = circuit.tests[name]
        pairs = {"feed": (circuit.supply, test.red), "earth": (test.black, circuit.ground),
                 "sag": (circuit.supply, circuit.ground)}  # fmt: skip
        for part, (red, black) in pairs.items():
            drops[f"{name} {part}"] = test.model_copy(update={"red": red, "black": black})
    if not drops:
        return {}
    both = circuit.model_copy(update={"tests": {**circuit.tests, **drops}})
    told = expectations(both, meter, samples=20)
    least = {}
    for name, near in beside.items():
        full, *parts = (found[near], *(told[f"{name} {part}"] for part in ("feed", "earth", "sag")))
        feed, earth, sag = (one for one in parts if isinstance(one, Expectation))
        assert isinstance(full, Expectation)
        sags = abs(full.nominal - sag.nominal)
        most = feed.worst[1] + earth.worst[1] + sags + 2 * full.error
        volts = float(most.m_as("V")) + _NOUGHT["voltage"][1]
        least[name] = (near, f"{_rounded(volts, math.ceil):.10g} V")
    return least


def _rounded(value: float, how: Callable[[float], int], coarse: float = 0.0) -> float:
    """To two digits, or to steps of `coarse`, away from the middle."""
    if value == 0:
        return 0.0
    step = max(10.0 ** (math.floor(math.log10(abs(value))) - 1), coarse)
    return float(how(round(value / step, 6)) * step)
