"""Readings against limits.  Worked values are by hand, from the plan below."""

from __future__ import annotations

import math
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.check import Comparison, Refusal, accuracy, check, expected, resolve
from handsfree.check.guard import guard_band
from handsfree.meaning import Ambiguous, Observation, Reading, State, Take, Understood
from handsfree.plan import Plan, Step
from handsfree.units import quantity, show


def step(step_id: str, measure: dict[str, Any], expect: dict[str, Any]) -> dict[str, Any]:
    return {
        "id": step_id,
        "prompt": step_id,
        "probe": {"red": "red", "black": "black"},
        "why": "because",
        "wire": 1,
        "condition": "on",
        "measure": measure,
        "expect": expect,
    }


VOLTS, OHMS = {"quantity": "voltage"}, {"quantity": "resistance"}
PLAN = Plan.model_validate(
    {
        "title": "Bench",
        "supply": "12 V",
        "limits": {"current": "30 A"},
        "meter": {
            "accuracy": {
                # 0.5 % + 2 counts: 4.80 V is known to 0.044 V
                "voltage": {"percent": 0.5, "counts": 2, "resolution": "0.01 V"},
                "resistance": {"percent": 1.0, "counts": 3, "resolution": "0.1 Ω"},
                "temperature": {"percent": 1.0, "counts": 1, "resolution": "1 °C"},
            }
        },
        "connector": {"name": "C1", "pins": [{"number": 1, "colour": "red", "function": "supply"}]},
        "conditions": [{"id": "on", "say": "key on"}],
        "steps": [
            step("battery", VOLTS, {"low": "12 V", "high": "13 V"}),
            step("reference", VOLTS, {"low": "4.8 V", "high": "5.2 V"}),
            step("supply", VOLTS, {"near": "battery", "within": "0.5 V"}),
            step("signal", VOLTS, {"share_of": "reference", "low": "10 %", "high": "90 %"}),
            step("winding", OHMS, {"nominal": "250 Ω", "tolerance": "20 %"}),
            step("isolation", OHMS, {"over_range": True}),
            step("drive", {"states": ["battery", "ground"]}, {"state": "battery"}),
            step("moves", {"options": [{"value": "yes"}, {"value": "no"}]}, {"answer": "yes"}),
            step("draw", {"quantity": "current", "unit": "mA"}, {"high": "50 mA"}),
            step("coolant", {"quantity": "temperature"}, {"nominal": "90 °C", "tolerance": "5 °C"}),
            step("duty", {"quantity": "duty cycle"}, {"low": "30 %", "high": "40 %"}),
        ],
    }
)


def at(step_id: str) -> Step:
    return PLAN.step(step_id)


def read(value: float, unit: str) -> Reading:
    return Reading(quantity(value, unit), number=Decimal(str(value)))


def verdict(step_id: str, take: Take, **taken: Take) -> Comparison:
    result = check(take, at(step_id), PLAN, taken)
    assert isinstance(result, Comparison)
    return result


@pytest.mark.parametrize(
    ("step_id", "value", "unit", "result", "outcome"),
    [
        ("reference", 4.98, "V", "in range", "pass"),
        ("reference", 4980, "mV", "in range", "pass"),
        ("reference", 4.0, "V", "low", "low"),
        ("reference", 6.1, "V", "high", "high"),
        ("reference", 4.82, "V", "marginal", "pass"),  # 0.02 V from the limit, known to 0.044 V
        ("reference", 4.77, "V", "marginal", "low"),
        ("winding", 0.25, "kΩ", "in range", "pass"),
        ("winding", 190, "Ω", "low", "low"),  # the low limit is 200 ohms
        ("winding", 301, "Ω", "marginal", "high"),
        ("isolation", 4.7, "Ω", "low", "low"),
        ("draw", 0.03, "A", "in range", "pass"),
        ("draw", 80, "mA", "high", "high"),
        ("coolant", 92, "°C", "in range", "pass"),
        ("coolant", 194, "°F", "in range", "pass"),  # 90 °C
        ("coolant", 70, "°C", "low", "low"),
        ("duty", 35, "%", "in range", "pass"),
        ("duty", 20, "%", "low", "low"),
    ],
)
def test_readings(step_id: str, value: float, unit: str, result: str, outcome: str) -> None:
    found = verdict(step_id, read(value, unit))
    assert (found.result, found.outcome) == (result, outcome)


def test_the_distance_is_told() -> None:
    found = verdict("reference", read(4.0, "V"))
    assert found.distance is not None
    assert show(found.distance) == "0.8 V"


def test_over_limit() -> None:
    assert verdict("isolation", Reading(None)).outcome == "pass"
    assert verdict("winding", Reading(None)).outcome == "high"
    assert verdict("winding", State("open")).outcome == "high"  # "open" said at an ohms step


def test_states_and_answers() -> None:
    assert verdict("drive", State("battery")).result == "as expected"
    assert verdict("drive", State("ground")).outcome == "fail"
    assert verdict("moves", Observation("no")).outcome == "fail"


def test_relative_to_another_reading() -> None:
    battery = read(12.6, "V")
    assert verdict("supply", read(12.3, "V"), battery=battery).outcome == "pass"
    assert verdict("supply", read(11.9, "V"), battery=battery).outcome == "low"
    wanted = expected(at("signal"), {"reference": read(5.0, "V")})
    assert wanted.low is not None
    assert wanted.high is not None
    assert (show(wanted.low), show(wanted.high)) == ("0.5 V", "4.5 V")


