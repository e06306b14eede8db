"""Which test comes next, what it costs, and when to stop."""

import numpy as np
import pytest
from circuit_samples import circuit
from test_diagnosis import GOOD, LAMP, cause, volts

from handsfree.diagnosis import Diagnosis, enough
from handsfree.diagnosis.choice import information, joint
from handsfree.meaning import Observation, Reading
from handsfree.units import ureg


@pytest.fixture(scope="module")
def diagnosis() -> Diagnosis:
    return Diagnosis.of(circuit(LAMP))


def test_information_by_hand():
    # Evens; the first test always tells which, the second never, the third is a binary
    # symmetric channel with one error in ten: 1 - H(0.1) = 0.531 bits (Cover & Thomas, 7.1.4).
    always, never = [[0.5, 0], [0, 0.5]], [[0.25, 0.25], [0.25, 0.25]]
    channel = [[0.45, 0.05], [0.05, 0.45]]
    assert information(np.array([always, never, channel])) == pytest.approx([1, 0, 0.531], abs=1e-3)


def test_information_is_what_readings_then_bring(diagnosis):
    """Expected fall of entropy, over readings drawn from the chances themselves."""
    belief = diagnosis.belief(GOOD[:1])
    both, causes = joint(belief, ["lights"])
    bits, before = information(both)[0], np.exp(belief.weights)[causes]
    rng, falls = np.random.default_rng(2), []
    for _ in range(300):
        cell = rng.choice(both.shape[2], p=both[0].sum(axis=0) / both.sum())
        mark = diagnosis.mark("lights", 0.0)
        after = np.exp(belief.after(type(mark)("lights", int(cell), mark.place)).weights)[causes]
        falls.append(_entropy(before) - _entropy(after))
    assert np.mean(falls) == pytest.approx(bits, abs=0.1)


def _entropy(p):
    p = p[p > 0] / p.sum()
    return -(p * np.log2(p)).sum()


def test_the_cost_counts_what_is_made_already(diagnosis):
    belief = diagnosis.belief(GOOD[:1])
    cold = {p.test: p for p in diagnosis.next_tests(belief, list(LAMP_TESTS))}
    warm = {
        p.test: p for p in diagnosis.next_tests(belief, list(LAMP_TESTS), ["trim off", "unplugged"])
    }
    assert cold["filament"].minutes == ureg.Quantity(7, "min")
    assert cold["filament"].first == ("trim off", "unplugged")
    assert warm["filament"].minutes == ureg.Quantity(1, "min")
    assert warm["filament"].ready == ("trim off", "unplugged")
    assert warm["lights"].undo == ("unplugged",)
    assert warm["lights"].minutes == ureg.Quantity(2, "min")
    assert cold["filament"].bits == pytest.approx(warm["filament"].bits)


LAMP_TESTS = ("at_plug", "middle", "state", "lights", "filament")


def test_the_reason_names_the_causes_that_are_told_apart(diagnosis):
    belief = diagnosis.belief([("lights", Observation("no"))])
    best = diagnosis.next_tests(belief, LAMP_TESTS)[0]
    assert best.test in ("at_plug", "state")
    assert {c.faults[0] for c in best.separates} <= {"lamp_open", "feed_open", "plug_open"}
    assert cause("lamp_open") in best.separates


def test_tests_that_tell_nothing_keep_the_order_of_the_plan(diagnosis):
    takes = [*GOOD, ("filament", Reading(ureg.Quantity(2.3, "Ω"))), *GOOD]
    left = diagnosis.next_tests(diagnosis.belief(takes), ["state", "lights"])
    assert [p.test for p in left if not p.rate and not p.again] == []
    other = Diagnosis.of(circuit(LAMP), pairs=0)
    mute = other.next_tests(other.belief([]), ["unknown", "lights"])
    assert [p.test for p in mute] == ["lights"]  # the plan's steps without a test are left out


def test_stop_when_sure_and_nothing_cheap_can_overturn_it(diagnosis):
    belief = diagnosis.belief([])
    assert not enough(belief, diagnosis.next_tests(belief, LAMP_TESTS))
    assert enough(belief, [])
    takes = [("at_plug", volts(12.01)), ("lights", Observation("no")), ("state", GOOD[2][1])]
    belief = diagnosis.belief([*takes, *takes])
    assert belief.sure
    left = diagnosis.next_tests(belief, ["middle", "filament"], [])
    assert enough(belief, left) == (
        max(p.upset for p in left if p.minutes <= ureg.Quantity(3, "min")) < 0.01
        if any(p.minutes <= ureg.Quantity(3, "min") for p in left)
        else True
    )


def test_a_wide_test_and_a_narrow_one_agree_with_their_common_distribution(diagnosis):
    """Before any reading, expected chances are those of the table."""
    table = diagnosis.table
    causes = np.arange(len(table.causes) - 1)
    everywhere = np.arange(len(table.tests))
    found = table.expected(causes, diagnosis.belief([]).samples[causes], everywhere)
    assert found.sum(axis=2) == pytest.approx(1, abs=1e-6)
    narrow = table.near[:, :-1] == 0
    common = (table.right + table.slip)[:, :-1]
    assert found[narrow] == pytest.approx(common[narrow])
    assert 0.5 * np.abs(found - common).sum(axis=2).max() < 0.45


def test_what_is_to_come_is_the_same_computed_once_or_for_some_alone():
    """The likely causes share one computation; a part of it is what the table says of the part."""
    diagnosis = Diagnosis.of(circuit(LAMP))
    belief = diagnosis.belief(GOOD[:2])
    left = np.array([t for t, n in enumerate(belief.table.tests) if n not in belief.made])
    for causes in (belief.likely, belief.likely[::2]):
        for tests in (left, left[:1]):
            alone = belief.table.expected(causes, belief.samples[causes], tests)
            assert belief.expected(causes, tests) == pytest.approx(alone, abs=1e-15)
