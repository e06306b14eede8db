"""Readings under conditions and faults: by hand, against ngspice, and for every part."""

import math

import numpy as np
import pytest
from circuit_samples import circuit, flap
from circuit_spice import compare, needs_ngspice, operating_points

from handsfree.circuit.faults import WrongPin
from handsfree.circuit.meter import Meter
from handsfree.circuit.solve import predict, simulate, single_faults
from handsfree.circuit.template import Template


def nominal(c, *faults):
    """Readings of the nominal circuit with the faults: test id to value."""
    found = simulate(c, [faults], samples=1)
    return dict(zip(found.tests, found.values[0, :, 0], strict=True))


# The whole path against ngspice ----------------------------------------------------------


@needs_ngspice
def test_the_flap_actuator_agrees_with_ngspice_under_every_fault(tmp_path):
    assert compare(flap(), tmp_path) > 300


@needs_ngspice
def test_lamps_and_diodes_agree_with_ngspice_under_every_fault(tmp_path):
    c = circuit("""
parts:
  fuse: {kind: fuse, between: [bat, f], faults: [{mode: open}]}
  relay: {kind: relay, coil: [f, k], resistance: 80 Ω, pull_in: 7 V, common: f, normally_open: out,
          faults: [{mode: high resistance, at: normally open, resistance: 5 Ω},
                   {mode: open, at: coil}, {mode: stuck, state: pulled}]}
  suppressor: {kind: diode, between: [k, f], faults: [{mode: short}, {mode: open}]}
  module: {kind: driver, output: k, ground: gnd, faults: [{mode: stuck, state: low}]}
  lamp: {kind: lamp, between: [out, e], rated_voltage: 12 V, rated_power: 21 W,
         faults: [{mode: open}, {mode: short to ground}]}
  marker: {kind: diode, between: [out, m], faults: [{mode: short}]}
  led: {kind: resistor, between: [m, gnd], resistance: 680 Ω}
  earth: {kind: wire, between: [e, gnd], resistance: 5 mΩ,
          faults: [{mode: high resistance, resistance: 3 Ω}, {mode: open}]}
conditions: {off: {}, on: {module: low}}
tests: {}
""")
    assert compare(c, tmp_path) > 25


# Written by hand from the drawing, not from the model: 12.5 V battery, ignition switch of 10 mΩ,
# 3 m and 1 m of 1.5 mm², drivers of 0.4 Ω, contacts of 5 mΩ, 2.5 m of 0.5 mm², motor running at
# 70 mA, flap at 88 %, wiper between 10 and 100 Ω, a 10 MΩ meter on the feedback.
FLAP_HEATING = """* flap actuator, heating up
.options reltol=1e-9 gmin=1e-15
vbat bi 0 12.5
rbat bi bat 15m
rkey bat ign 10m
rfeed ign mp {3/58/1.5}
rearth mm 0 {1/58/1.5}
vref ri mm 5
rref ri m5 20
rsg m3 mm 0.5
rfb m4 mm 220k
rbridge mp br 20m
rhot br m1 0.4
rcold m2 mm 0.4
rm1 m1 h1 5m
rm2 m2 h2 5m
rm3 m3 h3 5m
rm4 m4 h4 5m
rm5 m5 h5 5m
rw1 h1 p1 {2.5/58/0.5}
rw2 h2 p2 {2.5/58/0.5}
rw3 h3 p3 {2.5/58/0.5}
rw4 h4 p4 {2.5/58/0.5}
rw5 h5 p5 {2.5/58/0.5}
rc1 p1 a1 5m
rc2 p2 a2 5m
rc3 p3 a3 5m
rc4 p4 a4 5m
rc5 p5 a5 5m
imot a1 a2 70m
rup a5 t {5000*0.12}
rlo t a3 {5000*0.88}
rwip t a4 {sqrt(1000)}
rmeter p4 0 10meg
.end
"""


