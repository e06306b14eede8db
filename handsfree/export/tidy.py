"""The readings of jobs as a tidy table: a row a reading, a column a variable.  Pure."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from pydantic import BaseModel, ConfigDict, Field

from handsfree.check import written
from handsfree.export.ucum import ucum
from handsfree.log import JobRecord, LoggedReading
from handsfree.meaning import Reading, State
from handsfree.units import Quantity, quantity

#: Of this table and the document around it; a column that changes its meaning makes another.
EXPORT_FORMAT = 1


class TidyRow(BaseModel):
    """One reading."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    job: str = Field(description="name of the job's folder")
    seq: int = Field(description="number of its event in the log of the job")
    time: str = Field(description="UTC, ISO 8601")
    technician: str | None = Field(description="who measured, as it was told")
    customer: str | None
    vehicle: str | None
    registration: str | None
    order: str | None = Field(description="number of the repair order")
    plan: str = Field(description="title of the plan")
    step: str = Field(description="id of the step in the plan")
    phase: str = Field(description="test, or after_repair")
    wire: str | None = Field(description="colours")
    pin: str | None = Field(description="as printed; of two that were probed, 5 to 3")
    condition: str = Field(description="id of the condition in the plan")
    measured: str = Field(description="reading, state or observation")
    value: float | None = Field(description="number, in `unit`; none if over limit, or no number")
    unit: str | None = Field(description="UCUM code, case sensitive")
    over_limit: bool = Field(description="the meter showed beyond its range")
    answer: str | None = Field(description="the state, or what was observed")
    low: float | None = Field(description="least that was expected, in `unit`")
    high: float | None = Field(description="most that was expected, in `unit`")
    expected: str = Field(description="what was expected, for people")
    verdict: str
    stands: bool = Field(description="it was neither corrected nor struck")
    superseded_by: int | None = Field(description="seq of the reading that took its place")
    struck_by: int | None = Field(description="seq of the event that struck it")
    clip: str | None = Field(description="its sound, within the job's folder")


COLUMNS_TIDY = tuple(TidyRow.model_fields)


def tidy(record: JobRecord, *, history: bool = True) -> Iterator[TidyRow]:
    """The rows of a job, in the order they were taken.

    Args:
        record: the job.
        history: also readings that were corrected or struck.
    """
    for reading in record.readings.history:
        if history or reading.stands:
            yield _row(record, reading)


def export_document(records: tuple[JobRecord, ...], *, history: bool = True) -> dict[str, Any]:
    """Jobs and their readings as JSON values; see `export_schema`."""
    rows = [row.model_dump() for record in records for row in tidy(record, history=history)]
    return {"format": EXPORT_FORMAT, "jobs": [_job(record) for record in records], "readings": rows}


def export_schema() -> dict[str, Any]:
    """The published format of that document, as JSON Schema (draft 2020-12)."""
    row = TidyRow.model_json_schema()
    text = {"type": "string"}
    job = {
        "job": {**text, "description": "name of its folder"},
        "began": {**text, "description": "UTC, ISO 8601"},
        "plan": {**text, "description": "title of the plan"},
        "plan_sha256": text,
        "status": {"enum": ["verified", "not verified", "open"]},
        "part": {"type": ["string", "null"], "description": "that was found; null if none was"},
        "subject": {"type": "object", "additionalProperties": text},
    }
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Readings of jobs",
        "type": "object",
        "properties": {
            "format": {"const": EXPORT_FORMAT},
            "jobs": {
                "type": "array",
                "items": {
                    "type": "object",
                    "properties": job,
                    "required": list(job),
                    "additionalProperties": False,
                },
            },
            "readings": {"type": "array", "items": row},
        },
        "required": ["format", "jobs", "readings"],
        "additionalProperties": False,
    }


def _job(record: JobRecord) -> dict[str, Any]:
    finding = getattr(record.verdict, "finding", None)
    return {
        "job": record.folder.name,
        "began": record.began,
        "plan": record.plan.title,
        "plan_sha256": record.opened.plan_sha256 if record.opened else "",
        "status": record.ending.status if record.ending else "open",
        "part": finding.part if finding else None,
        "subject": record.subject,
    }


def _row(record: JobRecord, reading: LoggedReading) -> TidyRow:
    entry, subject = reading.entry, record.subject
    step, wanted = record.plan.step(entry.step), entry.verdict.expected
    value: Quantity | None = None
    answer: str | None = None
    match entry.take:
        case Reading(value=value):
            measured = "reading"
        case State(state=answer):
            measured = "state"
        case other:
            measured, answer = "observation", other.answer
    unit = value
    if unit is None and measured == "reading":
        unit = quantity(0, step.measure.base_unit)
    return TidyRow(
        job=record.folder.name,
        seq=reading.seq,
        time=reading.time,
        technician=reading.taken_by or subject.get("technician"),
        customer=subject.get("customer"),
        vehicle=subject.get("vehicle"),
        registration=subject.get("registration"),
        order=subject.get("order"),
        plan=record.plan.title,
        step=entry.step,
        phase=step.phase,
        wire=reading.wire,
        pin=reading.pin,
        condition=entry.condition,
        measured=measured,
        value=None if value is None else float(value.magnitude),
        unit=None if unit is None else ucum(unit),
        over_limit=measured == "reading" and value is None,
        answer=answer,
        low=_in(wanted.low, unit),
        high=_in(wanted.high, unit),
        expected=written(wanted),
        verdict=entry.verdict.result,
        stands=reading.stands,
        superseded_by=reading.superseded_by,
        struck_by=reading.struck_by,
        clip=reading.clip,
    )


def _in(limit: Quantity | None, unit: Quantity | None) -> float | None:
    """A limit in the unit of the reading; None if there is none, or it is of another kind."""
    if limit is None or unit is None or not limit.is_compatible_with(unit.units):
        return None
    return float(limit.to(unit.units).magnitude)
