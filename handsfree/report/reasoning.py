"""The reasoning: the causes on one scale of odds, with the readings for and against each."""

from __future__ import annotations

from dataclasses import dataclass

from markupsafe import Markup

from handsfree.diagnosis import Evidence, Ranked
from handsfree.diagnosis.plain import written_odds
from handsfree.log import JobRecord
from handsfree.report.evidence import SPEAKS, basis, on_the_scale
from handsfree.report.svg import FAINT_INK, INK, SOFT_INK, Drawing

_WORDS = {"no fault": "no fault here", "none of these": "none of the known causes"}


@dataclass(frozen=True, slots=True)
class PrintedCause:
    """A cause as it is printed.

    Attributes:
        name: in words.
        odds: in figures.
        scale: the same, drawn.
        speaks, denies: the readings for and against it, the weightiest first.
    """

    name: str
    odds: str
    scale: Markup
    speaks: tuple[str, ...]
    denies: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Reasoning:
    """Why the finding is what it is.

    Attributes:
        causes: the likeliest first; empty if the log holds no odds.
        rule: the outcomes on which a rule of the plan went by, step and outcome; or none.
        source: of the rule, or of the computation.
        slips: readings that the first cause takes for slips.
    """

    causes: tuple[PrintedCause, ...]
    rule: tuple[tuple[str, str], ...]
    source: str
    slips: tuple[str, ...]


def reasoning(record: JobRecord) -> Reasoning | None:
    """The reasoning behind the verdict that holds; None if there is none."""
    held = basis(record)
    if held is None:
        return None
    found, finding = held.explanation, held.verdict.finding
    ranking = found.ranking if found else ()
    causes = tuple(_cause(record, number, one) for number, one in enumerate(ranking))
    rule: tuple[tuple[str, str], ...] = ()
    if not causes and finding is not None:
        outcomes = held.verdict.outcomes
        rule = tuple((_asked(record, s), outcomes[s]) for s in finding.when if s in outcomes)
    slips = tuple(_reading(record, step) for step in (found.slips if found else ()))
    return Reasoning(causes, rule, finding.source if finding else "", slips)


def _cause(record: JobRecord, number: int, one: Ranked) -> PrintedCause:
    words = " and ".join(fault.say for fault in one.faults)
    name = words or _WORDS.get(one.cause.kind, one.cause.kind)
    speaks = sorted((e for e in one.evidence if e.ratio > SPEAKS), key=lambda e: -e.ratio)
    denies = sorted((e for e in one.evidence if e.ratio < 1 / SPEAKS), key=lambda e: e.ratio)
    return PrintedCause(
        name,
        written_odds(one.odds),
        _scale(number, name, one.odds),
        tuple(_told(record, e) for e in speaks[:4]),
        tuple(_told(record, e) for e in denies[:4]),
    )


def _scale(number: int, name: str, odds: float) -> Markup:
    """One cause on the scale that all share: 1:100, even, 100:1."""
    drawing = Drawing(f"odds-{number}", f"Odds of {name}", f"{written_odds(odds)} on a log scale")
    width, left = 150.0, 5.0
    for share in (0, 0.25, 0.5, 0.75, 1):
        drawing.line(left + share * width, 4, left + share * width, 20, stroke=FAINT_INK)
    drawing.line(left, 12, left + width, 12, stroke=SOFT_INK)
    drawing.dot(left + on_the_scale(odds) * width, 12, 5, fill=INK)
    return drawing.sized(160, 24)


def _told(record: JobRecord, one: Evidence) -> str:
    times = one.ratio if one.ratio >= 1 else 1 / max(one.ratio, 1e-3)
    way = "likelier" if one.ratio >= 1 else "less likely"
    factor = f"{min(times, 1000):.2g}" if times < 100 else f"{min(times, 1000):.0f}"
    return f"{_reading(record, one.test)}: {factor} times {way}"


def _reading(record: JobRecord, step: str) -> str:
    """A reading by its number, place and value, as in the table."""
    entry = record.session.standing.get(step)
    value = f" {entry.figures}" if entry else ""
    number = f"#{entry.number} " if entry else ""
    return f"{number}{_asked(record, step)}{value}"


def _asked(record: JobRecord, step_id: str) -> str:
    step = record.plan.step(step_id)
    return record.plan.wires(step) or step_id.replace("_", " ")