@needs_ngspice
def test_a_hand_written_deck_gives_the_same_readings(tmp_path):
    (theirs,) = operating_points([FLAP_HEATING], tmp_path)
    # The same condition with numbers read instead of words.
    c = flap()
    probe = c.tests["feedback_hot"].model_copy(update={"condition": "heating_up"})
    tests = {pin: probe.model_copy(update={"red": f"pin {pin}"}) for pin in "12345"}
    ours = nominal(c.model_copy(update={"tests": tests}))
    # The leakage of the insulation and the meter on pin 4 are a few parts in a million.
    for pin in "12345":
        assert ours[pin] == pytest.approx(theirs[f"p{pin}"], rel=1e-5, abs=3e-6)


# What an expert knows of this circuit (common practice, no published source) ---------------


@pytest.mark.parametrize(
    ("fault", "test", "low", "high"),
    [
        ("motor_open", "motor_winding", math.inf, math.inf),
        ("sensor_ground_wire_open", "sensor_ground", 4.5, 5.1),  # floats up to the reference
        ("sensor_ground_wire_open", "feedback_cold", 4.5, 5.1),
        ("sensor_ground_wire_open", "ground_wire", math.inf, math.inf),
        ("feedback_wire_open", "feedback_hot", 4.3, 4.6),  # back-probed at the actuator
        ("reference_wire_open", "reference", -0.01, 0.01),
        ("reference_wire_short_to_ground", "reference_to_ground", 0.0, 2.0),
        ("reference_wire_short_to_supply", "reference", 11, 13),
        ("reference_weak", "reference_unplugged", 1.5, 4.0),
        ("position_short", "reference_unplugged", 4.9, 5.1),  # right once it is unplugged
        ("position_short", "reference", 0, 4.8),
        ("module_feed_open", "reference", -0.01, 0.01),
        ("motor_jammed", "motor_current", 0.2, 0.5),
        ("battery_weak", "battery_voltage", 9, 11.5),
        ("position_open_wiper", "wiper", math.inf, math.inf),
        ("position_worn_segment", "sweep_half", 2.4, 2.6),
    ],
)
def test_faults_read_as_the_trade_knows_them(fault, test, low, high):
    assert low <= nominal(flap(), fault)[test] <= high


def test_observations_and_words():
    c = flap()

    def says(test, *faults):
        return dict(enumerate(c.tests[test].outcomes)).get(int(nominal(c, *faults)[test]))

    assert says("shaft_turns") == "it turns"
    assert says("shaft_turns", "motor_open") == "nothing"
    assert says("shaft_turns", "bridge_supply_open") == "nothing"
    assert says("shaft_turns", "shaft_slipping") == "only noise"
    assert says("shaft_turns", "flap_jammed") == "it turns"  # off the flap, it turns
    assert says("flap_moves", "shaft_slipping") == "yes"
    assert says("flap_moves", "flap_jammed") == "no"
    assert says("hot_drive_heating") == "battery"
    assert says("hot_drive_heating", "hot_driver_open_high") == "ground"  # through the motor
    assert says("hot_drive_heating", "hot_drive_wire_high_resistance") is None
    assert says("hot_drive_switches") == "switches to supply"
    assert says("hot_drive_switches", "hot_driver_open_low") == "unchanged"
    assert says("hot_drive_switches", "bridge_supply_open") == "unchanged"


def test_the_position_is_that_of_the_condition_before():
    good, stuck = nominal(flap()), nominal(flap(), "flap_jammed")
    assert good["feedback_cold"] < 1 < 4 < good["feedback_hot"]
    assert good["sweep_half"] == pytest.approx(2.475, abs=0.03)
    # A jammed flap stays where it was, halfway in the nominal sample.
    assert stuck["feedback_cold"] == stuck["feedback_hot"] == pytest.approx(2.475, abs=0.03)


def test_two_faults_at_once():
    both = nominal(flap(), "motor_open", "reference_wire_open")
    assert both["motor_winding"] == math.inf
    assert both["reference"] == pytest.approx(0, abs=0.01)


