"""Verdicts and explanations, to the fields of a line and back."""

from __future__ import annotations

import math
import sys
from collections.abc import Iterable

from handsfree.diagnosis import Cause, Evidence, Explanation, Ranked
from handsfree.events import fields
from handsfree.events.kinds import VerdictReached
from handsfree.plan.schema import Finding, Plan


def verdict_fields(event: VerdictReached) -> fields.VerdictFields:
    """How a verdict is written."""
    finding, found = event.finding, event.explanation
    told: fields.Plain = {"part": None}
    if finding:
        told = finding.model_dump(include={"part", "say", "repair", "source"})
        told |= {"when": dict(finding.when)}
    told |= {"outcomes": dict(event.outcomes), "ranking": []}
    if found:
        told |= {"ranking": [_ranked_fields(one) for one in found.ranking]}
        told |= {
            "certainty": fields.Certainty(
                sure=found.sure,
                odds=_finite(found.odds),
                group=_causes_fields(found.group),
                undecided=_causes_fields(found.undecided),
                pivots=list(found.pivots),
                slips=list(found.slips),
            )
        }
    return fields.VerdictFields(**told)


def verdict_of(told: fields.VerdictFields, plan: Plan) -> VerdictReached:
    """The verdict that was told.

    A line without `when` names a rule of the plan, or the readings that speak for the first
    cause; one without `certainty` holds no whole explanation.
    """
    return VerdictReached(_finding(told, plan), dict(told.outcomes), _explanation(told, plan))


def _finding(told: fields.VerdictFields, plan: Plan) -> Finding | None:
    if told.part is None:
        return None
    if told.when is None:
        rules = (rule for rule in plan.findings if (rule.part, rule.say) == (told.part, told.say))
        if rule := next(rules, None):
            return rule
    when = told.when or {e.step: ["pass", "fail"] for one in told.ranking[:1] for e in one.evidence}
    return Finding.model_validate(
        {
            "part": told.part,
            "when": when or {plan.steps[0].id: ["pass", "fail"]},
            "say": told.say,
            "repair": told.repair,
            "source": told.source,
        }
    )


def _explanation(told: fields.VerdictFields, plan: Plan) -> Explanation | None:
    known = told.certainty
    if known is None:
        return None
    return Explanation(
        ranking=tuple(_ranked(one, plan) for one in told.ranking),
        sure=known.sure,
        group=_causes(known.group),
        odds=float(known.odds),
        undecided=_causes(known.undecided),
        pivots=tuple(known.pivots),
        slips=tuple(known.slips),
    )


def _ranked_fields(one: Ranked) -> fields.RankedFields:
    return fields.RankedFields(
        kind=one.cause.kind,
        faults=list(one.cause.faults),
        parts=list(dict.fromkeys(fault.unit for fault in one.faults)),
        say=[fault.say for fault in one.faults],
        odds=_finite(one.odds),
        evidence=[
            fields.EvidenceFields(
                step=e.test,
                ratio=_finite(e.ratio),
                slip=_finite(e.slip),
                factor=_finite(e.factor),
            )
            for e in one.evidence
        ],
    )


def _ranked(told: fields.RankedFields, plan: Plan) -> Ranked:
    circuit = plan.circuit
    faults = tuple(circuit.fault(fault) for fault in told.faults) if circuit else ()
    evidence = (
        Evidence(e.step, float(1 if e.factor is None else e.factor), float(e.ratio), float(e.slip))
        for e in told.evidence
    )
    return Ranked(_cause(told), faults, float(told.odds), tuple(evidence))


def _causes_fields(causes: Iterable[Cause]) -> list[fields.CauseFields]:
    return [fields.CauseFields(kind=one.kind, faults=list(one.faults)) for one in causes]


def _causes(told: Iterable[fields.CauseFields]) -> tuple[Cause, ...]:
    return tuple(map(_cause, told))


def _cause(told: fields.CauseFields) -> Cause:
    return Cause(told.kind, tuple(told.faults))


def _finite(value: float) -> float:
    """JSON has no infinity: as large a number as there is stands for it."""
    if math.isnan(value):
        return 1.0
    return min(max(value, -sys.float_info.max), sys.float_info.max)
