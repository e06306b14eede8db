"""Twenty-one faults as met on the road: none convicts a sound part, and most are named."""

from __future__ import annotations

import pytest
from road_faults import ROAD, on_the_road, rightly

SOUND = ("intermittent contact, sound while it is measured",)


@pytest.mark.parametrize("name", ROAD)
def test_the_road(name: str) -> None:
    """Named rightly, or not sure with the right part among the first three."""
    case = ROAD[name]
    said, _ = on_the_road(case)
    if name in SOUND:
        assert said.kind in ("no fault", "not sure")
        return
    assert any(rightly(case, said)[:3]), (said.kind, [c.fault.say for c in said.candidates])
    if said.kind == "found":
        assert rightly(case, said)[0]


def test_most_are_named() -> None:
    """First, whether found or suspected, or first among those that no test parts."""
    named = [n for n, case in ROAD.items() if rightly(case, on_the_road(case)[0])[:1] == [True]]
    assert len(named) >= 15