def test_a_wrong_pin_reads_the_other_wire():
    plain, wrong = nominal(flap()), nominal(flap(), "wrong_pin_pin_4_for_pin_5")
    assert isinstance(flap().fault("wrong_pin_pin_4_for_pin_5").mode, WrongPin)
    assert plain["reference"] == pytest.approx(4.98, abs=0.02)
    assert wrong["reference"] == pytest.approx(2.475, abs=0.05)
    assert wrong["feedback_hot"] == plain["feedback_hot"]


def test_samples_are_seeded_shared_and_within_tolerance():
    c = flap()
    a = simulate(c, samples=50, rng=np.random.default_rng(3))
    b = simulate(c, samples=50, rng=np.random.default_rng(3))
    assert np.array_equal(a.values, b.values)
    assert a.values.shape == (len(a.hypotheses), len(c.tests), 50)
    track = a.values[0, a.tests.index("track")]
    assert track.min() >= 0.85 * 5000 * 0.999
    assert track.max() <= 1.15 * 5000 * 1.001
    # A fault elsewhere leaves the track as it was, sample by sample.
    h = a.hypotheses.index(("motor_open",))
    assert a.values[h, a.tests.index("track")] == pytest.approx(track)


def test_chunks_do_not_matter(monkeypatch):
    whole = simulate(flap(), samples=5)
    monkeypatch.setattr("handsfree.circuit.solve._AT_ONCE", 1)
    assert simulate(flap(), samples=5).values == pytest.approx(whole.values)


def test_starting_from_the_nominal_sample_changes_nothing():
    """Each sample settles to the same states whether solved alone or with the others."""
    template = Template(flap())
    rng = np.random.default_rng(5)
    u = rng.uniform(-1, 1, (12, template.columns + 1))
    u[:, 0] = 0
    chosen, tests = single_faults(flap()), tuple(flap().tests)
    together = predict(template, chosen, tests, u, Meter()).values
    for s in range(len(u)):
        alone = predict(template, chosen, tests, u[s : s + 1], Meter()).values
        assert alone[:, :, 0] == pytest.approx(together[:, :, s], rel=1e-6, abs=1e-9)


# Part by part, worked by hand ------------------------------------------------------------


def test_relay_with_its_contacts_and_a_lamp():
    c = circuit("""
parts:
  key: {kind: switch, between: [bat, coil+]}
  relay: {kind: relay, coil: [coil+, gnd], resistance: 80 Ω, pull_in: 7 V, common: bat,
          normally_open: out, normally_closed: rest,
          faults: [{mode: open, at: coil}, {mode: stuck, state: pulled},
                   {mode: stuck, state: released},
                   {mode: high resistance, at: normally open, resistance: 10 Ω}]}
  lamp: {kind: lamp, between: [out, gnd], rated_voltage: 12 V, rated_power: 21 W}
  heater: {kind: resistor, between: [rest, gnd], resistance: 100 Ω}
conditions: {off: {key: open}, on: {key: closed}}
tests:
  idle: {condition: off, measures: voltage, red: out, black: gnd}
  rest_off: {condition: off, measures: voltage, red: rest, black: gnd}
  rest_on: {condition: on, measures: voltage, red: rest, black: gnd}
  lamp_on: {condition: on, measures: voltage, red: out, black: gnd}
  current: {condition: on, measures: current, through: lamp, clamp: true}
  clicks: {condition: on, observes: relay, answers: [clicks, silent]}
  lights: {condition: on, observes: lamp, answers: [lit, dark]}
""")
    good = nominal(c)
    assert good["idle"] == pytest.approx(0, abs=1e-3)
    assert (good["rest_off"], good["rest_on"]) == pytest.approx((12, 0), abs=5e-3)
    assert good["lamp_on"] == pytest.approx(12, abs=0.05)
    assert good["current"] == pytest.approx(21 / 12, rel=0.01)
    assert (good["clicks"], good["lights"]) == (0, 0)
    no_coil = nominal(c, "relay_open_coil")
    assert (no_coil["clicks"], no_coil["lights"]) == (1, 1)
    assert nominal(c, "relay_stuck_pulled")["idle"] == pytest.approx(12, abs=0.05)
    assert nominal(c, "relay_stuck_released")["lamp_on"] == pytest.approx(0, abs=1e-3)
    # The lamp with 10 Ω in series: V·(1 + 10·g(V)) = 12 with the filament's own curve.
    dim = nominal(c, "relay_high_resistance_normally_open")
    assert dim["lamp_on"] + 10.03 * dim["current"] == pytest.approx(12, abs=0.03)
    assert dim["current"] < 21 / 12


