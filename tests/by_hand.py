"""Plans with every step, finding and circuit written by hand, as anybody may write one."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from handsfree.plan import LoadedPlan, load_plan

FOLDER = Path(__file__).parent / "data" / "plans" / "by-hand"
NAMES = tuple(sorted(path.stem for path in FOLDER.glob("*.yaml")))


@cache
def by_hand(name: str) -> LoadedPlan:
    """One of them."""
    return load_plan(str(FOLDER / f"{name}.yaml"))
