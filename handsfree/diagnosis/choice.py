"""Which test to make next: the most information a minute.

Information is the mutual information of cause and reading, in bits (Lindley 1956); the test
with the most leaves the least expected entropy, by which de Kleer & Williams (1987) choose.

h causes that are not negligible, T tests, G cells.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import scipy

from handsfree.circuit.model import Circuit
from handsfree.circuit.values import Array, Ints
from handsfree.diagnosis.belief import SURE, Belief
from handsfree.diagnosis.causes import Cause
from handsfree.diagnosis.proof import suspected
from handsfree.diagnosis.table import TWICE
from handsfree.units import Quantity

CHEAP = 3.0
"""Minutes up to which a test is made although the cause is found, if it could overturn it."""

_TELLING = 0.01  # bits below which a test tells nothing
_UPSET = 0.03  # chance of overturning the leader that is worth a cheap test


@dataclass(frozen=True, slots=True)
class Proposal:
    """A test that may be made next, and why.

    Attributes:
        test: its id.
        bits: information on the cause that is expected of it.
        minutes: what it costs, with the setups that it needs and undoes.
        upset: chance that it brings the odds of the leading causes below `SURE`.
        again: it was made before; its reading may be a slip and is taken once more.
        separates: the leading cause and the one that it best tells from it.
        proves: it is the test of the part itself, without which that part is only suspected.
        ready: setups it needs that are made already.
        first: setups to be made for it.
        undo: setups to be undone for it.
    """

    test: str
    bits: float
    minutes: Quantity
    upset: float
    again: bool
    separates: tuple[Cause, Cause] | None
    proves: bool
    ready: tuple[str, ...]
    first: tuple[str, ...]
    undo: tuple[str, ...]

    @property
    def rate(self) -> float:
        """Bits a minute; nought if it tells nothing."""
        return self.bits / float(self.minutes.m_as("min")) if self.bits >= _TELLING else 0.0


def proposals(
    belief: Belief, circuit: Circuit, tests: Sequence[str], setups: frozenset[str]
) -> tuple[Proposal, ...]:
    """The tests that may be made, best first; those that tell nothing keep their order.

    A reading that may be a slip may be worth taking again.  One on which the verdict hangs
    always is.

    Args:
        belief: what the readings so far say.
        circuit: gives the cost of each test.
        tests: those not yet made, in the order of the plan.
        setups: those that are made.
    """
    own = suspected(belief, circuit)
    single = [mark.test for mark in belief.marks if not mark.confirmed]
    new, again = joint(belief, tests), _agreement(belief)
    found = [
        *_proposals(belief, circuit, setups, tests, new, own=own),
        *_proposals(belief, circuit, setups, single, again, again=True),
    ]
    return tuple(sorted(found, key=lambda proposal: (not proposal.proves, -proposal.rate)))


def _proposals(
    belief: Belief,
    circuit: Circuit,
    setups: frozenset[str],
    tests: Sequence[str],
    readings: tuple[Array, Ints],
    again: bool = False,
    own: frozenset[str] = frozenset(),
) -> Iterator[Proposal]:
    both = _grouped(belief, *readings)
    columns = zip(
        tests,
        information(both),
        _upset(both),
        _rivals(belief, tests),
        strict=True,
    )
    for test, bits, upset, rival in columns:
        minutes, made = circuit.cost(test, setups)
        needed = circuit.tests[test].setups
        yield Proposal(
            test=test,
            bits=float(max(bits, _TELLING) if test in (*belief.pivots, *own) else bits),
            minutes=minutes,
            upset=float(upset),
            again=again,
            separates=rival,
            proves=test in own,
            ready=tuple(s for s in needed if s in setups),
            first=tuple(s for s in needed if s not in setups),
            undo=tuple(sorted(setups - made)),
        )


def enough(belief: Belief, left: Sequence[Proposal]) -> bool:
    """Whether to stop: nothing tells more, or the cause is found and nothing cheap unsettles it."""
    if not any(proposal.rate for proposal in left):
        return True
    if any(proposal.proves for proposal in left):
        return False
    cheap = (p.upset for p in left if p.minutes.m_as("min") <= CHEAP)
    return belief.sure and max(cheap, default=0.0) < _UPSET


def joint(belief: Belief, tests: Sequence[str]) -> tuple[Array, Ints]:
    """Probability of each cause with each reading of tests not yet made.

    Returns:
        The probabilities (T, h, G), and the numbers of the causes (h,).
    """
    causes = belief.likely
    chosen = np.array([belief.table.number[test] for test in tests], dtype=np.intp)
    chance = belief.expected(causes, chosen)
    return chance * scipy.special.softmax(belief.weights[causes])[:, None], causes


def _agreement(belief: Belief) -> tuple[Array, Ints]:
    """As `joint` for the tests read once: made again, they read the same or not: (T, h, 2)."""
    causes, single = belief.likely, [not mark.confirmed for mark in belief.marks]
    other = (1 - TWICE) * belief.misheard[single][:, causes]
    chance = np.stack([1 - other, other], axis=2)
    return chance * scipy.special.softmax(belief.weights[causes])[:, None], causes


def telling(belief: Belief, tests: Sequence[str]) -> Array:
    """Bits that tests not yet made tell of the site of the fault: (T,)."""
    return information(_grouped(belief, *joint(belief, tests)))


def information(both: Array) -> Array:
    """Bits that each test tells of the cause: (T,).

    Args:
        both: (T, h, readings) probability of each cause with each reading, sum 1 for a test.
    """
    cause, reading = both.sum(axis=2), both.sum(axis=1)
    nats = scipy.special.xlogy(both, both).sum(axis=(1, 2))
    nats -= scipy.special.xlogy(cause, cause).sum(axis=1) + scipy.special.xlogy(
        reading, reading
    ).sum(axis=1)
    return np.asarray(nats / np.log(2))


def _grouped(belief: Belief, both: Array, causes: Ints) -> Array:
    """The leading group as one cause, the first, then every other site as one.

    What else is broken besides can wait; which of its faults a site has, as well.
    """
    kind = np.array([-1 - k for k in range(len(causes))])
    for number, here in enumerate(belief.table.places.values()):
        kind[(kind < 0) & here[causes]] = number
    kind[belief.group[causes]] = -1 - len(causes)
    return np.asarray((np.unique(kind)[:, None] == kind).astype(np.float64) @ both)


def _upset(both: Array) -> Array:
    """Chance of a reading after which the odds of the first cause are below `SURE`: (T,)."""
    reading, share = both.sum(axis=1), both[:, 0]
    return np.asarray(np.where(share < SURE * (reading - share), reading, 0.0).sum(axis=1))


def _rivals(belief: Belief, tests: Sequence[str]) -> list[tuple[Cause, Cause] | None]:
    """The leader and the likely cause that each test tells from it, if any."""
    chosen = [belief.table.number[test] for test in tests]
    unlike = 1 - np.exp(belief.table.likeness[chosen, belief.leader])
    gain = np.where(belief.group, 0.0, np.exp(belief.weights) * unlike)
    causes, rival = belief.table.causes, gain.argmax(axis=1)
    return [
        (causes[belief.leader], causes[k]) if row[k] > 0 else None
        for row, k in zip(gain, rival, strict=True)
    ]
