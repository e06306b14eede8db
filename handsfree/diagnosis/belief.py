"""What the readings so far say about the causes.

Logarithms are natural inside; odds at the boundary are plain ratios: 20.0 is twenty to one.

H causes, S samples, N readings, T tests, G cells.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import scipy
from numpy.typing import NDArray

from handsfree.circuit.values import Array, Ints
from handsfree.diagnosis.table import Table

Group = NDArray[np.bool_]
"""Which causes belong to it: (H,)."""

SURE = 20.0
"""Odds from which a cause is taken as found."""

MODEL = 0.02
"""Chance that a verdict is wrong whatever the readings say: the circuit is not as drawn, the meter
not as believed, a word not as heard.  Bounds the odds to 49.  Common practice, no published
source."""

_LEADS = 1.25  # odds from which a cause leads clearly, one reading left out
_WITNESS = 3.0  # how many times likelier than in a sound circuit the other readings must be
_PARTS = 0.1  # bits on which of two causes it is, from which a test tells them apart

# Likeness from which two causes count as the same: whatever the readings, at least a fifth of
# the verdicts between them would be wrong (Kailath 1967: no less than (1 - √(1 - ρ²)) / 2).
_ALIKE = np.log(0.8)

_NEGLIGIBLE = 1e-3  # causes less likely than the likeliest by this are left out of what is to come

_SAME = 3.0  # errors of the meter within which a test has read the same twice


@dataclass(frozen=True, slots=True)
class Mark:
    """Where a reading fell.

    Attributes:
        test: what was read.
        cell: of the axis of that test.
        place: along that axis, in errors of the meter.
        confirmed: it was read twice.
    """

    test: str
    cell: int
    place: float = 0.0
    confirmed: bool = False

    def same(self, other: Mark) -> bool:
        """Whether the test has read the same twice, within the meter's error."""
        return self.test == other.test and abs(self.place - other.place) <= _SAME


