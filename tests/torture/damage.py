"""Damaged logs, and logs of nonsense whose every hash holds, read by every command."""

from __future__ import annotations

import functools
import random
import sys
from pathlib import Path

import pytest

from handsfree.errors import HandsfreeError
from handsfree.plan import parse_plan

sys.path.insert(0, str(Path(__file__).parents[1]))
import test_log_damaged as damaged

_read = functools.cache(lambda text: parse_plan(text))
_JOBS = sorted(path.name for path in damaged.GOLDEN.iterdir())
_WAYS = (damaged.bytes_changed, damaged.fields_changed, damaged.lines_changed)


def damaged_logs(folder: Path, rng: random.Random) -> None:
    """One damaged copy of a golden job; an error for people, or none."""
    with pytest.MonkeyPatch.context() as patch:
        for module in ("handsfree.log.record", "handsfree.display.follow"):
            patch.setattr(f"{module}.parse_plan", lambda text, _: _read(text))
        job = damaged.damaged(rng.choice(_JOBS), rng.choice(_WAYS), rng.randrange(10**9), folder)
        for use in damaged.used(job, patch):
            try:
                use()
            except HandsfreeError:
                continue
