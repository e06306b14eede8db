"""What the diagnosis makes of faults that nobody listed: off the library's grid, by seed.

`python tests/fault_campaign.py 40 7` prints the tables and every wrong verdict.
"""

from __future__ import annotations

from functools import cache

import pytest
from fault_campaign import FINAL, campaign, tell
from fault_tables import Outcome, by_plan, read, reliability, share, shown, sound, spoken, write

from handsfree.plan import load_plan, shipped

VEHICLES = 20  # of each plan
CIRCUITS = [name for name in shipped() if load_plan(name).plan.circuit]
SEED = FINAL + 6000
"""Those before it were looked at before the last change."""


@cache
def outcomes() -> list[Outcome]:
    """Every plan, 2 % of the numbers mis-heard."""
    found = [one for name in CIRCUITS for one in campaign(name, VEHICLES, SEED)]
    tell(found)
    return found


def judged(outcomes: list[Outcome], *names: str) -> float:
    """Of the faults that some test shows, how many were judged so."""
    return share(shown(outcomes), lambda one: one.judged in names)


@pytest.mark.figures
def test_a_wrong_part_is_hardly_ever_found() -> None:
    assert judged(outcomes(), "wrong") <= 0.01


@pytest.mark.figures
def test_a_neighbour_is_seldom_found() -> None:
    assert judged(outcomes(), "neighbour") <= 0.04


@pytest.mark.figures
def test_in_sixty_of_a_hundred_the_right_part_is_sure() -> None:
    """Found, and not merely suspected."""
    assert judged(outcomes(), "right") >= 0.6


@pytest.mark.figures
def test_a_healthy_vehicle_is_convicted_of_nothing() -> None:
    assert share(sound(outcomes()), lambda one: one.said == "found") <= 0.005


@pytest.mark.figures
def test_what_is_said_at_twenty_to_one_is_right_twenty_times_in_twenty_one() -> None:
    assert share(spoken(outcomes(), 20.0), lambda one: one.true) >= 20 / 21


def _one(**changed) -> Outcome:
    usual = Outcome("relay-4pin", 0, "series", "series", "found", "right", 40.0, 5, "")
    return Outcome(**{**vars(usual), **changed})


def test_no_fault_is_true_where_no_test_shows_one() -> None:
    said = {"said": "no fault", "judged": "no fault"}
    assert _one(**said, kind="unseen").true
    assert _one(**said, kind="sound", drawn="sound").true
    assert not _one(**said).true


def test_not_sure_is_true_if_what_is_broken_is_among_the_candidates() -> None:
    assert _one(said="not sure", judged="not sure*").true
    assert not _one(said="not sure", judged="not sure").true


def test_a_suspicion_is_not_sure() -> None:
    """The figure that is aimed at counts what is found alone."""
    both = [_one(), _one(judged="suspected right", said="suspicion")]
    assert judged(both, "right") == 0.5


def test_a_neighbour_is_not_right() -> None:
    assert not _one(judged="neighbour").true
    assert not _one(said="suspicion", judged="suspected wrong").true


def test_parts_of_a_campaign_are_put_together(tmp_path) -> None:
    first = tmp_path / "first"
    write(first, _one())
    write(first, _one(number=1, judged="wrong"))
    assert [one.number for one in read([first])] == [0, 1]


def test_odds_are_held_against_what_became_of_them() -> None:
    """At 20:1 and above, three of four were right."""
    several = [*[_one()] * 3, _one(judged="wrong"), _one(odds=3.0)]
    assert "all verdicts: right 3 of 4" in reliability(several)
    assert "75.0%" in reliability(several)


def test_a_plan_has_its_line_of_figures() -> None:
    said = by_plan([_one(), _one(judged="wrong"), _one(kind="sound", drawn="sound", said="found")])
    assert said.splitlines()[1].split() == [
        "relay-4pin", "2", "50.0%", "0.0%", "0.0%", "50.0%", "5.0", "0", "1", "1"
    ]  # fmt: skip


def test_a_campaign_in_parts_is_the_campaign() -> None:
    whole = list(campaign("parasitic-draw", 4, 3))
    assert whole == [
        *campaign("parasitic-draw", 2, 3),
        *campaign("parasitic-draw", 2, 3, begin=2),
    ]
