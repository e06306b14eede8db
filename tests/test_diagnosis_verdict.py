"""What may be said: found, suspected, not sure, no fault found here, none of these."""

import numpy as np
import pytest
from circuit_samples import circuit
from test_diagnosis import GOOD, LAMP, volts

from handsfree.diagnosis import Diagnosis, Verdict, bounded, verdict
from handsfree.diagnosis.proof import needed, proven, suspected
from handsfree.diagnosis.rehearsal import rehearse
from handsfree.meaning import Observation, Reading
from handsfree.plan import load_plan
from handsfree.units import ureg


@pytest.fixture(scope="module")
def diagnosis() -> Diagnosis:
    return Diagnosis.of(circuit(LAMP))


def said(diagnosis: Diagnosis, takes, left=None) -> Verdict:
    return verdict(diagnosis.belief(takes), diagnosis.circuit, left)


def sites(found: Verdict) -> set[str]:
    return {candidate.site for candidate in found.candidates}


def ohms(value):
    return Reading(ureg.Quantity(value, "Ω"))


OPEN_LAMP = [*GOOD[:3], ("lights", Observation("no")), ("filament", ohms(30e3))]


def test_odds_are_bounded_by_what_meter_and_ear_bear():
    """A chance of 2 % that the model itself is wrong bears 49 to 1 at most."""
    assert bounded(float("inf")) == pytest.approx(49)
    assert bounded(1e9) == pytest.approx(49)
    assert bounded(1.0) < 1.0
    assert [bounded(x) < bounded(x + 1) for x in (0.1, 5.0, 40.0)] == [True] * 3


def test_a_part_that_was_tested_itself_is_found(diagnosis):
    found = said(diagnosis, OPEN_LAMP)
    assert (found.kind, sites(found)) == ("found", {"lamp"})
    assert 20 <= found.odds <= 49


def test_a_part_that_was_not_tested_itself_is_a_suspicion_with_its_test(diagnosis):
    c = diagnosis.circuit
    lamp = c.fault("lamp_open")
    assert not proven(c, [lamp], {"middle", "state"})
    assert proven(c, [lamp], {"lights", "at_plug"})
    belief = diagnosis.belief([*GOOD[:2], ("filament", ohms(30e3)), ("filament", ohms(30e3))])
    if belief.site == "lamp" and belief.odds >= 20:
        assert "lights" in suspected(belief, c)


def test_each_end_of_a_wire_is_probed_before_the_wire_is_named(diagnosis):
    c = diagnosis.circuit
    assert all(needed(c, c.fault("plug_open")))
    feed = needed(c, c.fault("feed_open"))
    assert any("at_plug" in tests for tests in feed)


def test_not_sure_names_the_candidates_and_the_test_that_parts_them(diagnosis):
    found = said(diagnosis, [("lights", Observation("no"))])
    assert found.kind == "not sure"
    assert sites(found) & {"lamp", "feed", "plug contact 1"}
    assert found.next_test in ("at_plug", "state", "middle", "filament")


def test_if_no_test_is_left_that_is_said(diagnosis):
    found = said(diagnosis, [("lights", Observation("no"))], left=[])
    assert (found.kind, found.next_test) == ("not sure", None)


def test_a_sound_circuit_is_said_to_be_one(diagnosis):
    found = said(diagnosis, [*GOOD, ("filament", ohms(2.3))])
    assert (found.kind, found.candidates) == ("no fault", ())


def test_none_of_these_is_said(diagnosis):
    takes = [
        ("at_plug", volts(12.0)),
        ("middle", volts(10.3)),
        ("lights", Observation("yes")),
        ("filament", ohms(3300)),
    ]
    assert said(diagnosis, takes).kind in ("none of these", "not sure")


def test_a_repeated_reading_is_no_second_witness(diagnosis):
    """What is repeated rules out a slip of the ear only; the lead may still be wrong."""
    once = diagnosis.belief([("middle", volts(0.02))])
    twice = diagnosis.belief([("middle", volts(0.02)), ("middle", volts(0.02))])
    known = once.table.causes
    fault = next(k for k, c in enumerate(known) if c.faults == ("upper_open",))
    sound = next(k for k, c in enumerate(known) if c.kind == "no fault")
    ratio = [b.weights[fault] - b.weights[sound] for b in (once, twice)]
    independent = 2 * (ratio[0] - (once.table.prior[fault] - once.table.prior[sound]))
    assert ratio[1] - ratio[0] < 0.5 * independent
    assert np.exp(ratio[1] - ratio[0]) < 4


def test_faults_that_no_test_sees_are_told_with_no_fault():
    text = LAMP.replace("faults: [{mode: open, odds: 3}]}\nconditions", "faults: [{mode: open, "
                        "odds: 3}]}\n  spare: {kind: wire, between: [bat, x], resistance: 1 Ω, "
                        "faults: [{mode: open}]}\n  end: {kind: resistor, between: [x, bat], "
                        "resistance: 1 kΩ}\nconditions")  # fmt: skip
    assert "spare" in text
    found = said(Diagnosis.of(circuit(text)), [*GOOD, ("filament", ohms(2.3))])
    assert [fault.id for fault in found.blind] == ["spare_open"]


def test_a_fan_and_the_contacts_of_its_plug_are_two_parts():
    """Nothing in reach tells the motor from a contact of its plug: both are named, and checked."""
    plan = load_plan("relay-4pin").plan
    assert plan.circuit is not None
    tests = [step.id for step in plan.steps if step.phase == "test"]
    meter = plan.meter
    every = rehearse(plan.circuit, tests, meter, pairs=0, samples=20)
    said = next(r.said for r in every if r.fault.id == "fan_connector_open_1")
    assert said.kind in ("found", "suspicion")
    assert {one.fault.part for one in said.candidates} == {"fan", "fan connector"}
