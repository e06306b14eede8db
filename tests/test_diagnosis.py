"""Weighing readings: chances, slips, groups, evidence, and what the technician's takes count."""

import math

import numpy as np
import pytest
from circuit_samples import circuit
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.circuit import Meter
from handsfree.diagnosis import (
    NONE_OF_THESE,
    SOUND,
    SURE,
    Belief,
    Cause,
    Diagnosis,
    bounded,
    explain,
    simulate_jobs,
)
from handsfree.diagnosis.axis import axis_of
from handsfree.diagnosis.hearing import mishearings
from handsfree.diagnosis.synthetic import draw, mishear
from handsfree.meaning import Observation, Reading, State
from handsfree.units import ureg

# A lamp on a switched feed through a connector, and a divider that reads the feed.
LAMP = """
parts:
  feed:
    {kind: wire, between: [bat, a], resistance: 0.1 Ω,
     faults: [{mode: open, odds: 2}, {mode: high resistance, resistance: 100 Ω to 20 kΩ, odds: 1}]}
  plug: {kind: connector, pins: {1: [a, b]}, faults: [{mode: open, odds: 1}]}
  upper: {kind: resistor, between: [b, m], resistance: 10 kΩ ± 5 %, faults: [{mode: open, odds: 1}]}
  lower: {kind: resistor, between: [m, gnd], resistance: 20 kΩ ± 5 %,
          faults: [{mode: open, odds: 1}, {mode: short to ground, node: m, odds: 1}]}
  lamp: {kind: lamp, between: [b, gnd], rated_voltage: 12 V, rated_power: 5 W,
         faults: [{mode: open, odds: 3}]}
conditions: {"on": {}, "off": {battery: "off", plug: unplugged}}
setups: {trim off: {minutes: 5 min}, unplugged: {minutes: 1 min, undo: 1 min}}
tests:
  at_plug: {condition: "on", measures: voltage, red: b, black: gnd}
  middle: {condition: "on", measures: voltage, red: m, black: gnd, setups: [trim off]}
  state: {condition: "on", measures: voltage, red: b, black: gnd,
          words: {battery: 9 V to 16 V, ground: -1 V to 1 V}}
  lights: {condition: "on", observes: lamp, answers: ["yes", "no"]}
  filament: {condition: "off", measures: resistance, red: b, black: gnd,
             setups: [trim off, unplugged]}
"""


@pytest.fixture(scope="module")
def diagnosis() -> Diagnosis:
    return Diagnosis.of(circuit(LAMP))


def volts(value):
    return Reading(ureg.Quantity(value, "V"))


def cause(*faults):
    return Cause("fault", faults)


def leader(belief: Belief) -> Cause:
    return belief.table.causes[belief.leader]


GOOD = [
    ("at_plug", volts(11.96)),
    ("middle", volts(7.97)),
    ("state", State("battery")),
    ("lights", Observation("yes")),
]


# Chances -----------------------------------------------------------------------------------


def test_chances_of_a_test_sum_to_one_under_every_cause(diagnosis):
    table = diagnosis.table
    assert (table.right + table.slip).sum(axis=2) == pytest.approx(1)
    assert (table.slip > 0).sum(axis=2).min() > 1  # no reading is impossible
    assert np.exp(table.prior).sum() == pytest.approx(1)


def test_shares_agree_with_the_display_of_a_meter():
    """Monte Carlo (JCGM 101:2008): a million readings of a value within ±3 %."""
    meter, rng = Meter(), np.random.default_rng(4)
    test = circuit(LAMP).tests["at_plug"]
    samples = np.linspace(11.64, 12.36, 200)[None]
    axis = axis_of(test, meter, samples)
    shown = meter.show("voltage", rng.uniform(11.64, 12.36, (1, 1_000_000)), rng)
    ours, theirs = axis.shares(samples)[0], axis.count_in(shown)[0]
    assert ours.sum() == pytest.approx(1)
    assert 0.5 * np.abs(ours - theirs).sum() < 0.06  # total variation


@settings(deadline=None)
@given(st.integers(8, 200), st.integers(0, 99))
def test_few_samples_of_a_wide_distribution_leave_no_hole(samples, seed):
    rng = np.random.default_rng(seed)
    test = circuit(LAMP).tests["at_plug"]
    values = np.exp(rng.uniform(np.log(0.1), np.log(10), (1, samples)))
    axis = axis_of(test, Meter(), values)
    shares = axis.shares(values)[0]
    inside = shares[axis.cell(np.array(values.min())) : axis.cell(np.array(values.max())) + 1]
    assert (inside > 0).all()