def test_a_relay_that_feeds_a_relay_settles():
    c = circuit("""
parts:
  first: {kind: relay, coil: [bat, gnd], resistance: 80 Ω, pull_in: 7 V, common: bat,
          normally_open: a}
  second: {kind: relay, coil: [a, gnd], resistance: 80 Ω, pull_in: 7 V, common: bat,
           normally_open: b}
  module: {kind: source, between: [ref, gnd], voltage: 5 V, resistance: 10 Ω,
           needs: {between: [b, gnd], at_least: 6 V}}
tests: {reference: {condition: "on", measures: voltage, red: ref, black: gnd}}
""")
    assert nominal(c)["reference"] == pytest.approx(5, rel=1e-4)


def test_a_buzzer_does_not_hang_the_solver():
    # A relay whose own contact feeds its coil has no steady state; it ends somewhere.
    c = circuit("""
parts:
  buzzer: {kind: relay, coil: [c, gnd], resistance: 80 Ω, pull_in: 7 V, common: bat,
           normally_closed: c}
tests: {coil: {condition: "on", measures: voltage, red: c, black: gnd}}
""")
    assert nominal(c)["coil"] == pytest.approx(12, abs=0.1) or nominal(c)["coil"] == (
        pytest.approx(0, abs=0.1)
    )


def test_a_module_that_loses_its_supply_under_load_stays_off():
    c = circuit("""
parts:
  feed: {kind: wire, between: [bat, mp], resistance: 0.05 Ω,
         faults: [{mode: high resistance, resistance: 40 Ω}]}
  output: {kind: driver, output: o, supply: mp, resistance: 0.1 Ω,
           needs: {between: [mp, gnd], at_least: 6 V}}
  heater: {kind: resistor, between: [o, gnd], resistance: 20 Ω}
conditions: {"on": {output: high}}
tests: {heater: {condition: "on", measures: voltage, red: o, black: gnd}}
""")
    assert nominal(c)["heater"] == pytest.approx(12 * 20 / 20.16, rel=1e-4)
    assert nominal(c, "feed_high_resistance")["heater"] == pytest.approx(0, abs=1e-3)


def test_thermistor_divider():
    c = circuit("""
parts:
  pull up: {kind: resistor, between: [bat, sense], resistance: 2.2 kΩ}
  sensor: {kind: thermistor, between: [sense, gnd], resistance: 2.5 kΩ, beta: 3435 K}
conditions: {room: {}, warm: {sensor: 80 °C}, unplugged: {battery: "off"}}
tests:
  room: {condition: room, measures: voltage, red: sense, black: gnd}
  warm: {condition: warm, measures: voltage, red: sense, black: gnd}
""")
    for test, degrees in {"room": 20, "warm": 80}.items():
        # IEC 60539-1, by hand; with the meter's 10 MΩ beside it
        r = 2500 * math.exp(3435 * (1 / (degrees + 273.15) - 1 / 298.15))
        ohms = 1 / (1 / r + 1e-7)
        assert nominal(c)[test] == pytest.approx(12 * ohms / (ohms + 2200), rel=1e-4)


