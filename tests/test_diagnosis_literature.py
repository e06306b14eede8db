"""The diagnosis against worked examples of the literature."""

from itertools import chain, combinations, permutations, product
from types import SimpleNamespace

import numpy as np
import pytest

from handsfree.diagnosis import Belief, Cause
from handsfree.diagnosis.belief import Mark
from handsfree.diagnosis.choice import information, joint, proposals
from handsfree.diagnosis.table import Table
from handsfree.units import ureg

# Exact readings have chances of nought, which a circuit never has.
pytestmark = pytest.mark.filterwarnings("ignore::RuntimeWarning")

# de Kleer & Williams, "Diagnosing multiple faults", Artificial Intelligence 32 (1987): three
# multipliers and two adders, A = 3, B = 2, C = 2, D = 3, E = 3: X = A·C, Y = B·D, Z = C·E,
# F = X + Y, G = Y + Z.  A broken part gives any value.  Example and results from memory.

PARTS = ("M1", "M2", "M3", "A1", "A2")
POINTS = ("X", "Y", "Z", "F", "G")
BROKEN, VALUES = 0.01, 25  # prior of each part (as in the paper); a broken one gives 0 to 24


def polybox(broken: dict[str, int]) -> tuple[int, ...]:
    """Values at the five points when broken parts give these values."""
    x, y, z = (broken.get(part, 6) for part in ("M1", "M2", "M3"))
    return x, y, z, broken.get("A1", x + y), broken.get("A2", y + z)


def exact(causes, tests, weights, readings, cells) -> Table:
    """A table of causes with exact readings: (H, T) cells, no slips."""
    h, t = readings.shape
    right = np.zeros((t, h, cells))
    right[np.arange(t), np.arange(h)[:, None], readings] = 1.0
    return Table(
        causes=tuple(causes),
        tests=tuple(tests),
        prior=np.log(np.array(weights) / sum(weights)),
        right=right,
        slip=np.zeros_like(right),
        anything=np.zeros((t, cells)),
        place=np.zeros((t, h, 1)),
        near=np.zeros((t, h)),
        walls=np.zeros((t, cells + 1)),
        unknown=np.zeros(1),
        open_ended=False,
    )


@pytest.fixture(scope="module")
def boxes() -> tuple[list[frozenset[str]], Belief]:
    """What is broken in each cause, and the belief after F = 10 and G = 12.

    One cause for every set of up to two broken parts and every value that they may give.
    """
    sets, weights, readings = [], [], []
    for broken in chain.from_iterable(combinations(PARTS, n) for n in range(3)):
        for values in product(range(VALUES), repeat=len(broken)):
            sets.append(frozenset(broken))
            prior = BROKEN ** len(broken) * (1 - BROKEN) ** (5 - len(broken))
            weights.append(prior / VALUES ** len(broken))
            readings.append(polybox(dict(zip(broken, values, strict=True))))
    causes = [Cause("fault", tuple(sorted(broken))) for broken in sets]
    table = exact(causes, POINTS, weights, np.array(readings), 2 * VALUES)
    return sets, Belief(table).after(Mark("F", 10)).after(Mark("G", 12, 1e6))


def possible(boxes) -> dict[frozenset[str], float]:
    sets, belief = boxes
    found: dict[frozenset[str], float] = {}
    for broken, probability in zip(sets, np.exp(belief.weights), strict=True):
        found[broken] = found.get(broken, 0.0) + probability
    return {broken: p for broken, p in found.items() if p > 0}


def minimal(sets) -> set[frozenset[str]]:
    return {one for one in sets if not any(other < one for other in sets)}


def test_polybox_minimal_diagnoses(boxes):
    expected = [{"A1"}, {"M1"}, {"A2", "M2"}, {"M2", "M3"}]
    assert minimal(possible(boxes)) == set(map(frozenset, expected))


def test_polybox_minimal_conflicts(boxes):
    """Parts that cannot all be sound."""
    left = possible(boxes)
    every = chain.from_iterable(combinations(PARTS, n) for n in range(6))
    conflicts = {frozenset(c) for c in every if not any(broken.isdisjoint(c) for broken in left)}
    assert minimal(conflicts) == {
        frozenset({"A1", "M1", "M2"}),
        frozenset({"A1", "A2", "M1", "M3"}),
    }


