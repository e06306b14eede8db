"""Verdicts and explanations, to the fields of a line and back."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from handsfree.diagnosis import Candidate, Cause, Evidence, Explanation, Ranked, Verdict
from handsfree.diagnosis.plain import plain_explanation
from handsfree.events import fields
from handsfree.events.kinds import VerdictReached
from handsfree.plan.schema import Finding, Plan


def verdict_fields(event: VerdictReached) -> fields.VerdictFields:
    """How a verdict is written."""
    told: dict[str, Any] = {"part": None}
    if finding := event.finding:
        told = finding.model_dump(include={"part", "say", "repair", "source"})
        told["when"] = dict(finding.when)
    told |= {"outcomes": dict(event.outcomes), "ranking": []}
    if event.explanation:
        certainty = plain_explanation(event.explanation)
        told |= {"ranking": certainty.pop("ranking"), "certainty": certainty}
    if event.stands:
        told["stands"] = True
    return fields.VerdictFields.model_validate(told)


def verdict_of(told: fields.VerdictFields, plan: Plan) -> VerdictReached:
    """The verdict that was told.

    A line without `when` names a rule of the plan, or the readings that speak for the first
    cause; one without `certainty` holds no whole explanation.
    """
    finding, found = _finding(told, plan), _explanation(told, plan)
    return VerdictReached(finding, dict(told.outcomes), found, told.stands)


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
        verdict=_said(known, plan),
    )


def _said(known: fields.Certainty, plan: Plan) -> Verdict:
    """What was said; a line of an older job holds only whether it was sure."""
    told, circuit = known.verdict, plan.circuit
    if told is None or circuit is None:
        return Verdict("found" if known.sure else "not sure", (), float(known.odds), None)
    candidates = tuple(
        Candidate(one.site, circuit.fault(one.fault), float(one.probability))
        for one in told.candidates
    )
    blind = tuple(map(circuit.fault, told.blind))
    return Verdict(told.kind, candidates, float(told.odds), told.next_test, blind)


def _ranked(told: fields.RankedFields, plan: Plan) -> Ranked:
    circuit = plan.circuit
    faults = tuple(circuit.fault(fault) for fault in told.faults) if circuit else ()
    evidence = (
        Evidence(e.step, float(1 if e.factor is None else e.factor), float(e.ratio), float(e.slip))
        for e in told.evidence
    )
    return Ranked(_cause(told), faults, float(told.odds), tuple(evidence))


def _causes(told: Iterable[fields.CauseFields]) -> tuple[Cause, ...]:
    return tuple(map(_cause, told))


def _cause(told: fields.CauseFields) -> Cause:
    return Cause(told.kind, tuple(told.faults))