def test_not_comparable_before_the_other_reading() -> None:
    found = verdict("supply", read(12.3, "V"))
    assert (found.result, found.outcome, found.expected.missing) == (
        "not comparable",
        None,
        "battery",
    )


@pytest.mark.parametrize(
    ("step_id", "take", "reason"),
    [
        ("winding", read(4, "V"), "dimension"),
        ("reference", read(4, "Ω"), "dimension"),
        ("reference", read(1200, "V"), "absurd"),  # in a 12 V system
        ("reference", read(-1200, "V"), "absurd"),
        ("winding", read(-20, "Ω"), "absurd"),
        ("draw", read(45, "A"), "absurd"),  # the plan's own limit is 30 A
        ("duty", read(120, "%"), "absurd"),
        ("coolant", read(-80, "°C"), "absurd"),
        ("reference", State("ground"), "kind"),
        ("drive", read(6, "V"), "kind"),  # neither battery voltage nor ground
        ("moves", State("open"), "kind"),
    ],
)
def test_refusals(step_id: str, take: Take, reason: str) -> None:
    result = check(take, at(step_id), PLAN, {})
    assert isinstance(result, Refusal)
    assert result.reason == reason


def test_accuracy_is_percent_of_reading_plus_counts() -> None:
    # 5.00 V: 0.5 % = 0.025 V, 2 counts of 0.01 V = 0.02 V
    spread = accuracy(PLAN, at("reference"), quantity(5, "V"))
    assert spread is not None
    assert spread.m_as("V") == pytest.approx(0.045)
    assert accuracy(PLAN, at("draw"), quantity(5, "mA")) is None


def test_the_counts_are_those_of_the_range() -> None:
    """As the circuit's meter has it: 70 V shown with one place less on 6000 counts."""
    spread = accuracy(PLAN, at("reference"), quantity(70, "V"))
    assert spread is not None
    assert spread.m_as("V") == pytest.approx(0.35 + 2 * 0.1)


@given(st.floats(0, 30), st.sampled_from(["V", "mV", "kV"]))
def test_a_prefix_changes_nothing(volts: float, unit: str) -> None:
    value = quantity(volts, "V").to(unit)
    plain = check(Reading(quantity(volts, "V")), at("reference"), PLAN, {})
    other = check(Reading(value), at("reference"), PLAN, {})
    assert isinstance(plain, Comparison)
    assert isinstance(other, Comparison)
    edge = any(abs(volts - limit) < 1e-9 for limit in (4.8, 5.2))
    assert edge or plain.result == other.result


def forms(*values: tuple[str, str, str]) -> Understood:
    takes = tuple(
        Reading(quantity(float(number), unit), number=Decimal(number), form=form)  # type: ignore[arg-type]
        for number, unit, form in values
    )
    return Understood(Ambiguous(takes, "number form"))


def resolved(step_id: str, understood: Understood) -> object:
    meaning = resolve(understood, at(step_id), PLAN, {}).meaning
    if isinstance(meaning, Ambiguous):
        return [str(c.number) for c in meaning.candidates if isinstance(c, Reading)]
    assert isinstance(meaning, Reading)
    return str(meaning.number)


def test_an_absurd_form_falls_away() -> None:
    two = forms(("498", "V", "plain"), ("4.98", "V", "point left out"))
    assert resolved("reference", two) == "4.98"


def test_forms_with_different_verdicts_are_asked() -> None:
    two = forms(("250", "Ω", "hundred left out"), ("2.5", "Ω", "point left out"))
    assert resolved("winding", two) == ["250", "2.5"]


def test_a_form_finer_than_the_meter_falls_away() -> None:
    two = forms(("250", "Ω", "hundred left out"), ("2.50", "Ω", "point left out"))
    assert resolved("winding", two) == "250"  # the meter's last digit is 0.1 ohm


def test_forms_with_one_verdict_go_by_order_of_magnitude() -> None:
    two = forms(("15", "V", "plain"), ("8.5", "V", "point left out"))
    assert resolved("reference", two) == "8.5"  # both high; 8.5 V is nearer to 5 V


@given(st.lists(st.sampled_from(["0.5", "4.9", "5.0", "7.5", "12", "25"]), min_size=2, max_size=2))
def test_a_failing_reading_is_never_pulled_into_range(numbers: list[str]) -> None:
    """If one form passes and another fails, the technician is asked."""
    understood = forms(*((n, "V", "plain") for n in dict.fromkeys(numbers)))
    outcomes = {
        check(read(float(n), "V"), at("reference"), PLAN, {}).outcome  # type: ignore[union-attr]
        for n in numbers
    }
    if len(outcomes) > 1:
        assert isinstance(resolved("reference", understood), list)


@pytest.mark.parametrize(
    # JCGM 106:2012, table 1 (from memory): distance from the limit in standard uncertainties.
    ("p", "z"),
    [(0.80, 0.84), (0.90, 1.28), (0.95, 1.64), (0.99, 2.33), (0.999, 3.09)],
)
def test_guard_band_factors(p: float, z: float) -> None:
    assert guard_band(quantity(math.sqrt(3), "V"), p).to("V").magnitude == pytest.approx(
        z, abs=0.006
    )