def test_potentiometer_worn_stuck_and_set_by_a_condition():
    c = circuit("""
parts:
  pedal: {kind: potentiometer, between: [bat, gnd], wiper: w, resistance: 4 kΩ,
          faults: [{mode: worn segment, start: 40 %, end: 60 %, resistance: 10 MΩ},
                   {mode: stuck position, position: 20 %}]}
conditions: {rest: {pedal: 10 %}, half: {pedal: 50 %}, full: {pedal: 90 %}}
tests:
  rest: {condition: rest, measures: voltage, red: w, black: gnd}
  half: {condition: half, measures: voltage, red: w, black: gnd}
  full: {condition: full, measures: voltage, red: w, black: gnd}
""")
    assert list(nominal(c).values()) == pytest.approx([1.2, 6, 10.8], rel=1e-3)
    worn = nominal(c, "pedal_worn_segment")
    # 10 MΩ in series with the meter's 10 MΩ halves the reading.
    assert worn["half"] == pytest.approx(3, rel=0.02)
    assert worn["full"] == pytest.approx(10.8, rel=1e-3)
    stuck = nominal(c, "pedal_stuck_position")
    assert list(stuck.values()) == pytest.approx([2.4] * 3, rel=1e-3)


def test_diode_on_a_relay_coil_and_the_ohmmeter():
    c = circuit("""
parts:
  coil: {kind: resistor, between: [k, gnd], resistance: 80 Ω, faults: [{mode: open}]}
  clamp: {kind: diode, between: [gnd, k], faults: [{mode: short, resistance: 0.5 Ω}, {mode: open}]}
  key: {kind: switch, between: [bat, k]}
conditions: {off: {}, on: {key: closed}}
tests:
  coil: {condition: off, measures: resistance, red: k, black: gnd}
  forward: {condition: off, measures: resistance, red: gnd, black: k}
""")
    assert nominal(c)["coil"] == pytest.approx(80, rel=1e-3)
    assert nominal(c, "clamp_short")["coil"] == pytest.approx(1 / (1 / 80 + 2), rel=1e-3)
    open_coil = nominal(c, "coil_open")
    assert open_coil["coil"] == math.inf
    # Forward, the meter sees the diode: less than its test voltage, far from open.
    assert 100 < open_coil["forward"] < 20e3


def test_can_bus_pair():
    # ISO 11898-2: 60 Ω between the wires with both terminations, 120 Ω with one; 2.5 V recessive.
    c = circuit("""
parts:
  node 1: {kind: can node, high: h, low: l, ground: gnd, termination: 120 Ω,
           faults: [{mode: open, at: termination}, {mode: stuck, state: dominant}]}
  node 2: {kind: can node, high: h, low: l, ground: gnd, termination: 120 Ω}
  middle: {kind: can node, high: h, low: l, ground: gnd}
  pair: {kind: wire, between: [h, diagnostic h], resistance: 0.1 Ω,
         faults: [{mode: short to, other: l, node: h}, {mode: short to supply}]}
  feed: {kind: resistor, between: [bat, gnd], resistance: 1 kΩ}
conditions:
  quiet: {}
  off: {node 1: "off", node 2: "off", middle: "off"}
tests:
  between: {condition: "off", measures: resistance, red: diagnostic h, black: l}
  high: {condition: quiet, measures: voltage, red: diagnostic h, black: gnd}
  low: {condition: quiet, measures: voltage, red: l, black: gnd}
""")
    good = nominal(c)
    # Three inputs of 60 kΩ lie in parallel with the terminations, 0.1 Ω in series.
    assert good["between"] == pytest.approx(0.1 + 1 / (2 / 120 + 3 / 60e3), rel=1e-4)
    assert (good["high"], good["low"]) == pytest.approx((2.5, 2.5), rel=2e-3)
    one = 0.1 + 1 / (1 / 120 + 3 / 60e3)
    assert nominal(c, "node_1_open_termination")["between"] == pytest.approx(one, rel=1e-4)
    assert nominal(c, "pair_short_to_l")["between"] < 2.5
    assert nominal(c, "pair_short_to_supply")["high"] == pytest.approx(12, abs=0.5)
    stuck = nominal(c, "node_1_stuck_dominant")
    assert stuck["high"] - stuck["low"] == pytest.approx(2.0, abs=0.2)  # ISO 11898-2: 1.5 to 3 V


