"""Readings from a CSV file into the log of a job, for whoever has no microphone."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from handsfree.check import Refusal
from handsfree.dialogue import Dialogue
from handsfree.errors import BadInput
from handsfree.events import ReadingsImported
from handsfree.job.job import Job
from handsfree.job.sweeps import LARGEST, NUMBER
from handsfree.languages import language_of
from handsfree.log import JobRecord, chain, open_job
from handsfree.log.folder import EVENTS
from handsfree.meaning import Observation, Reading, State, Take
from handsfree.plan import LoadedPlan, Plan, Step
from handsfree.units import quantity, show

#: Columns of the file; `unit` may be left out, or empty: then it is that of the step.
NEEDED, OPTIONAL = ("step", "value"), ("unit", "condition")
#: How meters and tables write that the reading is beyond the range.
OVER = frozenset({"over limit", "overlimit", "over range", "ol", "o.l", "o.l."})
#: Units as UCUM writes them, where the trade does otherwise.
_UCUM = {"Cel": "°C", "Ohm": "Ω", "mOhm": "mΩ", "kOhm": "kΩ", "MOhm": "MΩ", "1": ""}


@dataclass(frozen=True, slots=True)
class Entered:
    """A row of the file that was understood.

    Attributes:
        line: of the file.
        step: that it belongs to.
        take: its value.
    """

    line: int
    step: Step
    take: Take


def import_readings(
    job: Path, loaded: LoadedPlan, file: Path, *, details: Mapping[str, object], by: str = ""
) -> int:
    """Take the readings of a file into a job, in its order; all of them or none.

    Args:
        job: folder of an open job, or of a new one.
        loaded: the plan of the job.
        file: CSV (RFC 4180) in UTF-8 with the columns step and value, perhaps unit and condition.
        details: what a new job is opened with.
        by: who vouches for them; empty if nobody is named.

    Returns:
        How many there were.

    Raises:
        BadInput: a row cannot be used, or the job cannot be written; names the line.
    """
    content, language = _content(file), language_of(loaded)
    known = JobRecord.read(job).plan if (job / EVENTS).exists() else loaded.plan
    rows = read_readings(content.decode("utf-8-sig"), str(file), known)
    _try(rows, Dialogue(known, language), file)
    dialogue = Dialogue(loaded.plan, language)
    plan = loaded.text.encode()
    with open_job(job, plan, title=loaded.plan.title, details=details) as log:
        session = Job(dialogue, log, lambda _: None, lambda _: None)
        if session.session.step is None and not session.session.entries:
            session.begin()
        event = ReadingsImported(file.name, chain.digest(content), by)
        imported = session.happened(event).seq
        for row in rows:
            refused = session.enter(row.step, row.take, imported=imported, row=row.line)
            if refused is not None:  # by what the job held before
                raise BadInput(_why(refused), where=f"{file}, line {row.line}")
    return len(rows)


def read_readings(text: str, source: str, plan: Plan) -> tuple[Entered, ...]:
    """The rows of a file.

    Raises:
        BadInput: columns are missing, or a row names no step or tells no value; names the line.
    """
    rows = csv.DictReader(io.StringIO(text, newline=None), strict=True)
    try:
        names = [name.strip().lower() for name in rows.fieldnames or ()]
        if any(names.count(name) != 1 for name in NEEDED) or len(names) != len(set(names)):
            raise BadInput(
                f"the columns {' and '.join(NEEDED)} are not there, once each",
                where=f"{source}, line 1",
                remedy=f"Begin the file with the line: {','.join((*NEEDED, *OPTIONAL))}",
            )
        rows.fieldnames = names
        return tuple(
            _row(row, f"{source}, line {rows.line_num}", plan, rows.line_num) for row in rows
        )
    except csv.Error as error:
        where = f"{source}, line {rows.line_num + 1}"
        raise BadInput(f"this is no CSV: {error}", where=where) from error


def _row(row: Mapping[str, str | None], source: str, plan: Plan, line: int) -> Entered:
    where = f"{source}, line {line}"
    cells = {name: (row.get(name) or "").strip().removeprefix("'") for name in (*NEEDED, *OPTIONAL)}
    try:
        step = plan.step(cells["step"])
    except KeyError:
        known = ", ".join(one.id for one in plan.steps)
        raise BadInput(
            f"the plan has no step {cells['step'][:80]!r}", where=where, remedy=f"Steps: {known}"
        ) from None
    condition = cells["condition"]
    if condition and condition != step.condition:
        raise BadInput(f"this step is not tested under {condition[:80]!r}", where=where)
    return Entered(line, step, _take(cells["value"], cells["unit"], step, where))


def _take(value: str, unit: str, step: Step, where: str) -> Take:
    measure = step.measure
    if measure.quantity is None:
        word = value.casefold()
        for option in measure.options or ():
            if word in (option.value.casefold(), *(name.casefold() for name in option.names)):
                return Observation(option.value, None)
        for state in measure.states or ():
            if word == state:
                return State(state, None)
        known = [*(measure.states or ()), *(option.value for option in measure.options or ())]
        raise BadInput(
            f"{value[:80]!r} is nothing that is told here", where=where, remedy=f"Known: {known}"
        )
    if value.casefold() in OVER:
        return Reading(None, None)
    if not NUMBER.fullmatch(value):
        raise BadInput(
            f"{value[:80]!r} is no number", where=where, remedy="A number, or: over limit"
        )
    try:
        return Reading(quantity(float(value), _UCUM.get(unit, unit) or measure.base_unit), None)
    except ValueError as error:
        raise BadInput(str(error), where=where) from error


def _try(rows: tuple[Entered, ...], dialogue: Dialogue, file: Path) -> None:
    """Nothing, if every row would be taken in an empty job."""
    session = dialogue.start().session
    for row in rows:
        response = dialogue.enter(session, row.step, row.take)
        if isinstance(response, Refusal):
            raise BadInput(_why(response), where=f"{file}, line {row.line}")
        session = response.session


def _why(refused: Refusal) -> str:
    value = "" if refused.value is None else f"{show(refused.value)} "
    match refused.reason:
        case "absurd":
            limit = "" if refused.limit is None else f" ({show(refused.limit)})"
            return f"{value}is beyond what can be here{limit}"
        case _:
            return f"{value}is not what is measured here"


def _content(file: Path) -> bytes:
    try:
        with file.open("rb") as opened:
            content = opened.read(LARGEST + 1)
        if len(content) > LARGEST:
            raise BadInput("larger than a megabyte; this is no table of readings", where=str(file))
        content.decode("utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise BadInput(f"the table cannot be read: {error}", where=str(file)) from error
    return content
