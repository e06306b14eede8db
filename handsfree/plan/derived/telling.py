"""Which tests tell something, and of what; what a sound circuit reads."""

from __future__ import annotations

import math

import numpy as np

from handsfree.circuit import Circuit, Expectation, Meter, simulate

_SHOWN = 3.0  # errors of the meter by which a fault must move a reading
_SAMPLES = 5  # of the tolerances: whether a fault shows at all
_LEAST = {"voltage": 0.1, "resistance": 0.5, "current": 0.001}
"""Room around what is computed, at least: V, Ω, A.  A tenth of a volt for a ground and half an
ohm for the leads: common practice, no published source."""


def shown(circuit: Circuit, meter: Meter) -> dict[str, tuple[str, ...]]:
    """What each test shows: the sites of the faults that move it, the likeliest first."""
    found = simulate(circuit, samples=_SAMPLES, meter=meter)
    faults = {fault.id: fault for fault in circuit.faults}
    sites: dict[str, tuple[str, ...]] = {}
    for t, name in enumerate(found.tests):
        test, sound = circuit.tests[name], found.values[0, t]
        error = (
            meter.error(test.measures, sound) if test.measures and not test.outcomes else 0 * sound
        )
        weight: dict[str, float] = {}
        for hypothesis, values in zip(found.hypotheses[1:], found.values[1:, t], strict=True):
            with np.errstate(invalid="ignore"):
                moved = (values != sound) & ~(np.abs(values - sound) <= _SHOWN * error)
            fault = faults[hypothesis[0]]
            if moved.any() and fault.part:
                weight[fault.site] = weight.get(fault.site, 0.0) + fault.odds
        sites[name] = tuple(sorted(weight, key=lambda site: -weight[site]))
    return sites


def limits(expected: Expectation, measures: str) -> dict[str, object]:
    """What a step expects: the worst case of the tolerances, and the meter's error.

    Returns:
        as `Expect` has it.
    """
    unit = {"voltage": "V", "resistance": "Ω", "current": "A"}[measures]
    low, high = (float(q.m_as(unit)) for q in expected.worst)
    if math.isinf(low):
        return {"over_range": True}
    room = max(_LEAST[measures], float(expected.error.m_as(unit)))
    least = _rounded(low - room, math.floor)
    if measures == "resistance":
        least = max(0.0, least)
    found: dict[str, object] = {"low": f"{least:.10g} {unit}"}
    if math.isfinite(high):
        found["high"] = f"{_rounded(high + room, math.ceil):.10g} {unit}"
    return found


def _rounded(value: float, how: object) -> float:
    """To two digits, away from the middle."""
    if value == 0:
        return 0.0
    assert callable(how)
    step = 10.0 ** (math.floor(math.log10(abs(value))) - 1)
    return float(how(value / step) * step)
