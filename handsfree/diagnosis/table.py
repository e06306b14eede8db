"""What each test reads under each cause, computed once for a plan.

A cause is a cloud of samples: made-up vehicles that differ within the tolerances.  A test that
reads nearly the same in all of them is judged by their common distribution.  A test that
differs widely (the size of a bad contact, where the flap came to rest) is judged sample by
sample, so that several readings moved by the same unknown are judged together.

Every chance leaves room for a slip: a number mis-heard, a lead on the wrong wire or without
contact, and anything at all.  So no reading makes a cause impossible.

H causes, T tests, S samples, G cells.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import scipy

from handsfree.circuit.meter import Meter
from handsfree.circuit.model import Circuit
from handsfree.circuit.solve import simulate
from handsfree.circuit.states import Bools
from handsfree.circuit.values import Array, Ints
from handsfree.diagnosis.axis import Axis, NumberAxis, WordAxis, axis_of
from handsfree.diagnosis.causes import Cause, causes_of

PAIRS, SAMPLES = 60, 80
"""Double faults thought of, and made-up vehicles for each cause."""

MISHEARD, MISPROBED, ODD = 0.02, 0.01, 0.005
"""How often a reading is mis-heard, taken in the wrong place, or odd for no known reason.
Common practice, no published source."""

TWICE = 0.1
"""How often a number is mis-heard again in the same way.  A lead in the wrong place stays there,
and an odd reading stays odd: a reading repeated is no second witness."""

BROAD, _BREADTH = 0.05, 8.0
"""Share of readings that lie where the model of the circuit is a little wrong: this many errors
of the meter beside what it says.  Common practice, no published source."""

_RIGHT = 1 - MISHEARD - MISPROBED - ODD
_WIDE = 25.0  # errors of the meter over which the samples of a wide test spread
_KERNEL = 0.3  # of that spread: how near a sample must be to a reading
_SEEN = 2.0  # errors of the meter from the sound circuit's reading, from which a fault shows
_OWN = 0.9  # of the chance of a wide reading comes from the sample, the rest from all samples


@dataclass(frozen=True, eq=False)
class Table:
    """Chances of every reading under every cause.

    Attributes:
        causes: (H,)
        tests: (T,) ids.
        prior: (H,) natural logarithm of the prior probability.
        right: (T, H, G) chance of a reading in each cell, without slips.
        slip: (T, H, G) chance of a slip that gives it; the two together sum to 1.
        anything: (T, G) chance of a reading of which nothing is known.
        place: (T, H, S) readings of the samples along the axis of each test.
        near: (T, H) width of the kernel around a sample, along that axis; 0 if not wide.
        walls: (T, G + 1) of the cells.
        unknown: (S,) share of the readings that an unknown fault moves, one value a sample.
        open_ended: the last cause is that fault.
        misheard: (T, H, G) the part of `slip` that is mis-heard; None for none.
        sites: (H,) what each cause puts at fault; what it lists, if not given.
    """

    causes: tuple[Cause, ...]
    tests: tuple[str, ...]
    prior: Array
    right: Array
    slip: Array
    anything: Array
    place: Array
    near: Array
    walls: Array
    unknown: Array
    open_ended: bool = True
    misheard: Array | None = None
    sites: tuple[frozenset[str], ...] = ()

    @cached_property
    def number(self) -> dict[str, int]:
        """Number of each test."""
        return {test: t for t, test in enumerate(self.tests)}

    @cached_property
    def likeness(self) -> Array:
        """How alike the readings of two causes are: (T, H, H), 0 for the same, else below.

        Logarithm of the Bhattacharyya coefficient, which bounds the share of errors in telling
        two equally likely causes apart (Kailath 1967).
        """
        root = np.sqrt(self.right + self.slip)
        return np.asarray(np.log(np.minimum(root @ root.swapaxes(1, 2), 1.0)))

    @cached_property
    def holds(self) -> Bools:
        """Whether a cause holds all faults of another, that other one having some: (H, H)."""
        faults = [set(cause.faults) for cause in self.causes]
        return np.array([[bool(b) and b <= a for b in faults] for a in faults])

    @cached_property
    def places(self) -> dict[str, Bools]:
        """Which causes put each site at fault: (H,) by site."""
        sites = self.sites or tuple(frozenset(cause.faults) for cause in self.causes)
        every = dict.fromkeys(site for listed in sites for site in sorted(listed))
        return {site: np.array([site in listed for listed in sites]) for site in every}

    def evidence(self, test: str, cell: int, confirmed: bool = False) -> Array:
        """Chance of a reading in every sample: (H, S).

        Args:
            test: its id.
            cell: of the reading.
            confirmed: the test was made twice and read the same.
        """
        t = self.number[test]
        right, slip = self.right[t, :, cell, None], self.slips(t, cell, confirmed)[:, None]
        chance = np.repeat(right + slip, self.place.shape[2], axis=1)
        wide = np.flatnonzero(self.near[t])
        from_sample = (self.walls[t, cell : cell + 2, None, None] - self.place[t, wide]) / (
            self.near[t, wide, None]
        )
        own = np.diff(scipy.special.ndtr(from_sample), axis=0)[0]
        chance[wide] = _OWN * _RIGHT * own + (1 - _OWN) * right[wide] + slip[wide]
        if self.open_ended:
            chance[-1] = chance[-1] * (1 - self.unknown) + self.anything[t, cell] * self.unknown
        return chance

    def slips(self, t: int, cell: int, confirmed: bool = False) -> Array:
        """Chance of a slip that reads so, under each cause; of one twice, if confirmed: (H,)."""
        again = (1 - TWICE) * self.heard[t, :, cell] if confirmed else 0.0
        return np.asarray(self.slip[t, :, cell] - again)

    @property
    def heard(self) -> Array:
        """Chance of a reading that is mis-heard, a part of `slip`: (T, H, G)."""
        return np.zeros_like(self.slip) if self.misheard is None else self.misheard

    def expected(self, causes: Ints, weights: Array, tests: Ints) -> Array:
        """Chances of the readings of tests not yet made: (tests, causes, G).

        Args:
            causes: (h,) numbers of the causes.
            weights: (h, S) of their samples, each row sums to 1.
            tests: numbers of the tests.
        """
        chance = self._either[np.ix_(tests, causes)]
        for row, t, is_wide in zip(chance, tests, self.near[np.ix_(tests, causes)], strict=True):
            wide = np.flatnonzero(is_wide)
            if len(wide):
                here = causes[wide]
                own = self._histogram(int(t), here, weights[wide])
                row[wide] = (
                    self.slip[t, here] + _OWN * _RIGHT * own + (1 - _OWN) * self.right[t, here]
                )
        if self.open_ended and causes[-1] == len(self.causes) - 1:
            share = weights[-1] @ self.unknown
            chance[:, -1] = chance[:, -1] * (1 - share) + self.anything[tests] * share
        return chance

    @cached_property
    def _either(self) -> Array:
        """Chance of a reading in each cell, slip or not: (T, H, G)."""
        return self.slip + self.right

    def _histogram(self, t: int, causes: Ints, weights: Array) -> Array:
        size = self.right.shape[2]
        cell = self._cells[t, causes] + size * np.arange(len(causes))[:, None]
        counts = np.bincount(cell.ravel(), weights.ravel(), len(causes) * size)
        return np.asarray(counts.reshape(-1, size) @ self._blur[t])

    @cached_property
    def _cells(self) -> Ints:
        cells = [np.searchsorted(w, p) - 1 for w, p in zip(self.walls, self.place, strict=True)]
        return np.array(cells, dtype=np.intp)

    @cached_property
    def _blur(self) -> Array:
        """Kernel from cell to cell, for the middle width of each test: (T, G, G)."""
        known = np.clip(self.walls, -1e6, 1e6)
        middle = (known[:, 1:] + known[:, :-1]) / 2
        width = np.array([np.median(n[n > 0]) if n.any() else 1.0 for n in self.near])
        from_middle = (self.walls[:, None, :] - middle[:, :, None]) / width[:, None, None]
        return np.diff(scipy.special.ndtr(from_middle), axis=2)


def tabulate(
    circuit: Circuit,
    meter: Meter | None = None,
    *,
    pairs: int = PAIRS,
    samples: int = SAMPLES,
    rng: np.random.Generator | None = None,
) -> tuple[Table, dict[str, Axis]]:
    """The table of a circuit, and the cells of each test.

    Args:
        circuit: parts, faults and tests.
        meter: as it loads the circuit and errs.
        pairs: most double faults.
        samples: of the tolerances.
        rng: source of the samples; seeded with 0 if not given.

    Raises:
        BadInput: the circuit does not fit together.
    """
    meter = meter or Meter()
    prior = causes_of(circuit, pairs, unseen(circuit, meter))
    causes = tuple(prior)
    site = {fault.id: fault.site for fault in circuit.faults}
    present = [cause.faults for cause in causes[:-1]] + [()]  # an unknown fault on a sound one
    found = simulate(circuit, present, samples=samples, rng=rng, meter=meter)
    values, tests = found.values, found.tests
    axes = {test: axis_of(circuit.tests[test], meter, values[:, t]) for t, test in enumerate(tests)}
    shape = (len(tests), len(causes), max(axis.size for axis in axes.values()))
    right, slip, misheard = np.zeros(shape), np.zeros(shape), np.zeros(shape)
    anything = np.zeros(shape[::2])
    walls = np.full((shape[0], shape[2] + 1), np.inf)
    place, near = np.zeros((*shape[:2], samples)), np.zeros(shape[:2])
    for t, axis in enumerate(axes.values()):
        shares = (1 - BROAD) * (exact := axis.shares(values[:, t])) + BROAD * exact @ axis.beside(
            _BREADTH
        )
        anything[t, : axis.size] = (shares.mean(axis=0) + axis.anything) / 2
        right[t, :, : axis.size] = _RIGHT * shares
        misheard[t, :, : axis.size] = MISHEARD * shares @ axis.misheard()
        slip[t, :, : axis.size] = (
            misheard[t, :, : axis.size]
            + MISPROBED * _misprobed(axes, values, t)
            + ODD * anything[t, : axis.size]
        )
        walls[t, : axis.size + 1] = axis.walls
        place[t] = axis.place(values[:, t])
        near[t] = _kernel(place[t], axis.walls)
    return Table(
        causes=causes,
        tests=tests,
        prior=np.log(np.array(list(prior.values()))),
        right=right,
        slip=slip,
        anything=anything,
        place=place,
        near=near,
        walls=walls,
        unknown=np.linspace(0.1, 0.9, samples),
        misheard=misheard,
        sites=tuple(frozenset(site[fault] for fault in cause.faults) for cause in causes),
    ), axes


def unseen(circuit: Circuit, meter: Meter, samples: int = 9) -> frozenset[str]:
    """Ids of the faults that no test shows: within the meter's error of the sound circuit."""
    found = simulate(circuit, samples=samples, rng=np.random.default_rng(1), meter=meter)
    shown = np.zeros(len(found.hypotheses), dtype=bool)
    for t, test in enumerate(found.tests):
        axis = axis_of(circuit.tests[test], meter, found.values[:, t])
        place = axis.place(found.values[:, t])
        shown |= (np.abs(place - place[0]) > _SEEN).any(axis=1)
    return frozenset(
        h[0] for h, seen in zip(found.hypotheses[1:], shown[1:], strict=True) if not seen
    )


