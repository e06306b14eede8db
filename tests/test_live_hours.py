"""Six minutes of listening; `python tests/bench_live.py hours 8` makes it eight hours."""

from __future__ import annotations

from pathlib import Path

import pytest

live_hours = pytest.importorskip("live_hours", reason="needs /proc")


def test_times_do_not_drift_and_memory_does_not_grow(tmp_path: Path) -> None:
    result = live_hours.listen(0.1, tmp_path)
    assert result.words == (18, 18)
    assert abs(result.drift) < 0.1  # words of several lengths: their onsets differ
    assert result.spread < 0.4
    assert result.growth < 5
