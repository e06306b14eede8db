"""The ranking of causes, with the readings that speak for and against each."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from handsfree.circuit.model import Circuit, Fault
from handsfree.circuit.values import Array
from handsfree.diagnosis.belief import SURE, Belief, bounded
from handsfree.diagnosis.causes import Cause
from handsfree.diagnosis.verdict import Verdict, verdict

_SLIP = 0.5  # chance from which a reading is called a slip


@dataclass(frozen=True, slots=True)
class Evidence:
    """What one reading says of a cause.

    Attributes:
        test: id of the step.
        factor: by how much it changed the odds of the cause when it came; all factors
            together lead from the prior odds to those now, before these are bounded.
        ratio: how many times likelier the reading is under this cause than under the best
            explanation without it, given the other readings; above 1 it speaks for the cause.
        slip: chance that it is mis-heard or taken in the wrong place, if this is the cause.
    """

    test: str
    factor: float
    ratio: float
    slip: float


@dataclass(frozen=True, slots=True)
class Ranked:
    """A cause and what the readings say of it.

    Attributes:
        cause: it.
        faults: its faults as the plan has them, with `say`, `unit` and `repair`.
        odds: of this cause and no other fault against all others: 20.0 is twenty to one; never
            above 49.
        evidence: of each reading, in the order made.
    """

    cause: Cause
    faults: tuple[Fault, ...]
    odds: float
    evidence: tuple[Evidence, ...]


@dataclass(frozen=True, slots=True)
class Explanation:
    """What the readings so far say.

    Attributes:
        ranking: the causes, likeliest first.
        sure: the first group is found: its odds are over `SURE` and hang on no one reading.
        group: likely causes that no test of the plan can tell from the first, that one included.
        odds: of what is said: those of the verdict.
        undecided: likely causes that the tests made so far cannot tell from the first.
        pivots: readings on which the verdict hangs; worth taking again.
        slips: readings that the first cause explains as slips only; worth taking again.
        verdict: what may be said.
    """

    ranking: tuple[Ranked, ...]
    sure: bool
    group: tuple[Cause, ...]
    odds: float
    undecided: tuple[Cause, ...]
    pivots: tuple[str, ...]
    slips: tuple[str, ...]
    verdict: Verdict


def explain(
    belief: Belief, circuit: Circuit, most: int = 5, left: Collection[str] | None = None
) -> Explanation:
    """Rank the causes.

    Args:
        belief: what the readings so far say.
        circuit: names the faults.
        most: how many causes to list.
        left: tests that can still be made; those not made, if not given.
    """
    causes = belief.table.causes
    order = np.argsort(-belief.weights - 1e9 * (np.arange(len(causes)) == belief.leader))
    faults = {fault.id: fault for fault in circuit.faults}
    ranking = tuple(_ranked(belief, faults, int(cause)) for cause in order[:most])
    likely = [k for k in order if belief.weights[k] >= belief.weights.max() - np.log(SURE)]
    always = belief.alike(belief.leader)
    so_far = belief.alike(belief.leader, belief.made)
    said = verdict(belief, circuit, left)
    return Explanation(
        ranking=ranking,
        sure=belief.sure,
        group=tuple(causes[k] for k in likely if always[k]),
        odds=said.odds,
        undecided=tuple(causes[k] for k in likely if so_far[k]),
        pivots=belief.pivots,
        slips=tuple(e.test for e in ranking[0].evidence if e.slip >= _SLIP),
        verdict=said,
    )


def _ranked(belief: Belief, faults: Mapping[str, Fault], cause: int) -> Ranked:
    here = belief.table.causes[cause]
    return Ranked(
        cause=here,
        faults=tuple(faults[fault] for fault in here.faults),
        odds=bounded(float(_odds(belief.weights, cause))),
        evidence=tuple(_evidence(belief, cause)),
    )


def _evidence(belief: Belief, cause: int) -> Iterator[Evidence]:
    if not belief.marks:
        return
    others = np.where(belief.alike(cause) | belief.with_more(cause), -np.inf, belief.weights)
    factor = np.diff(np.log(_odds(belief.course, cause)))
    told = belief.weights - belief.without
    ratio = np.exp(told[:, cause] - told[:, int(others.argmax())])
    columns = zip(belief.marks, np.exp(factor), ratio, belief.slips[:, cause], strict=True)
    for mark, *numbers in columns:
        yield Evidence(mark.test, *map(float, numbers))


def _odds(weights: Array, cause: int) -> Array:
    others = np.maximum(-np.expm1(weights[..., cause]), 1e-12)
    return np.asarray(np.exp(weights[..., cause]) / others)