def _kernel(place: Array, walls: Array) -> Array:
    """Width of the kernel around each sample, 0 if the test is not wide: (H, S) to (H,)."""
    number = place < walls[-2]
    count = number.sum(axis=1)
    inside = np.where(number, place, 0.0)
    mean = inside.sum(axis=1) / np.maximum(count, 1)
    spread = np.sqrt(
        (np.where(number, place - mean[:, None], 0.0) ** 2).sum(axis=1) / np.maximum(count, 1)
    )
    return np.where(place.std(axis=1) > _WIDE, np.maximum(_KERNEL * spread, 1.0), 0.0)


def _misprobed(axes: dict[str, Axis], values: Array, t: int) -> Array:
    """Readings of a lead on another wire, or on none: (H, G)."""
    axis = list(axes.values())[t]
    if isinstance(axis, WordAxis):
        return np.full((len(values), axis.size), 1 / axis.size)
    others = [
        k
        for k, other in enumerate(axes.values())
        if k != t and isinstance(other, NumberAxis) and other.quantity == axis.quantity
    ]
    nothing = np.full((len(values), 1), np.inf if axis.quantity == "resistance" else 0.0)
    if not others:
        return axis.count_in(nothing)
    elsewhere = values[:, others, :4].reshape(len(values), -1)
    return (axis.count_in(elsewhere) + axis.count_in(nothing)) / 2
