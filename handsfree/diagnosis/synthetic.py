"""Made-up readings of a circuit with a fault: for training and for tests.

Tolerances, the meter's error and slips of hearing are drawn at random, seeded.

T tests, V made-up vehicles.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import get_args

import numpy as np

from handsfree.circuit.meter import Meter
from handsfree.circuit.model import Circuit, CircuitTest
from handsfree.circuit.solve import FaultSet
from handsfree.circuit.solve import simulate as solve
from handsfree.circuit.values import Array
from handsfree.diagnosis.hearing import mishearings
from handsfree.diagnosis.table import MISHEARD
from handsfree.meaning.meanings import Observation, Reading, State, Take
from handsfree.plan.measure import StateName
from handsfree.units import ureg

_STATES = get_args(StateName)


@dataclass(frozen=True, slots=True)
class Synthetic:
    """A made-up take.

    Attributes:
        test: id of the step.
        shown: what the meter showed or what was seen; None if no word of the test fits.
        heard: what was understood.
    """

    test: str
    shown: Take | None
    heard: Take | None

    @property
    def misheard(self) -> bool:
        """Whether it was understood wrongly."""
        return self.shown != self.heard


def simulate_jobs(
    circuit: Circuit,
    faults: FaultSet,
    seed: int = 0,
    *,
    misheard: float = MISHEARD,
    meter: Meter | None = None,
) -> tuple[Synthetic, ...]:
    """Readings of every test on one made-up vehicle, in the order of the circuit's tests.

    Args:
        circuit: the circuit.
        faults: ids of the faults that are present; () for a sound one.
        seed: another number, another vehicle.
        misheard: share of the numbers that are mis-heard.
        meter: that is used.

    Raises:
        BadInput: the circuit does not fit together.
        KeyError: there is no such fault.
    """
    rng = np.random.default_rng(seed)
    shown = draw(circuit, faults, 1, rng, meter)
    heard = mishear(circuit, shown, misheard, rng, meter)
    return tuple(
        Synthetic(name, _take(test, float(s)), _take(test, float(h)))
        for (name, test), s, h in zip(
            circuit.tests.items(), shown[:, 0], heard[:, 0], strict=True
        )
    )  # fmt: skip


def draw(
    circuit: Circuit,
    faults: FaultSet,
    vehicles: int,
    rng: np.random.Generator,
    meter: Meter | None = None,
) -> Array:
    """What the meter shows and what is seen: (T, V), as `Predictions.values`.

    Args:
        circuit: the circuit.
        faults: ids of the faults that are present.
        vehicles: how many are made up.
        rng: source of tolerances and the meter's errors.
        meter: that is used.
    """
    meter = meter or Meter()
    found = solve(circuit, [faults], samples=vehicles + 1, rng=rng, meter=meter)
    shown = found.values[0, :, 1:].copy()  # sample 0 is nominal
    for row, test in zip(shown, circuit.tests.values(), strict=True):
        if test.measures and not test.words:
            row[:] = meter.show(test.measures, row, rng)
    return shown


def mishear(
    circuit: Circuit,
    shown: Array,
    share: float,
    rng: np.random.Generator,
    meter: Meter | None = None,
) -> Array:
    """The same readings, of which a share of the numbers is mis-heard: (T, V).

    Args:
        circuit: the circuit.
        shown: (T, V) from `draw`.
        share: 0.02 for two in a hundred.
        rng: source of the slips.
        meter: that was used.
    """
    meter = meter or Meter()
    heard = shown.copy()
    for row, test in zip(heard, circuit.tests.values(), strict=True):
        slips = np.flatnonzero((rng.uniform(size=row.shape) < share) & np.isfinite(row))
        if not len(slips) or not test.measures or test.words:
            continue
        count = meter.resolution(test.measures, row[slips])
        other, weight = mishearings(row[slips] / count, len(str(meter.display)))
        chosen = (weight.cumsum(axis=1) > rng.uniform(size=(len(slips), 1))).argmax(axis=1)
        row[slips] = other[np.arange(len(slips)), chosen] * count
    return heard


def _take(test: CircuitTest, value: float) -> Take | None:
    if not test.outcomes:
        return Reading(None if math.isinf(value) else ureg.Quantity(value, test.unit))
    if int(value) >= len(test.outcomes):
        return None
    word = test.outcomes[int(value)]
    return State(word) if word in _STATES else Observation(word)
