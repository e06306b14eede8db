"""Sweeps of feedback against command; worked by hand, common practice, no published source."""

from __future__ import annotations

import pytest

from handsfree.check.sweep import SweepLimits, judge_sweep
from handsfree.units import Quantity, quantity


def volts(value: float) -> Quantity:
    return quantity(value, "V")


LIMITS = SweepLimits((volts(0.3), volts(1.0)), (volts(4.0), volts(4.8)), volts(0.2))


def flaws(*points: tuple[float, float], limits: SweepLimits = LIMITS) -> list[str]:
    taken = [(quantity(c, "%"), volts(f)) for c, f in points]
    return [fault.flaw for fault in judge_sweep(taken, limits)]


UP = ((0, 0.6), (25, 1.5), (50, 2.5), (75, 3.5), (100, 4.4))


def test_a_good_sweep_up_and_down() -> None:
    assert flaws(*UP, (75, 3.55), (50, 2.6), (25, 1.6), (0, 0.65)) == []


@pytest.mark.parametrize(
    ("points", "expected"),
    [
        (((0, 0.6), (25, 1.5), (50, 2.5), (75, 3.5), (100, 3.6)), ["end stop", "dead segment"]),
        (((0, 1.4), (25, 2.0), (50, 2.7), (75, 3.5), (100, 4.4)), ["end stop"]),
        (((0, 0.6), (25, 1.5), (50, 1.5), (75, 3.5), (100, 4.4)), ["dead segment"]),
        (((0, 0.6), (25, 2.5), (50, 1.6), (75, 3.5), (100, 4.4)), ["direction"]),
        (((0, 0.6), (25, 1.0), (50, 4.0), (75, 4.2), (100, 4.7)), ["jump", "dead segment"]),
        (((0, 0.6), (50, 2.5)), ["too few points"]),
        (((0, 0.6), (10, 1.0), (20, 1.4)), ["too few points"]),
    ],
)
def test_what_is_wrong(points: tuple[tuple[float, float], ...], expected: list[str]) -> None:
    assert sorted(set(flaws(*points))) == sorted(expected)


def test_hysteresis_is_measured_between_the_ways() -> None:
    taken = [(quantity(c, "%"), volts(f)) for c, f in (*UP, (50, 2.9), (0, 0.6))]
    (fault,) = judge_sweep(taken, LIMITS)
    assert fault.flaw == "hysteresis"
    assert fault.value is not None
    assert fault.value.m_as("V") == pytest.approx(0.4)
    assert fault.command == quantity(50, "%")


def test_a_falling_feedback_is_right_where_the_limits_fall() -> None:
    falling = SweepLimits((volts(4.0), volts(4.8)), (volts(0.3), volts(1.0)), volts(0.2))
    assert flaws((0, 4.4), (50, 2.5), (100, 0.6), limits=falling) == []
    assert "direction" in flaws(*UP, limits=falling)


def test_millivolts_are_converted() -> None:
    taken = [(quantity(c, "%"), quantity(f * 1000, "mV")) for c, f in UP]
    assert judge_sweep(taken, LIMITS) == ()
