"""A sweep from a CSV file into the log of a job."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping
from pathlib import Path

from handsfree.check import SweepFault, judge_sweep, limits_of
from handsfree.errors import BadInput
from handsfree.events import FoundFlaw, SweepImported
from handsfree.events.codec import same_fields
from handsfree.log import JobRecord, open_job
from handsfree.plan import Plan
from handsfree.units import Quantity, quantity, show

#: Bytes of a file, at most; a sweep is a few kilobytes.
LARGEST = 1_000_000
#: Of a command or a feedback in its unit; more is measured nowhere.
LARGEST_VALUE = 1e9

Points = list[tuple[Quantity, Quantity]]


def read_points(text: str, source: str, unit: str) -> Points:
    """Command and feedback from CSV (RFC 4180) with a header `command,feedback`.

    The command is in percent, the feedback in `unit`.

    Raises:
        BadInput: the columns are not there, or a value is no number; names the line.
    """
    rows = csv.DictReader(io.StringIO(text, newline=None), strict=True)
    try:
        names = [name.strip().lower() for name in rows.fieldnames or ()]
        if any(names.count(column) != 1 for column in _COLUMNS):
            raise BadInput(
                "the columns command and feedback are not there, once each",
                where=f"{source}, line 1",
                remedy="Begin the file with the line: command,feedback",
            )
        rows.fieldnames = names
        return [_point(row, f"{source}, line {rows.line_num}", unit) for row in rows]
    except csv.Error as error:
        where = f"{source}, line {rows.line_num + 1}"
        raise BadInput(f"this is no CSV: {error}", where=where) from error


_COLUMNS = ("command", "feedback")
#: As meters and spreadsheets write it; Python takes 1_0 for ten, too.
NUMBER = re.compile(r"\s*[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?\s*", re.ASCII)


def _point(row: Mapping[str, str | None], where: str, unit: str) -> tuple[Quantity, Quantity]:
    cells = [row[column] or "" for column in _COLUMNS]
    if not all(map(NUMBER.fullmatch, cells)):
        raise BadInput("command or feedback is no number", where=where)
    command, feedback = map(float, cells)
    if not max(abs(command), abs(feedback)) <= LARGEST_VALUE:
        raise BadInput("command or feedback is no number that can be measured", where=where)
    return quantity(command, "%"), quantity(feedback, unit)


def import_sweep(job: Path, file: Path) -> tuple[Plan, tuple[SweepFault, ...]]:
    """Judge a sweep by the plan of a job and add it to the job's log.

    Raises:
        BadInput: the plan has no sweep, the job is finished, or the file cannot be used.
    """
    record = JobRecord.read(job)
    limits = limits_of(record.plan)
    if limits is None:
        raise BadInput("the plan of this job has no sweep", where=str(job / "plan.yaml"))
    if record.ending is not None:
        raise BadInput("the job is finished", where=str(job), remedy="Import before it ends.")
    try:
        with file.open("rb") as opened:
            content = opened.read(LARGEST + 1)
        if len(content) > LARGEST:
            raise BadInput("larger than a megabyte; this is no sweep", where=str(file))
        text = content.decode("utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise BadInput(f"the sweep cannot be read: {error}", where=str(file)) from error
    unit = f"{limits.hysteresis.units:~P}"
    points = read_points(text, str(file), unit)
    flaws = judge_sweep(points, limits)
    event = SweepImported(
        source=file.name,
        points=tuple((float(c.magnitude), float(f.magnitude)) for c, f in points),
        unit=unit,
        flaws=tuple(map(_found, flaws)),
    )
    kind, fields = same_fields(event)
    with open_job(job, record.plan_text.encode(), title=record.plan.title) as log:
        log.append(kind, **fields)
    return record.plan, flaws


def _found(fault: SweepFault) -> FoundFlaw:
    command = None if fault.command is None else show(fault.command)
    return FoundFlaw(fault.flaw, command, None if fault.value is None else show(fault.value))
