"""Between the dialogue and the log: effects become events, events become a session again."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from decimal import Decimal
from typing import Any

from handsfree.check import Verdict, expected, written
from handsfree.diagnosis.plain import plain_explanation
from handsfree.dialogue import (
    Ask,
    Conclude,
    Effect,
    Entry,
    Finish,
    Guess,
    Move,
    Record,
    Say,
    Session,
    Strike,
    Teach,
    Wording,
    WriteNote,
)
from handsfree.heard import Heard
from handsfree.meaning import Observation, Reading, State, Take, Understood
from handsfree.meaning.plain import plain, plain_understood
from handsfree.plan.schema import Finding, Plan
from handsfree.units import quantity, show

Fields = dict[str, Any]

_FINDING = {"part", "say", "repair", "source"}


def heard_fields(heard: Heard, understood: Understood, plan: Plan) -> Fields:
    """The fields of a `heard` event."""
    return {
        "start": round(heard.start, 3),
        "end": round(heard.end, 3),
        "engine": heard.engine,
        "text": heard.text,
        "confidence": round(heard.confidence, 4),
        "alternatives": [
            {"text": h.text, "score": round(h.score, 4)} for h in heard.hypotheses[1:]
        ],
        "meaning": plain_understood(understood, plan),
    }


def effect_fields(effect: Effect, wording: Wording, seqs: Mapping[int, int]) -> tuple[str, Fields]:
    """The kind and fields of the event that an effect leaves.

    Args:
        effect: what the dialogue wants done.
        wording: says wires and values.
        seqs: number of an entry to the seq of its event.
    """
    plan = wording.plan
    match effect:
        case Say(text=text):
            return "said", {"text": text}
        case Ask(text=text, candidates=candidates, reason=reason):
            options = [plain(c, plan) for c in candidates]
            return "asked", {"text": text, "candidates": options, "reason": reason}
        case Record(entry=entry):
            return "reading", _reading_fields(entry, wording, seqs)
        case Strike(entry=entry):
            return "struck", {"struck": seqs[entry.number], "step": entry.step}
        case Move(step=step, condition=condition, skipped=skipped):
            return "step", {"step": step, "condition": condition, "skipped": skipped}
        case Teach(guess=guess):
            said = plain(guess.take, plan) if guess.take else None
            return "lesson", {"step": guess.step, "guess": said, "right": guess.right}
        case WriteNote(text=text):
            return "note", {"text": text, "verified": False}
        case Conclude(finding=finding, outcomes=outcomes, explanation=explanation):
            withdrawn = {"withdrawn": True} if effect.withdrawn else {}
            part = finding.model_dump(include=_FINDING) if finding else {"part": None}
            ranking = plain_explanation(explanation)["ranking"] if explanation else []
            fields = {**part, **withdrawn, "outcomes": dict(outcomes), "ranking": ranking}
            return "verdict", fields
        case Finish(status=status, missing=missing):
            return "finished", {"status": status, "missing": list(missing)}


def _reading_fields(entry: Entry, wording: Wording, seqs: Mapping[int, int]) -> Fields:
    plan, verdict = wording.plan, entry.verdict
    step = plan.step(entry.step)
    taken = plain(entry.take, plan)
    fields: Fields = {
        "number": entry.number,
        "step": step.id,
        "wire": " to ".join(plan.pin(p).wire for p in step.pins) or None,
        "pins": list(step.pins),
        "condition": entry.condition,
        "measured": taken["kind"],
        "value": taken["value"],
        "unit": taken["unit"],
        "spoken": taken.get("spoken"),
        "over_limit": taken.get("over_limit", False),
        "expected": written(verdict.expected),
        "verdict": verdict.result,
        "outcome": verdict.outcome,
        "distance": None if verdict.distance is None else show(verdict.distance),
        "phase": step.phase,
    }
    if entry.supersedes is not None:
        fields |= {"supersedes": seqs[entry.supersedes], "corrects": entry.corrects}
    return fields


def restore(plan: Plan, events: Iterable[Mapping[str, Any]]) -> tuple[Session, dict[int, int]]:
    """The session that a log tells of, and the seq of each entry's event.

    Args:
        plan: the plan as used.
        events: events as plain dictionaries with `event` and `seq`.
    """
    session, seqs = Session(), dict[int, int]()
    for event in events:
        match event["event"]:
            case "reading":
                entry = _entry(plan, session, event, seqs)
                seqs[entry.number] = event["seq"]
                entries = [
                    replace(e, stands=False) if e.number == entry.supersedes else e
                    for e in session.entries
                ]
                session = replace(
                    session,
                    entries=(*entries, entry),
                    skipped=session.skipped - {entry.step},
                )
            case "struck":
                entries = [
                    replace(e, stands=False) if seqs.get(e.number) == event["struck"] else e
                    for e in session.entries
                ]
                session = replace(session, entries=tuple(entries))
            case "sweep":
                session = replace(session, sweep=tuple(f["flaw"] for f in event["flaws"]))
            case "lesson":
                guess = Guess(event["step"], None, event["right"])
                session = replace(session, guesses=(*session.guesses, guess))
            case "step":
                session = _moved(plan, session, event)
            case "verdict":
                session = replace(session, phase="verdict", step=None, finding=_finding(event))
            case "finished":
                session = replace(session, phase="finished", step=None)
    return session, seqs


def _moved(plan: Plan, session: Session, event: Mapping[str, Any]) -> Session:
    skipped = session.skipped | ({event["skipped"]} if event["skipped"] else set())
    visited = session.visited
    if session.step not in (None, event["step"]):
        visited = (*visited, session.step or "")
    return replace(
        session,
        phase=plan.step(event["step"]).phase,
        step=event["step"],
        condition=event["condition"],
        skipped=skipped,
        visited=visited,
    )


def _entry(
    plan: Plan, session: Session, event: Mapping[str, Any], seqs: Mapping[int, int]
) -> Entry:
    step = plan.step(event["step"])
    take = _take(event)
    distance = quantity(*_split(event["distance"])) if event["distance"] else None
    verdict = Verdict(event["verdict"], event["outcome"], expected(step, session.taken), distance)
    numbers = {seq: number for number, seq in seqs.items()}
    supersedes = numbers.get(event.get("supersedes", 0))
    corrects = event.get("corrects", False)
    return Entry(event["number"], step.id, event["condition"], take, verdict, supersedes, corrects)


def _finding(event: Mapping[str, Any]) -> Finding | None:
    """The verdict as it was logged; None if it names no part, or was withdrawn."""
    if event["part"] is None:
        return None
    told = {name: event[name] for name in _FINDING}
    return Finding.model_validate({**told, "when": event["outcomes"]})


def _take(event: Mapping[str, Any]) -> Take:
    match event["measured"]:
        case "state":
            return State(event["value"])
        case "observation":
            return Observation(event["value"])
    if event["over_limit"]:
        return Reading(None)
    return Reading(quantity(event["value"], event["unit"]), number=Decimal(event["spoken"]))


def _split(text: str) -> tuple[float, str]:
    number, _, unit = text.partition(" ")
    return float(number), unit