@dataclass(frozen=True, eq=False)
class Belief:
    """The causes weighed by the readings.

    Attributes:
        table: chances of every reading under every cause.
        marks: the readings in the order made: (N,). Two of one test that differ both count,
            until one of them is confirmed.
        evidence: chance of each reading in every sample: N of (H, S).
    """

    table: Table
    marks: tuple[Mark, ...] = ()
    evidence: tuple[Array, ...] = ()

    def after(self, mark: Mark) -> Belief:
        """After one more reading.

        If its test has read the same before, that reading is confirmed and no other of that
        test counts.
        """
        if any(mark.same(other) for other in self.marks):
            kept = [other for other in self.marks if other.test != mark.test]
            return self._with(*kept, replace(mark, confirmed=True))
        return self._with(*self.marks, mark)

    def _with(self, *marks: Mark) -> Belief:
        known = dict(zip(self.marks, self.evidence, strict=True))
        evidence = (
            known[mark]
            if mark in known
            else self.table.evidence(mark.test, mark.cell, mark.confirmed)
            for mark in marks
        )
        return Belief(self.table, marks, tuple(evidence))

    @cached_property
    def made(self) -> tuple[str, ...]:
        """The tests made."""
        return tuple(dict.fromkeys(mark.test for mark in self.marks))

    @cached_property
    def weights(self) -> Array:
        """Logarithm of the probability of each cause: (H,)."""
        return self._weigh(self._scale.sum(axis=0), self._product)

    @cached_property
    def samples(self) -> Array:
        """Weight of each sample within its cause: (H, S), each row sums to 1."""
        return np.asarray(self._product / self._product.sum(axis=-1, keepdims=True))

    @cached_property
    def course(self) -> Array:
        """`weights` before the first reading and after each: (N + 1, H)."""
        none = np.zeros((1, *self._product.shape))
        scale = np.concatenate([none[..., 0], self._scale]).cumsum(axis=0)
        return self._weigh(scale, np.concatenate([none + 1, self._relative]).cumprod(axis=0))

    @cached_property
    def without(self) -> Array:
        """`weights` if one reading did not count: (N, H)."""
        scale = self._scale.sum(axis=0) - self._scale
        return self._weigh(scale, self._product / self._relative)

    @cached_property
    def masses(self) -> dict[str, float]:
        """Probability of each site of a fault, with or without another; the likeliest first."""
        chance = np.exp(self.weights)
        found = {site: float(chance[here].sum()) for site, here in self.table.places.items()}
        return dict(sorted(found.items(), key=lambda item: -item[1]))

    @cached_property
    def leader(self) -> int:
        """The likeliest cause at the likeliest site, or that there is none, or an unknown one."""
        weights = self.weights.copy()
        best = next(iter(self.masses.values()), 0.0)
        listed = np.array([bool(cause.faults) for cause in self.table.causes])
        if best > np.exp(weights[~listed]).max(initial=0.0):
            weights[~self.table.places[next(iter(self.masses))]] = -np.inf
        else:
            weights[listed] = -np.inf
        return int(weights.argmax())

    @cached_property
    def site(self) -> str | None:
        """The likeliest site; None if no fault or an unknown one is likelier."""
        return next(iter(self.masses)) if self.table.causes[self.leader].faults else None

    @cached_property
    def named(self) -> tuple[str, ...]:
        """The likeliest site, and the likely ones that no test left can part from it."""
        if self.site is None:
            return ()
        rivals = [s for s, p in self.masses.items() if p >= self.masses[self.site] / SURE]
        parted = self.parted(np.array([self.best_at(site) for site in rivals]))
        return tuple(s for s, apart in zip(rivals, parted, strict=True) if not apart)

    def best_at(self, site: str) -> int:
        """The likeliest cause that puts a site at fault."""
        return int(np.where(self.table.places[site], self.weights, -np.inf).argmax())

    def parted(self, causes: NDArray[np.intp]) -> NDArray[np.bool_]:
        """Which causes some test not yet made would tell from the leader: shape of `causes`."""
        if not len(self._left) or not len(causes):
            return np.zeros(len(causes), dtype=bool)
        every = np.union1d(causes, [self.leader])
        chance = self.expected(every, self._left)
        one = chance[:, np.searchsorted(every, causes)]
        other = chance[:, np.searchsorted(every, [self.leader])]
        apart = (
            scipy.special.xlogy(one, one)
            + scipy.special.xlogy(other, other)
            - 2 * scipy.special.xlogy((one + other) / 2, (one + other) / 2)
        )
        return np.asarray(apart.sum(axis=2).max(axis=0) / np.log(4) > _PARTS)

    @cached_property
    def likely(self) -> Ints:
        """Numbers of the causes that are not negligible."""
        return np.flatnonzero(self.weights >= self.weights.max() + np.log(_NEGLIGIBLE))

    def expected(self, causes: Ints, tests: Ints) -> Array:
        """Chances of the readings of tests not yet made: (tests, causes, G).

        Those of the likely causes are computed once, as several ask for them.
        """
        if not (np.isin(causes, self.likely).all() and np.isin(tests, self._left).all()):
            return self.table.expected(causes, self.samples[causes], tests)
        if np.array_equal(causes, self.likely) and np.array_equal(tests, self._left):
            return self._ahead
        rows, columns = np.searchsorted(self._left, tests), np.searchsorted(self.likely, causes)
        return self._ahead[np.ix_(rows, columns)]

    @cached_property
    def _left(self) -> Ints:
        left = [t for t, name in enumerate(self.table.tests) if name not in self.made]
        return np.array(left, dtype=np.intp)

    @cached_property
    def _ahead(self) -> Array:
        return self.table.expected(self.likely, self.samples[self.likely], self._left)

    @cached_property
    def group(self) -> Group:
        """The causes at the sites that are named; without one, the leader and what looks like it.

        A second fault does not acquit the first: it shows when the first is repaired.  Faults
        that nothing left can tell from a sound circuit are not found here.
        """
        if self.named:
            within: Group = np.any([self.table.places[site] for site in self.named], axis=0)
            return within | self.alike(self.leader) | self.with_more(self.leader)
        group = self.alike(self.leader)
        if self.table.causes[self.leader].kind == "no fault":
            likely = np.flatnonzero(self.weights > self.weights[self.leader] - np.log(1e3))
            likely = likely[likely < len(group) - self.table.open_ended]
            group[likely[~self.parted(likely)]] = True
        return group

    @cached_property
    def odds(self) -> float:
        """Odds of the group against all other causes, not more than meter and ear bear."""
        return bounded(float(odds_of(self.weights, self.group)))

    @cached_property
    def pivots(self) -> tuple[str, ...]:
        """Tests on whose reading a verdict hangs.

        Without it another cause would lead or nearly so, or the readings might as well be those
        of a sound circuit.

        A confirmed reading is none, and none is before odds of `SURE`.
        """
        if self.odds < SURE or not self.marks:
            return ()
        odds = odds_of(self.without, self.group)
        sound = np.array([cause.kind == "no fault" for cause in self.table.causes])
        if sound.any() and not (sound & self.group).any():
            against = (
                scipy.special.logsumexp(self.without[:, self.group], axis=1)
                - self.without[:, sound][:, 0]
            )
            before = (
                scipy.special.logsumexp(self.table.prior[self.group]) - self.table.prior[sound][0]
            )
            odds = np.minimum(odds, _LEADS * np.exp(against - before) / _WITNESS)
        left = zip(self.marks, odds, strict=True)
        return tuple(mark.test for mark, ratio in left if ratio < _LEADS and not mark.confirmed)

    @property
    def sure(self) -> bool:
        """Whether a cause, or a group that no test can tell apart, is found.

        Its odds are at least `SURE`, and they do not hang on any one reading.
        """
        return self.odds >= SURE and not self.pivots

    def alike(self, cause: int, tests: Iterable[str] | None = None) -> Group:
        """Which causes read the same as `cause` at these tests, or at all tests: (H,)."""
        chosen = slice(None) if tests is None else [self.table.number[test] for test in tests]
        alike = self.table.likeness[chosen, cause].sum(axis=0) > _ALIKE
        if self.table.open_ended:  # nothing is like an unknown fault but itself
            alike[-1] = cause == len(alike) - 1
        return np.asarray(alike)

    def with_more(self, cause: int) -> Group:
        """Which causes hold the faults of `cause`, with or without others: (H,)."""
        return np.asarray(self.table.holds[:, cause])

    @cached_property
    def slips(self) -> Array:
        """Chance that each reading is a slip, under each cause: (N, H)."""
        number = self.table.number
        chance = [self.table.slips(number[m.test], m.cell, m.confirmed) for m in self.marks]
        return self._share(chance)

    @cached_property
    def misheard(self) -> Array:
        """Chance that each reading is mis-heard, under each cause: (N, H)."""
        number = self.table.number
        return self._share([self.table.heard[number[m.test], :, m.cell] for m in self.marks])

    def _share(self, chance: list[Array]) -> Array:
        weight = [(self.samples / one).sum(axis=1) for one in self.evidence]
        return np.reshape(np.array(chance) * np.array(weight), (-1, len(self.table.causes)))

    # Within a cause, chances are kept as shares of the likeliest sample's.

    @cached_property
    def _chance(self) -> Array:
        return np.reshape(self.evidence, (-1, *self.table.place.shape[1:]))

    @cached_property
    def _most(self) -> Array:
        return np.asarray(np.maximum(self._chance.max(axis=-1), np.finfo(np.float64).tiny))

    @cached_property
    def _scale(self) -> Array:
        return np.log(self._most)

    @cached_property
    def _relative(self) -> Array:
        return np.asarray(self._chance / self._most[..., None])

    @cached_property
    def _product(self) -> Array:
        return np.asarray(self._relative.prod(axis=0))

    def _weigh(self, scale: Array, product: Array) -> Array:
        with np.errstate(divide="ignore"):  # a cause that cannot be
            weight = self.table.prior + scale + np.log(product.mean(axis=-1))
        return np.asarray(weight - scipy.special.logsumexp(weight, axis=-1, keepdims=True))


def bounded(odds: float) -> float:
    """Odds with the chance in mind that the model itself is wrong: never above 49."""
    chance = 1.0 if np.isinf(odds) else odds / (1 + odds)
    chance *= 1 - MODEL
    return chance / (1 - chance)


def odds_of(weights: Array, group: Group) -> Array:
    """Odds of a group of causes against all others, from the logarithms of probabilities.

    Args:
        weights: (..., H)
        group: (H,)
    """
    within, outside = weights[..., group], weights[..., ~group]
    return np.asarray(
        np.exp(scipy.special.logsumexp(within, axis=-1) - scipy.special.logsumexp(outside, axis=-1))
    )
