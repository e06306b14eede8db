"""The plan's own rules: which part is at fault when the steps came out so."""

from __future__ import annotations

from collections.abc import Mapping

from handsfree.plan.schema import Finding, Outcome, Plan


def matches(wanted: Outcome | tuple[Outcome, ...], outcome: Outcome | None) -> bool:
    """Whether an outcome is what a rule wants; "fail" also covers low and high."""
    options = (wanted,) if isinstance(wanted, str) else wanted
    return outcome in options or ("fail" in options and outcome in ("low", "high"))


def conclude(plan: Plan, outcomes: Mapping[str, Outcome]) -> Finding | None:
    """The first finding whose every condition holds, or None.

    Args:
        plan: gives the findings, in the order in which they are tried.
        outcomes: outcome by step id; a step that was not reached is absent and matches nothing.
    """
    for finding in plan.findings:
        if all(matches(wanted, outcomes.get(step)) for step, wanted in finding.when.items()):
            return finding
    return None
