"""What the diagnosis makes of faults that nobody listed: off the library's grid, by seed.

`python tests/fault_campaign.py 40 7` prints the tables and every wrong verdict.
"""

from __future__ import annotations

from functools import cache

import pytest
from fault_campaign import Outcome, campaign

from handsfree.plan import load_plan, shipped

VEHICLES, SEED = 60, 1000  # of each plan; seeds from 1000 on were looked at by nobody before
CIRCUITS = [name for name in shipped() if load_plan(name).plan.circuit]


@cache
def outcomes() -> tuple[Outcome, ...]:
    """Every plan, 2 % of the numbers mis-heard."""
    return tuple(one for name in CIRCUITS for one in campaign(name, VEHICLES, SEED))


def share(kinds: set[str], judged: tuple[str, ...]) -> float:
    """Of the vehicles of some kinds, how many were judged so."""
    here = [one for one in outcomes() if one.vehicle.kind in kinds]
    return sum(one.judged in judged for one in here) / len(here)


BROKEN = {"series", "open", "leak", "drift", "pair", "meter"}


@pytest.mark.figures
def test_a_wrong_part_is_hardly_ever_found() -> None:
    assert share(BROKEN, ("wrong",)) <= 0.01


@pytest.mark.figures
def test_a_neighbour_is_seldom_found() -> None:
    assert share(BROKEN, ("neighbour",)) <= 0.04


@pytest.mark.figures
def test_sixty_in_a_hundred_are_named_rightly() -> None:
    assert share(BROKEN, ("right", "suspected right")) >= 0.6


@pytest.mark.figures
def test_a_healthy_vehicle_is_convicted_of_nothing() -> None:
    assert share({"sound"}, ("wrong", "neighbour", "right")) <= 0.005


@pytest.mark.figures
def test_what_is_said_at_twenty_to_one_is_right_twenty_times_in_twenty_one() -> None:
    said = [o for o in outcomes() if o.said.kind in ("found", "suspicion") and o.vehicle.parts]
    right = [o for o in said if "right" in o.judged]
    assert len(right) / len(said) >= 20 / 21