@pytest.mark.parametrize(
    ("said", "heard"),
    [(1500, 5000), (5000, 1500), (1260, 1660), (498, 4980), (498, 49.8), (7, 1), (-120, -170)],
)
def test_what_a_number_may_be_heard_as(said, heard):
    """Fifteen for fifty, another digit, a point that slips: common practice, no source."""
    values, weights = mishearings(np.array([float(said)]))
    assert weights.sum() == pytest.approx(1)
    assert weights[0, np.isclose(values[0], heard)].sum() > 0
    assert weights[0, np.isclose(values[0], said)].sum() == 0


# Belief ------------------------------------------------------------------------------------


def test_a_sound_circuit(diagnosis):
    found = diagnosis.belief(GOOD)
    assert leader(found) == SOUND


@settings(deadline=None, max_examples=20)
@given(st.permutations(GOOD))
def test_the_order_of_readings_does_not_matter(diagnosis, takes):
    assert diagnosis.belief(takes).weights == pytest.approx(diagnosis.belief(GOOD).weights)


def test_a_reading_that_all_causes_expect_changes_nothing(diagnosis):
    """In a circuit whose faults all leave the battery alone."""
    text = LAMP.replace("tests:", "tests:\n  battery: {condition: 'on', measures: voltage, "
                        "red: bat, black: gnd}")  # fmt: skip
    other = Diagnosis.of(circuit(text), pairs=0)
    before = other.belief([]).weights
    after = other.belief([("battery", volts(12.0))]).weights
    assert after[:-1] - before[:-1] == pytest.approx(after[0] - before[0], abs=0.02)


def test_an_open_lamp_and_what_speaks_for_it(diagnosis):
    filament = Reading(ureg.Quantity(30, "kΩ"))  # the divider alone
    takes = [*GOOD[:3], ("lights", Observation("no")), ("filament", filament)]
    found = diagnosis.belief(takes)
    told = explain(found, diagnosis.circuit)
    first = told.ranking[0]
    assert (first.cause, first.faults[0].say) == (cause("lamp_open"), "lamp open")
    assert told.sure
    assert told.odds > SURE
    ratio = {e.test: e.ratio for e in first.evidence}
    assert ratio["lights"] > 3
    assert ratio["filament"] > 3
    sound = next(r for r in explain(found, diagnosis.circuit, 30).ranking if r.cause == SOUND)
    assert {e.test: e.ratio < 0.2 for e in sound.evidence}["lights"]


def test_factors_lead_from_the_prior_odds_to_those_now(diagnosis):
    found = diagnosis.belief(GOOD)
    for one in explain(found, diagnosis.circuit).ranking:
        prior = math.exp(found.table.prior[found.table.causes.index(one.cause)])
        product = math.prod(e.factor for e in one.evidence)
        assert bounded(prior / (1 - prior) * product) == pytest.approx(one.odds)


def test_what_no_test_can_tell_apart(diagnosis):
    """An open feed and an open plug read the same everywhere."""
    found = diagnosis.belief([("at_plug", volts(0.0)), ("lights", Observation("no"))])
    told = explain(found, diagnosis.circuit)
    assert set(told.group) == {cause("feed_open"), cause("plug_open")}
    assert set(told.group) <= set(told.undecided)


def test_tests_made_so_far_may_leave_more_undecided(diagnosis):
    told = explain(diagnosis.belief(GOOD[:1]), diagnosis.circuit)
    assert {cause("lamp_open"), cause("upper_open")} <= set(told.undecided)
    assert set(told.group) < set(told.undecided)


def test_no_fault_of_the_plan_explains_it(diagnosis):
    takes = [
        ("at_plug", volts(12.0)),
        ("middle", volts(10.3)),
        ("state", State("ground")),
        ("lights", Observation("yes")),
        ("filament", Reading(ureg.Quantity(3.3, "kΩ"))),
    ]
    assert leader(diagnosis.belief(takes)) == NONE_OF_THESE


def test_the_size_of_a_bad_contact_is_learnt_from_one_reading(diagnosis):
    """5 kΩ in the feed: with 4.7 V at the plug... the divider gives two thirds of it."""
    table, causes = diagnosis.table, diagnosis.table.causes
    bad = np.array([causes.index(cause("feed_high_resistance"))])
    middle = np.array([table.number["middle"]])
    before = table.expected(bad, diagnosis.belief([]).samples[bad], middle)[0, 0]
    found = diagnosis.belief([("at_plug", volts(0.05))])
    after = table.expected(bad, found.samples[bad], middle)[0, 0]
    assert (after[after > 0] * np.log(after[after > 0])).sum() > (
        before[before > 0] * np.log(before[before > 0])
    ).sum() + 0.3


# One bad number ----------------------------------------------------------------------------


