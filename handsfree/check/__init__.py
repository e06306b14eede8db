"""From a reading to a verdict: compared with what the plan expects."""

from handsfree.check.expected import Expected, Taken, accuracy, expected, written
from handsfree.check.resolve import resolve
from handsfree.check.verdict import Refusal, Verdict, check

__all__ = [
    "Expected",
    "Refusal",
    "Taken",
    "Verdict",
    "accuracy",
    "check",
    "expected",
    "resolve",
    "written",
]
