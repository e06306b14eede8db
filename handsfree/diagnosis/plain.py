"""Explanations as JSON values, for the log and the command line."""

from __future__ import annotations

import math
import sys
from typing import Any

from handsfree.diagnosis.causes import Cause
from handsfree.diagnosis.explain import Explanation, Ranked
from handsfree.diagnosis.verdict import Verdict


def written_odds(value: float) -> str:
    """Odds in figures, as people write them: 20:1, or 1:50."""
    return f"{value:.0f}:1" if value >= 1 else f"1:{min(1 / max(value, 1e-9), 99):.0f}"


def plain_explanation(found: Explanation) -> dict[str, Any]:
    """An explanation as JSON values; odds are plain ratios, 20.0 is twenty to one."""
    return {
        "sure": found.sure,
        "odds": _finite(found.odds),
        "verdict": _verdict(found.verdict),
        "group": [_cause(cause) for cause in found.group],
        "undecided": [_cause(cause) for cause in found.undecided],
        "pivots": list(found.pivots),
        "slips": list(found.slips),
        "ranking": [_ranked(one) for one in found.ranking],
    }


def _verdict(said: Verdict) -> dict[str, Any]:
    return {
        "kind": said.kind,
        "candidates": [
            {"site": c.site, "fault": c.fault.id, "probability": _finite(c.probability)}
            for c in said.candidates
        ],
        "odds": _finite(said.odds),
        "next_test": said.next_test,
        "blind": [fault.id for fault in said.blind],
    }


def _cause(cause: Cause) -> dict[str, Any]:
    return {"kind": cause.kind, "faults": list(cause.faults)}


def _ranked(one: Ranked) -> dict[str, Any]:
    return {
        **_cause(one.cause),
        "parts": list(dict.fromkeys(fault.unit for fault in one.faults)),
        "say": [fault.say for fault in one.faults],
        "odds": _finite(one.odds),
        "evidence": [
            {
                "step": e.test,
                "ratio": _finite(e.ratio),
                "slip": _finite(e.slip),
                "factor": _finite(e.factor),
            }
            for e in one.evidence
        ],
    }


def _finite(value: float) -> float:
    """JSON has no infinity: as large a number as there is stands for it."""
    if math.isnan(value):
        return 1.0
    return min(max(value, -sys.float_info.max), sys.float_info.max)
