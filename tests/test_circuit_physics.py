"""The physics against tables of the standards; each table's source stands beside it."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.circuit.physics import battery, can, copper, fuse, supply, thermometer
from handsfree.units import ureg

Q = ureg.Quantity

# NBS Handbook 100, "Copper Wire Tables" (1966), Table 5: ohms per 1000 ft at 20 °C, from memory.
AWG_OHMS = {0: 0.09827, 4: 0.2485, 8: 0.6282, 10: 0.9989, 12: 1.588, 14: 2.525, 16: 4.016,
            18: 6.385, 20: 10.15, 22: 16.14, 24: 25.67}  # fmt: skip
# ASTM B258: diameter in mils, from memory of the table.
AWG_MILS = {-3: 460.0, 0: 324.9, 4: 204.3, 10: 101.9, 18: 40.3, 24: 20.1, 36: 5.0}
# IEC 60228:2004, table 3 (class 5, plain): mm², Ω/km; checked against published extracts.
CLASS_5 = {0.5: 39.0, 0.75: 26.0, 1: 19.5, 1.5: 13.3, 2.5: 7.98, 4: 4.95, 6: 3.30, 10: 1.91,
           16: 1.21, 25: 0.780, 35: 0.554, 50: 0.386}  # fmt: skip
# IEC 60751:2008, table 1: Pt100, °C and Ω, from memory.
PT100 = {-200: 18.52, -100: 60.26, -50: 80.31, 0: 100.0, 50: 119.40, 100: 138.51, 200: 175.86,
         400: 247.09, 600: 313.71, 850: 390.48}  # fmt: skip


@pytest.mark.parametrize(("gauge", "mils"), AWG_MILS.items())
def test_awg_diameters_are_those_of_astm_b258(gauge, mils):
    assert copper.awg_diameter(gauge).to("thou").magnitude == pytest.approx(mils, rel=3e-3)


@pytest.mark.parametrize(("gauge", "ohms"), AWG_OHMS.items())
def test_awg_resistance_is_that_of_the_copper_wire_tables(gauge, ohms):
    value = copper.wire_resistance(copper.awg_area(gauge), Q(1000, "ft"))
    assert value.to("ohm").magnitude == pytest.approx(ohms, rel=1e-3)


@pytest.mark.parametrize(("size", "ohms"), CLASS_5.items())
def test_flexible_conductors_keep_iec_60228(size, ohms):
    area = Q(size, "mm**2")
    assert copper.largest_resistance(area, Q(1, "km")).to("ohm").magnitude == pytest.approx(ohms)
    # Strands and lay make the limit larger than ideal copper, by less than a fifth.
    ideal = copper.wire_resistance(area, Q(1, "km")).to("ohm").magnitude
    assert ideal < ohms < 1.2 * ideal


def test_copper_at_temperature():
    # IEC 60228 annex A: R20 = R75 × 254.5/(234.5 + 75) = 0.822 × R75 (table value for 75 °C).
    hot = copper.at_temperature(Q(1, "ohm"), Q(75, "degC"))
    assert 1 / hot.to("ohm").magnitude == pytest.approx(0.822, abs=5e-4)


def test_voltage_drop_worked_by_hand():
    # 5 A through 4 m of 1.5 mm²: 5 × 4 / (58 × 1.5) = 0.2299 V.
    drop = copper.voltage_drop(Q(5, "A"), Q(1.5, "mm**2"), Q(4, "m"))
    assert drop.to("V").magnitude == pytest.approx(5 * 4 / 58 / 1.5)


@pytest.mark.parametrize(
    ("text", "area"),
    [("0.75 mm2", 0.75), ("2.5mm²", 2.5), ("18 AWG", 0.823), ("AWG 4", 21.15), ("2/0 AWG", 67.43),
     ("000 AWG", 85.01)],
)  # fmt: skip
def test_gauges_as_they_are_written(text, area):
    # mm² of the AWG sizes: ASTM B258, from memory.
    assert copper.parse_gauge(text).to("mm**2").magnitude == pytest.approx(area, rel=1e-3)


@pytest.mark.parametrize("text", ["thick", "0 mm2", "0.75", "18"])
def test_no_gauge(text):
    with pytest.raises(ValueError, match="no wire gauge"):
        copper.parse_gauge(text)


def test_relay_coil_hot():
    # 1 + 0.00393 × 65 = 1.255 from 20 to 85 °C.
    assert copper.pull_in_voltage(Q(7.2, "V"), Q(85, "degC")).to("V").magnitude == pytest.approx(
        7.2 * 1.25545
    )


def test_fuse_operating_times():
    # ISO 8820-3 type C, from memory.
    for multiple, (low, high) in {1.35: (0.75, 600), 2: (0.15, 5), 3.5: (0.04, 0.5)}.items():
        times = fuse.operating_time(Q(10, "A"), Q(10 * multiple, "A"))
        assert [t.to("s").magnitude for t in times] == [low, high]
    shortest, longest = fuse.operating_time(Q(10, "A"), Q(9, "A"))
    assert shortest.to("hour").magnitude == 100
    assert math.isinf(longest.magnitude)
    shortest, longest = fuse.operating_time(Q(10, "A"), Q(18, "A"))
    assert (shortest.magnitude, longest.magnitude) == (0.15, 50.0)
    assert fuse.operating_time(Q(10, "A"), Q(100, "A"))[1].magnitude == 0.1


def test_fuse_carries_less_when_hot():
    cool = fuse.continuous_current(Q(20, "A"), Q(20, "degC"))
    assert cool.to("A").magnitude == pytest.approx(15)
    assert fuse.continuous_current(Q(20, "A"), Q(85, "degC")) < cool
    assert fuse.current_through(Q(0.5, "mV"), Q(7.4, "milliohm")).to("mA").magnitude == (
        pytest.approx(67.57, abs=0.01)
    )


def test_steinhart_hart_published_example():
    # Steinhart-Hart coefficients commonly printed for a 3 kΩ (25 °C) thermistor:
    # a = 1.40e-3, b = 2.37e-4, c = 9.90e-8 (three digits, hence the margin); from memory.
    curve = thermometer.SteinhartHart(1.40e-3, 2.37e-4, 9.90e-8)
    assert curve.temperature(Q(3, "kiloohm")).to("degC").magnitude == pytest.approx(25, abs=0.6)


# A 10 kΩ thermistor of B25/85 = 3435 K, °C and kΩ: values of the R/T table common to makers of
# that curve, from memory.
NTC_10K = {0: 27.28, 25: 10.0, 50: 4.16, 85: 1.451, 100: 0.974}


def test_ntc_by_b_value():
    r25, beta = Q(10, "kiloohm"), Q(3435, "kelvin")
    for degrees, kiloohms in NTC_10K.items():
        value = thermometer.ntc_resistance(r25, beta, Q(degrees, "degC"))
        assert value.to("kiloohm").magnitude == pytest.approx(kiloohms, rel=0.06)


def test_three_points_make_the_table():
    pairs = [(Q(NTC_10K[t], "kiloohm"), Q(t, "degC")) for t in (0, 50, 100)]
    curve = thermometer.SteinhartHart.through(pairs)
    for degrees, kiloohms in NTC_10K.items():
        assert curve.temperature(Q(kiloohms, "kiloohm")).magnitude == pytest.approx(
            degrees, abs=0.35
        )
    with pytest.raises(ValueError, match="exactly three"):
        thermometer.SteinhartHart.through(pairs[:2])


@given(st.floats(-40, 150))
def test_thermistors_invert(degrees):
    r25, beta, t = Q(2.5, "kiloohm"), Q(3500, "kelvin"), Q(degrees, "degC")
    back = thermometer.ntc_temperature(r25, beta, thermometer.ntc_resistance(r25, beta, t))
    assert back.magnitude == pytest.approx(degrees, abs=1e-6)
    curve = thermometer.SteinhartHart(1.40e-3, 2.37e-4, 9.90e-8)
    assert curve.temperature(curve.resistance(t)).magnitude == pytest.approx(degrees, abs=1e-6)


@pytest.mark.parametrize(("degrees", "ohms"), PT100.items())
def test_platinum_is_iec_60751(degrees, ohms):
    t = Q(degrees, "degC")
    assert thermometer.platinum_resistance(t).to("ohm").magnitude == pytest.approx(ohms, abs=5e-3)
    exact = thermometer.platinum_resistance(t)
    assert thermometer.platinum_temperature(exact).magnitude == pytest.approx(degrees, abs=1e-6)


def test_platinum_range():
    with pytest.raises(ValueError, match="IEC 60751"):
        thermometer.platinum_resistance(Q(900, "degC"))


def test_battery_at_rest():
    # BCI service manual, flooded 12 V battery at 80 °F, from memory.
    for percent, volts in {100: 12.65, 75: 12.45, 50: 12.24, 25: 12.06}.items():
        assert battery.open_circuit_voltage(Q(percent, "percent")).magnitude == volts
        assert battery.state_of_charge(Q(volts, "V")).magnitude == pytest.approx(percent)
    cold = battery.open_circuit_voltage(Q(100, "percent"), Q(0, "degC"))
    assert cold.magnitude == pytest.approx(12.65 - 26.7 * 0.0012)
    assert battery.state_of_charge(Q(14, "V")).magnitude == 100


def test_battery_load_test():
    # BCI load test: 9.6 V at 70 °F and above, 9.1 V at 30 °F, 8.5 V at 0 °F; printed in many
    # makers' manuals.
    for degrees, volts in {30: 9.6, 21: 9.6, -1: 9.1, -18: 8.5}.items():
        assert battery.load_test_voltage(Q(degrees, "degC")).magnitude == pytest.approx(volts)


def test_can_levels():
    # ISO 11898-2: two 120 Ω terminations make 60 Ω; dominant 3.5 V and 1.5 V.
    both = [can.TERMINATION.nominal] * 2
    assert can.bus_resistance(both).to("ohm").magnitude == pytest.approx(60)
    assert can.bus_state(can.DOMINANT_HIGH.nominal, can.DOMINANT_LOW.nominal) == "dominant"
    assert can.bus_state(can.RECESSIVE.nominal, can.RECESSIVE.nominal) == "recessive"
    assert can.bus_state(Q(2.9, "V"), Q(2.2, "V")) == "undefined"


def test_duty_cycle():
    assert supply.mean_voltage(Q(35, "percent"), Q(12, "V")).to("V").magnitude == pytest.approx(4.2)
    half = supply.mean_voltage(Q(50, "percent"), Q(12, "V"), Q(2, "V"))
    assert half.to("V").magnitude == pytest.approx(7)
    with pytest.raises(ValueError, match="duty"):
        supply.mean_voltage(Q(120, "percent"), Q(12, "V"))


def test_parked_vehicle():
    modules = [
        supply.Sleeper(Q(2, "A"), Q(10, "mA"), Q(10, "min")),
        supply.Sleeper(Q(500, "mA"), Q(15, "mA"), Q(30, "min")),
    ]
    draws = [supply.parasitic_draw(modules, Q(t, "min")).magnitude for t in (5, 15, 40)]
    assert draws == pytest.approx([2.5, 0.51, 0.025])
    # 2 A × 1/6 h + 0.5 A × 1/2 h + 10 mA × 5/6 h + 15 mA × 1/2 h
    used = supply.charge_used(modules, Q(1, "hour")).to("Ah").magnitude
    assert used == pytest.approx(2 / 6 + 0.25 + 0.01 * 5 / 6 + 0.0075)
    days = supply.days_parked(Q(30, "Ah"), modules).to("day").magnitude
    assert days == pytest.approx((30 - 0.5883) / 0.025 / 24 + 0.5 / 24, rel=1e-4)
    assert math.isinf(supply.days_parked(Q(30, "Ah"), []).magnitude)
