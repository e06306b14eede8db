"""Values as a shop writes them."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import TypeAdapter, ValidationError

from handsfree.circuit.values import (
    Gauge,
    Limits,
    Ohms,
    Share,
    parse_range,
    parse_spread,
)
from handsfree.units import ureg


@pytest.mark.parametrize(
    ("text", "unit", "limits"),
    [
        ("4.7 kΩ ± 5 %", "Ω", (4465, 4700, 4935)),
        ("4.7 kΩ +/- 200 Ω", "Ω", (4500, 4700, 4900)),
        ("0.5 to 2 Ω", "Ω", (0.5, 1.25, 2)),
        ("100 Ω to 10 kΩ", "Ω", (100, 1000, 10_000)),
        ("20 °C ± 5 °C", "K", (288.15, 293.15, 298.15)),
        ("-40 °C", "K", (233.15, 233.15, 233.15)),
        ("30 % ± 5 %", "", (0.25, 0.30, 0.35)),
        ("5 % to 95 %", "", (0.05, 0.5, 0.95)),
        ("250 mA", "A", (0.25, 0.25, 0.25)),
        ("-5 V ± 10 %", "V", (-5.5, -5, -4.5)),
    ],
)
def test_spreads(text, unit, limits):
    spread = parse_spread(text, unit)
    assert (spread.low, spread.nominal, spread.high) == pytest.approx(limits)


def test_a_wide_range_is_spread_over_decades():
    spread = parse_spread("100 Ω to 10 kΩ", "Ω")
    assert spread.at(np.array([-1.0, 0.0, 0.5, 1.0])) == pytest.approx([100, 1000, 10**3.5, 10_000])
    even = parse_spread("1 V to 4 V", "V")
    assert even.at(np.array([-1.0, 0.0, 1.0])) == pytest.approx([1, 2.5, 4])


@pytest.mark.parametrize(
    ("text", "why"),
    [("4.7", "is not in Ω"), ("5 V", "is not in Ω"), ("many", "number with a unit"),
     ("2 kΩ to 1 kΩ", "lower limit")],
)  # fmt: skip
def test_what_is_no_resistance(text, why):
    with pytest.raises(ValueError, match=why):
        parse_spread(text, "Ω")


def test_fields_say_what_to_write():
    with pytest.raises(ValidationError, match=r"write it as '4\.7 kΩ ± 5 %'"):
        TypeAdapter(Ohms).validate_python(4700)
    with pytest.raises(ValidationError, match="below 0"):
        TypeAdapter(Ohms).validate_python("-1 Ω")
    with pytest.raises(ValidationError, match="no wire gauge"):
        TypeAdapter(Gauge).validate_python(0.75)
    assert TypeAdapter(Ohms).json_schema()["type"] == "string"


@given(st.floats(1e-3, 1e6), st.floats(0, 50))
def test_what_is_written_out_reads_back(value, percent):
    for kind in (Ohms, Share):
        unit = "Ω" if kind is Ohms else "%"
        adapter = TypeAdapter(kind)
        spread = adapter.validate_python(f"{value:.6f} {unit} ± {percent:.3f} %")\
            if kind is Ohms else adapter.validate_python(f"{value % 100:.6f} %")  # fmt: skip
        back = adapter.validate_python(adapter.dump_python(spread))
        assert (back.low, back.high) == pytest.approx((spread.low, spread.high), rel=1e-8)


def test_ranges():
    assert parse_range("11 V to 15 V").holds(np.array([10.9, 11.0, 15.0])).tolist() == [
        False, True, True,
    ]  # fmt: skip
    over = parse_range("above 1 MΩ")
    assert over.unit == "Ω"
    assert over.holds(np.array([2e6, math.inf, 10.0])).tolist() == [True, True, False]
    assert parse_range("below 10 Ω").holds(np.array([3.0, math.inf])).tolist() == [True, False]
    for text in ("11 V to 15 V", "above 1 MΩ", "below 10 Ω", "-16 V to -9 V"):
        assert parse_range(str(parse_range(text))) == parse_range(text)
    with pytest.raises(ValueError, match="is no range"):
        parse_range("above all")
    with pytest.raises(ValidationError, match="is no range"):
        TypeAdapter(Limits).validate_python(5)


def test_quantities_at_the_boundary():
    spread = parse_spread("5 V ± 2 %", "V")
    assert spread.quantity == ureg.Quantity(5.0, "V")
    assert [q.to("mV").magnitude for q in spread.limits] == pytest.approx([4900, 5100])
