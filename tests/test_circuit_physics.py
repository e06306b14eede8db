"""The physics against tables of the standards; each table's source stands beside it."""

import math

import numpy as np
import pytest

from handsfree.circuit.physics import battery, copper, fuse, thermometer
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


@pytest.mark.parametrize(("gauge", "mils"), AWG_MILS.items())
def test_awg_diameters_are_those_of_astm_b258(gauge, mils):
    assert copper.awg_diameter(gauge).to("thou").magnitude == pytest.approx(mils, rel=3e-3)


@pytest.mark.parametrize(("gauge", "ohms"), AWG_OHMS.items())
def test_awg_resistance_is_that_of_the_copper_wire_tables(gauge, ohms):
    value = copper.wire_resistance(copper.awg_area(gauge), Q(1000, "ft"))
    assert value.to("ohm").magnitude == pytest.approx(ohms, rel=1e-3)


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


# A 10 kΩ thermistor of B25/85 = 3435 K, °C and kΩ: values of the R/T table common to makers of
# that curve, from memory.
NTC_10K = {0: 27.28, 25: 10.0, 50: 4.16, 85: 1.451, 100: 0.974}


def test_copper_at_temperature():
    # IEC 60228 annex A: R20 = R75 × 254.5/(234.5 + 75) = 0.822 × R75 (table value for 75 °C).
    hot = copper.at_temperature(Q(1, "ohm"), Q(75, "degC"))
    assert 1 / hot.to("ohm").magnitude == pytest.approx(0.822, abs=5e-4)


@pytest.mark.parametrize(("size", "ohms"), CLASS_5.items())
def test_flexible_conductors_keep_iec_60228(size, ohms):
    # Strands and lay make the limit larger than ideal copper, by less than a fifth.
    ideal = copper.wire_resistance(Q(size, "mm**2"), Q(1, "km")).to("ohm").magnitude
    assert ideal < ohms < 1.2 * ideal


def test_ntc_by_b_value():
    beta = 3435.0
    for degrees, kiloohms in NTC_10K.items():
        value = 10 * thermometer.ntc_ratio(beta, np.array([degrees + 273.15]))
        assert float(value[0]) == pytest.approx(kiloohms, rel=0.06)


def test_battery_at_rest():
    # BCI service manual, flooded 12 V battery at 80 °F, from memory.
    for percent, volts in {100: 12.65, 75: 12.45, 50: 12.24, 25: 12.06}.items():
        assert battery.open_circuit_voltage(Q(percent, "percent")).magnitude == volts
    cold = battery.open_circuit_voltage(Q(100, "percent"), Q(0, "degC"))
    assert cold.magnitude == pytest.approx(12.65 - 26.7 * 0.0012)
