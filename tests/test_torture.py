"""A few cases of each fault campaign; `make torture` runs hundreds."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from tests.torture.campaigns import CAMPAIGNS, Case

#: Cases of each campaign; of kills, fifty in all.
FEW = 3
MORE = {"killed at random": 40, "killed inside a write": 10}


@pytest.mark.parametrize(("name", "case"), [(name, case) for name, _, case in CAMPAIGNS])
def test_nothing_acknowledged_is_lost(name: str, case: Case, tmp_path: Path) -> None:
    for number in range(MORE.get(name, FEW)):
        folder = tmp_path / str(number)
        folder.mkdir()
        case(folder, random.Random(f"{name} {number}"))