def test_polybox_single_faults_are_likeliest_and_alike(boxes):
    left = possible(boxes)
    a1, m1 = left[frozenset({"A1"})], left[frozenset({"M1"})]
    assert a1 == pytest.approx(m1)
    assert a1 + m1 > 0.98
    # By hand: a second fault costs p / (1 - p) and the one value of 25 that it must give.
    pair = left[frozenset({"M2", "M3"})]
    assert pair / a1 == pytest.approx(BROKEN / (1 - BROKEN) / VALUES)


def test_polybox_next_measurement(boxes):
    """X tells A1 from M1; Y and Z only tell the rare double faults (from memory, section 4)."""
    sets, belief = boxes
    both, kept = joint(belief, ("X", "Y", "Z"))
    broken = sorted({tuple(sorted(sets[k])) for k in kept})
    rows = np.array([broken.index(tuple(sorted(sets[k]))) for k in kept])
    by_set = np.zeros((3, len(broken), both.shape[2]))
    np.add.at(by_set, (slice(None), rows), both)
    x, y, z = information(by_set)
    assert x == pytest.approx(1.0, abs=0.05)  # by hand: X is 6 or 4, evens
    assert max(y, z) < 0.05


# Heckerman, Breese & Rommelse, "Decision-theoretic troubleshooting", CACM 38 (1995), from
# memory: with one fault, and parts looked at one by one at costs C, the least expected cost
# Σ C_i · (1 - Σ_{j<i} p_j) is reached by falling p / C.


def expected_cost(order, p, cost) -> float:
    """Minutes until the faulty part is looked at."""
    spent, left = 0.0, 1.0
    for part in order:
        spent += cost[part] * left
        left -= p[part]
    return spent


def looks(p, cost):
    """One cause a part; a test a part that shows whether it is the one; the cost of each."""
    tests = [f"look_{k}" for k in range(len(p))]
    causes = [Cause("fault", (test,)) for test in tests]
    table = exact(causes, tests, p, 1 - np.eye(len(p), dtype=int), 2)
    minutes = dict(zip(tests, cost, strict=True))
    circuit = SimpleNamespace(
        tests=dict.fromkeys(tests, SimpleNamespace(setups=())),
        faults=(),
        cost=lambda test, made: (ureg.Quantity(minutes[test], "min"), made),
    )
    return table, circuit, tests


def chosen_order(p, cost) -> list[int]:
    """The order in which parts are looked at until only one is left."""
    table, circuit, tests = looks(p, cost)
    belief, order = Belief(table), []
    while len(order) < len(p) - 1:
        left = [test for test in tests if tests.index(test) not in order]
        best = next(x for x in proposals(belief, circuit, left, frozenset()) if not x.again)
        order.append(tests.index(best.test))
        belief = belief.after(Mark(best.test, 1, 10.0 * len(order)))
    return [*order, *set(range(len(p))) - set(order)]


def test_expected_cost_by_hand():
    # p / C: 0.2, 0.3, 0.1.  Second, first, third: 1 + 0.7·3 + 0.1·1 = 3.2 minutes.
    p, cost = (0.6, 0.3, 0.1), (3.0, 1.0, 1.0)
    assert expected_cost((1, 0, 2), p, cost) == pytest.approx(3.2)
    best = min(permutations(range(3)), key=lambda order: expected_cost(order, p, cost))
    assert best == (1, 0, 2)


@pytest.mark.parametrize(
    ("p", "cost"),
    [((0.4, 0.3, 0.2, 0.1), (1, 1, 1, 1)), ((0.25, 0.25, 0.25, 0.25), (4, 1, 3, 2))],
)
def test_likeliest_first_and_cheapest_first(p, cost):
    """Where the theorem leaves no doubt, information a minute leads the same way."""
    ratio = sorted(range(4), key=lambda k: -p[k] / cost[k])
    assert chosen_order(p, cost)[0] == ratio[0]
    assert expected_cost(chosen_order(p, cost), p, cost) == pytest.approx(
        expected_cost(ratio, p, cost), rel=0.05
    )


def test_close_to_the_best_order():
    """Minutes by information against the best of all orders; the last part needs no look."""
    rng, ratios = np.random.default_rng(7), []
    for _ in range(60):
        p, cost = rng.dirichlet(np.ones(4)), rng.uniform(0.5, 8, 4)
        best = min(_until_known(order, p, cost) for order in permutations(range(4)))
        ratios.append(_until_known(chosen_order(p, cost), p, cost) / best)
    assert np.mean(ratios) < 1.05


def _until_known(order, p, cost) -> float:
    """Minutes until the faulty part is known: looked at, or the only one left."""
    *looked, _ = order
    return expected_cost(looked, p, cost)
