"""From a reading to a verdict: compared with what the plan expects."""

from handsfree.check.expected import Expected, Taken, accuracy, expected, written
from handsfree.check.resolve import resolve
from handsfree.check.sweep import SweepFault, judge_sweep, limits_of, taken_sweep
from handsfree.check.verdict import Comparison, Refusal, check

__all__ = [
    "Comparison",
    "Expected",
    "Refusal",
    "SweepFault",
    "Taken",
    "accuracy",
    "check",
    "expected",
    "judge_sweep",
    "limits_of",
    "resolve",
    "taken_sweep",
    "written",
]