def test_parasitic_draw_through_the_meter():
    # 12 V, 240 Ω of sleeping load, a meter of 0.03 Ω in series with 10 mΩ: 49.99 mA.
    c = circuit("""
parts:
  cable: {kind: wire, between: [gnd, chassis], resistance: 1 mΩ}
  radio: {kind: load, between: [bat, chassis], asleep: 50 mA, awake: 2 A, voltage: 12 V,
          faults: [{mode: stuck, state: awake}]}
tests: {draw: {condition: "on", measures: current, through: radio}}
""")
    total = 0.01 + 0.001 + 240
    assert nominal(c)["draw"] == pytest.approx(12 / (total + 0.03), rel=1e-6)
    assert nominal(c, "radio_stuck_awake")["draw"] == pytest.approx(2, rel=0.02)


def test_voltage_drop_on_a_corroded_ground():
    # 5 A-class load: 12 V over 2.4 Ω, with 0.5 Ω in the ground: 12 × 0.5 / 2.91 V lost.
    c = circuit("""
parts:
  fuse: {kind: fuse, between: [bat, f], resistance: 5 mΩ, faults: [{mode: open}]}
  blower: {kind: resistor, between: [f, e], resistance: 2.395 Ω}
  earth: {kind: wire, between: [e, gnd], resistance: 1 mΩ,
          faults: [{mode: high resistance, resistance: 0.5 Ω}]}
tests:
  ground_side: {condition: "on", measures: voltage, red: e, black: gnd}
  fuse: {condition: "on", measures: voltage, red: f, black: gnd}
""")
    loop = 0.01 + 0.005 + 2.395 + 0.001
    assert nominal(c)["ground_side"] == pytest.approx(12 * 0.001 / loop, rel=1e-6)
    lost = nominal(c, "earth_high_resistance")["ground_side"]
    assert lost == pytest.approx(12 * 0.501 / (loop + 0.5), rel=1e-6)
    assert nominal(c, "fuse_open")["fuse"] == pytest.approx(0, abs=1e-3)


def test_motor_that_cannot_start_stays_at_rest():
    c = circuit("""
parts:
  feed: {kind: wire, between: [bat, m], resistance: 0.1 Ω,
         faults: [{mode: high resistance, resistance: 100 Ω}]}
  motor: {kind: motor, between: [m, gnd], resistance: 2 Ω, running_current: 1 A,
          starting_current: 2 A}
tests:
  volts: {condition: "on", measures: voltage, red: m, black: gnd}
  amps: {condition: "on", measures: current, through: feed, clamp: true}
  runs: {condition: "on", observes: motor, answers: [runs, stands]}
""")
    good, weak = nominal(c), nominal(c, "feed_high_resistance")
    assert (good["amps"], good["runs"]) == (pytest.approx(1, rel=1e-6), 0)
    assert good["volts"] == pytest.approx(12 - 0.11, rel=1e-5)
    assert weak["runs"] == 1
    assert weak["amps"] == pytest.approx(12 / 102.11, rel=1e-5)


def test_ghost_voltage_of_an_open_wire():
    # An open wire that leaks shows a voltage only to a meter of high resistance.
    c = circuit("""
parts:
  leak: {kind: resistor, between: [bat, w], resistance: 10 MΩ}
tests: {ghost: {condition: "on", measures: voltage, red: w, black: gnd}}
""")
    ghost = simulate(c, [()], samples=1).values[0, 0, 0]
    lamp = Meter.model_validate({"input_resistance": "10 kΩ"})
    loaded = simulate(c, [()], samples=1, meter=lamp).values[0, 0, 0]
    assert ghost == pytest.approx(6, rel=0.01)
    assert loaded == pytest.approx(0.012, rel=0.01)