@pytest.mark.parametrize("fault", [(), ("lamp_open",), ("upper_open",), ("feed_open",)])
def test_one_bad_number_never_convicts_a_part(diagnosis, fault):
    """Any reading of any test, in place of the right one, among the readings of a known cause."""
    c = diagnosis.circuit
    right = draw(c, fault, 1, np.random.default_rng(3), Meter())[:, 0]
    true = Cause("fault", fault) if fault else SOUND
    for bad, test in enumerate(c.tests):
        cells = len(diagnosis.axes[test].walls) - 1
        for cell in range(cells):
            belief = diagnosis.belief([])
            for t, name in enumerate(c.tests):
                mark = diagnosis.mark(name, right[t])
                if t == bad:
                    mark = type(mark)(name, cell, mark.place + 1e6)
                belief = belief.after(mark)
            group = [belief.table.causes[k] for k in np.flatnonzero(belief.group)]
            assert true in group or leader(belief) == SOUND or not belief.sure, (test, cell)


def test_a_verdict_that_hangs_on_one_reading_is_not_sure(diagnosis):
    """An open filament by one reading: it is proposed again, and confirmed by it."""
    takes = [*GOOD[:2], ("filament", Reading(None)), ("lights", Observation("no"))]
    once = diagnosis.belief(takes)
    assert once.odds > SURE or not once.sure
    for test in once.pivots:
        assert any(p.test == test and p.again for p in diagnosis.next_tests(once, []))


def test_the_same_reading_twice_confirms_it(diagnosis):
    takes = [("lights", Observation("no")), *GOOD[:2]]
    once, twice = diagnosis.belief(takes), diagnosis.belief([*takes, takes[0]])
    lamp = once.table.causes.index(cause("lamp_open"))
    assert twice.weights[lamp] > once.weights[lamp]
    assert [mark.confirmed for mark in twice.marks] == [False, False, True]


def test_a_correction_takes_the_place_of_the_reading_before_it(diagnosis):
    corrected = diagnosis.belief([("at_plug", volts(2.0)), *GOOD])
    assert corrected.weights == pytest.approx(diagnosis.belief(GOOD).weights)
    later = diagnosis.belief([*GOOD, ("at_plug", volts(2.0))])
    assert len(later.marks) == len(GOOD) + 1


def test_a_slip_is_told(diagnosis):
    takes = [("at_plug", volts(1.196)), *GOOD[1:], ("filament", Reading(ureg.Quantity(2.3, "Ω")))]
    told = explain(diagnosis.belief(takes), diagnosis.circuit)
    assert told.ranking[0].cause == SOUND
    assert told.slips == ("at_plug",)


# Takes -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("test", "take", "value"),
    [
        ("at_plug", Reading(ureg.Quantity(4980, "mV")), 4.98),
        ("at_plug", Reading(ureg.Quantity(4, "Ω")), None),
        ("at_plug", Reading(None), None),
        ("at_plug", State("battery"), None),
        ("filament", Reading(None), math.inf),
        ("filament", State("open"), math.inf),
        ("filament", Reading(ureg.Quantity(1.2, "kΩ")), 1200),
        ("state", State("ground"), 1),
        ("state", State("pulsing"), 2),
        ("lights", Observation("no"), 1),
        ("lights", Observation("perhaps"), None),
        ("elsewhere", volts(1), None),
    ],
)
def test_what_a_take_says(diagnosis, test, take, value):
    assert diagnosis.reading(test, take) == (value if value is None else pytest.approx(value))


def test_takes_that_say_nothing_are_left_out(diagnosis):
    assert diagnosis.belief([("elsewhere", volts(1)), ("lights", volts(1))]).marks == ()


# Made-up readings --------------------------------------------------------------------------


def test_a_made_up_job_is_seeded_and_has_a_take_for_every_test():
    c = circuit(LAMP)
    job = simulate_jobs(c, ("lamp_open",), 5)
    assert [s.test for s in job] == list(c.tests)
    assert job == simulate_jobs(c, ("lamp_open",), 5)
    assert job != simulate_jobs(c, ("lamp_open",), 6)
    takes = {s.test: s.shown for s in job}
    assert takes["lights"] == Observation("no")
    assert takes["state"] == State("battery")
    assert takes["at_plug"].value.to("V").magnitude == pytest.approx(12, abs=0.2)


def test_two_numbers_in_a_hundred_are_misheard():
    c, rng = circuit(LAMP), np.random.default_rng(1)
    shown = draw(c, (), 4000, rng)
    heard = mishear(c, shown, 0.02, rng)
    numbers = [t for t, test in enumerate(c.tests.values()) if test.measures and not test.words]
    share = (shown != heard)[numbers].mean()
    assert share == pytest.approx(0.02, abs=0.005)
    assert (shown == heard)[[t for t in range(len(c.tests)) if t not in numbers]].all()
