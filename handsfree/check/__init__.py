"""From a reading to how it compares with what the plan expects.

resolve     which of several hearings was meant
expected    what a step expects, given the readings so far; `guard`: what proves nothing
verdict     the comparison
states      the state that a voltage means
excursions  where a record left its own level
sweep       a travel after the repair
agreement   what a plan expects by hand against what its circuit gives
"""

from handsfree.check.expected import Expected, Taken, accuracy, expected, written
from handsfree.check.resolve import resolve
from handsfree.check.states import as_state
from handsfree.check.sweep import SweepFault, judge_sweep, limits_of, taken_sweep
from handsfree.check.verdict import Comparison, Refusal, check

__all__ = [
    "Comparison",
    "Expected",
    "Refusal",
    "SweepFault",
    "Taken",
    "accuracy",
    "as_state",
    "check",
    "expected",
    "judge_sweep",
    "limits_of",
    "resolve",
    "taken_sweep",
    "written",
]
