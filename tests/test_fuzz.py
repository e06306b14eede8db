"""A few cases of each target of the fuzzing; `make fuzz` tries a hundred thousand of each."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

#: Cases of each target; together some seconds.
FEW = {
    "plans": 10, "grammars": 300, "numbers": 300, "events": 100, "chain": 300, "sweeps": 400,
    "sounds": 300, "page": 200, "meanings": 100, "dialogues": 15,
}  # fmt: skip


def test_nothing_is_lost() -> None:
    """In a process of its own, whose memory is bounded."""
    targets = [f"{name}={count}" for name, count in FEW.items()]
    command = [sys.executable, "-m", "tests.fuzz", "--longest", "60", "--only", *targets]
    root = Path(__file__).parents[1]
    done = subprocess.run(command, cwd=root, capture_output=True, text=True, check=False)
    if done.returncode:
        pytest.fail(f"{done.stderr[-3000:]}\n{done.stdout[-2000:]}")
