"""What every test reads under every fault: the one computation that checks and diagnosis use."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from handsfree.circuit.faults import Misreads, WrongPin
from handsfree.circuit.loading import lost_in
from handsfree.circuit.meter import Meter
from handsfree.circuit.model import Circuit, CircuitTest, Fault
from handsfree.circuit.template import Template
from handsfree.circuit.values import Array, Ints
from handsfree.circuit.variants import Variants

FaultSet = tuple[str, ...]
"""Ids of the faults that are present; () is the healthy circuit."""

_AMPERE = 1e-3  # through what a test lamp is put on, to see its resistance

_AT_ONCE = 8_000  # variants solved at once: enough for whole arrays, few enough for the cache


@dataclass(frozen=True, eq=False)
class Predictions:
    """Readings by hypothesis, test and sample.

    Attributes:
        hypotheses: (H,) faults present.
        tests: (T,) ids of the tests.
        values: (H, T, S) without the meter's error.  A quantity in SI units, infinite where
            the meter shows OL; for a spoken state or an observation the number of the word in
            `CircuitTest.outcomes`, or their count if none fits.
    """

    hypotheses: tuple[FaultSet, ...]
    tests: tuple[str, ...]
    values: Array


def single_faults(circuit: Circuit) -> tuple[FaultSet, ...]:
    """The healthy circuit, then each fault alone."""
    return ((), *((fault.id,) for fault in circuit.faults))


def simulate(
    circuit: Circuit,
    hypotheses: Sequence[FaultSet] | None = None,
    tests: Sequence[str] | None = None,
    *,
    samples: int = 100,
    rng: np.random.Generator | None = None,
    meter: Meter | None = None,
) -> Predictions:
    """Readings of every test under every hypothesis, over samples of the tolerances.

    The same samples are used for all hypotheses; sample 0 is nominal.

    Args:
        circuit: the circuit.
        hypotheses: what to assume; the healthy circuit and every single fault if not given.
        tests: ids of tests; all if not given.
        samples: number of samples S.
        rng: source of the samples; seeded with 0 if not given.
        meter: as it loads the circuit.

    Raises:
        BadInput: the circuit does not fit together.
        KeyError: there is no such fault or test.
    """
    template = Template(circuit)
    chosen = single_faults(circuit) if hypotheses is None else tuple(hypotheses)
    rng = np.random.default_rng(0) if rng is None else rng
    faults = max(map(len, chosen), default=0)
    u = rng.uniform(-1, 1, (samples, template.columns + faults))
    u[0], u[:, 0] = 0.0, 0.0
    return predict(template, chosen, tuple(tests or circuit.tests), u, meter or Meter())


def predict(
    template: Template,
    hypotheses: tuple[FaultSet, ...],
    tests: tuple[str, ...],
    u: Array,
    meter: Meter,
) -> Predictions:
    """`simulate` for given tolerances.

    Args:
        template: the circuit.
        hypotheses, tests, meter: as for `simulate`.
        u: (S, template.columns + faults of a hypothesis) from -1 to 1; column 0 is nought.
    """
    by_id = {fault.id: fault for fault in template.circuit.faults}
    present = [[by_id[fault] for fault in hypothesis] for hypothesis in hypotheses]
    step = max(1, _AT_ONCE // (len(template.circuit.conditions) * len(u)))
    values = [
        _read(template, present[h : h + step], tests, u, meter)
        for h in range(0, len(present), step)
    ]
    return Predictions(hypotheses, tests, np.concatenate(values))


def _read(
    template: Template, present: list[list[Fault]], tests: tuple[str, ...], u: Array, meter: Meter
) -> Array:
    circuit = template.circuit
    chosen = [circuit.tests[test] for test in tests]
    pairs = [[_leads(template, test, faults) for test in chosen] for faults in present]
    known = sorted({pair for row in pairs for pair in row})
    number = {pair: k for k, pair in enumerate(known)}
    lead = np.array([[number[pair] for pair in row] for row in pairs], dtype=np.intp)
    variants = Variants(template, present, u, np.array(known, dtype=np.intp).reshape(-1, 2))
    bench = _Bench(variants, meter, _gains(template, present, u))
    values = np.empty((len(present), len(chosen), len(u)))
    for t, test in enumerate(chosen):
        values[:, t] = bench.read(test, lead[:, t])
    return values


def _leads(template: Template, test: CircuitTest, faults: list[Fault]) -> tuple[int, int]:
    if test.measures == "current":
        ends = template.ends[template.branch[test.branch]]
        return int(ends[0]), int(ends[1])
    if test.measures is None:
        return 0, 0
    nodes = [test.red or "", test.black or ""]
    for fault in faults:
        if isinstance(wrong := fault.mode, WrongPin):
            nodes = [wrong.probed if node == wrong.meant else node for node in nodes]
    return template.node[nodes[0]], template.node[nodes[1]]


def _gains(template: Template, present: list[list[Fault]], u: Array) -> Array:
    """What the meter makes of a voltage, by hypothesis and sample: (H, S), 1 if it is right."""
    gains = np.ones((len(present), len(u)))
    for h, faults in enumerate(present):
        for k, fault in enumerate(faults):
            if isinstance(fault.mode, Misreads):
                gains[h] *= fault.mode.gain.at(u[:, template.columns + k])
    return gains


class _Bench:
    """A meter on settled variants."""

    def __init__(self, variants: Variants, meter: Meter, gains: Array) -> None:
        self._variants, self._meter, self._gains = variants, meter, gains
        names = variants.template.circuit.conditions
        self._condition = {name: c for c, name in enumerate(names)}

    def read(self, test: CircuitTest, lead: Ints) -> Array:
        """The outcome of a test with the lead pair `lead` (H,): (H, S)."""
        c = self._condition[test.condition]
        if test.observes is not None:
            states = self._variants.states
            seen = states.observed(test.observes, test.by_hand, self._variants)[:, c]
            if len(test.outcomes) == 4:
                return 4.0 * (1.0 - np.maximum(seen, 0.25))
            runs = np.where(seen == 0.75, 1.0, seen)
            return 2.0 - 2.0 * runs if len(test.outcomes) == 3 else np.where(runs == 1.0, 0.0, 1.0)
        values = self._measure(test, c, lead)
        if test.before is not None:
            values = values - self._measure(test, self._condition[test.before], lead)
        if not test.words:
            return values
        fits = np.stack([limits.holds(values) for limits in test.words.values()])
        return np.where(fits.any(axis=0), fits.argmax(axis=0), len(fits)).astype(np.float64)

    def _measure(self, test: CircuitTest, c: int, lead: Ints) -> Array:
        variants, meter = self._variants, self._meter
        h, _, s = variants.shape
        every = np.arange(np.prod(variants.shape)).reshape(variants.shape)
        rows = every[:, c].ravel()
        pair = np.repeat(lead, s)
        zero = np.zeros(len(rows))
        if test.loaded:
            full = variants.voltage(
                variants.template.circuit.supply, variants.template.circuit.ground
            )
            z = variants.ports.metered(rows, pair, zero, zero + _AMPERE) / _AMPERE
            return lost_in(full[:, c], z.reshape(h, s)) * self._gains
        if test.measures == "voltage":
            load = zero + 1 / meter.input_resistance.m_as("Ω")
            seen = variants.ports.metered(rows, pair, load, zero).reshape(h, s)
            return seen if test.second_meter else seen * self._gains
        if test.measures == "resistance":
            full, volts = meter.test_current.m_as("A"), meter.test_voltage.m_as("V")
            v = variants.ports.metered(rows, pair, zero + full / volts, zero + full)
            i = full - v * full / volts
            ohms = np.where(i > 0, v / np.where(i > 0, i, 1.0), np.inf)
            return np.where(ohms > meter.over_limit.m_as("Ω"), np.inf, ohms).reshape(h, s)
        branch = variants.template.branch[test.branch]
        inner = variants.ohms[branch, :, c].ravel()
        source = variants.volts[branch, :, c].ravel()
        g = 1 / (inner + (0.0 if test.clamp else meter.burden.m_as("Ω")))
        added = g - 1 / inner
        across = variants.ports.metered(rows, pair, added, -added * source)
        return np.asarray(g * (across + source)).reshape(h, s)
