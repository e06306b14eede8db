"""A record of a clamp, a scope or a logging meter, from CSV into the log of a job."""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from handsfree.check import expected
from handsfree.check.excursions import NoLevel, Recorded, excursions
from handsfree.errors import BadInput
from handsfree.events import RecordedExcursion, RecordImported
from handsfree.events.codec import same_fields
from handsfree.events.watches import Watch
from handsfree.log import JobRecord, open_job
from handsfree.plan.schema import Plan, Step
from handsfree.units import Quantity, fits, quantity

#: Bytes of a file, at most: ten minutes at 1 kHz are about ten million.
LARGEST_RECORD = 1 << 26
#: Lines before the first sample, at most.
MOST_HEADER = 200
_UNITS = {
    **dict.fromkeys(("volt", "volts"), "V"),
    **dict.fromkeys(("amp", "amps", "ampere"), "A"),
    **dict.fromkeys(("ohm", "ohms"), "Ω"),
    **dict.fromkeys(("second", "seconds", "sec"), "s"),
}
_IN_BRACKETS = re.compile(r"[(\[]\s*([^)\]]+?)\s*[)\]]")

_Array = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class RecordSamples:
    """A record as it was read.

    Attributes:
        times: (n,) seconds, rising.
        values: (n,) in `unit`.
        unit: of the values, as pint writes it; empty if the file does not tell it.
    """

    times: _Array
    values: _Array
    unit: str


def read_samples(text: str, source: str, column: str | None = None) -> RecordSamples:
    """Time and value from CSV: comma, semicolon or tab; a header or none.

    The first column is the time, in seconds, in the unit that its heading tells, or as dates
    (ISO 8601). The second is the value, or the one that is headed `column`.

    Raises:
        BadInput: the file cannot be used; names the line.
    """
    lines = text.splitlines()
    first = next((n for n, line in enumerate(lines[:MOST_HEADER]) if _is_sample(line)), None)
    if first is None:
        raise BadInput(
            "no line with a time and a value is there",
            where=source,
            remedy="Begin the file with the line: time (s),value (V)",
        )
    mark = _separator(lines[first])
    heads = [_cells(line, mark) for line in lines[:first]]
    heads = [cells for cells in heads if len(cells) >= 2]
    place = _column(heads, column, source)
    body = "\n".join(lines[first:])
    if mark == ";":
        body = body.replace(",", ".")
    dated = _date(_cells(lines[first], mark)[0]) is not None
    converters: Any = {0: _seconds} if dated else None
    try:
        table = np.loadtxt(
            io.StringIO(body), delimiter=mark, usecols=(0, place), ndmin=2, converters=converters,
            comments=None, encoding="utf-8",
        )  # fmt: skip
    except ValueError as error:
        row = re.search(r"at row (\d+)(, column)?", str(error))
        counted_from_one = row is not None and row[2] is None  # numpy does both
        line = first + 1 + (int(row[1]) if row else 0) - counted_from_one
        raise BadInput("this is no sample", where=f"{source}, line {line}") from error
    scale = float(quantity(1, _unit(heads, 0) or "s").m_as("s")) if not dated else 1.0
    times, values = table[:, 0] * scale, table[:, 1]
    _refuse(times, values, source, first)
    return RecordSamples(times, values, _unit(heads, place))


def _refuse(times: _Array, values: _Array, source: str, first: int) -> None:
    def here(index: int) -> str:
        return f"{source}, line {first + 1 + index}"

    wrong = np.flatnonzero(~(np.isfinite(times) & np.isfinite(values) & (np.abs(values) < 1e12)))
    if len(wrong):
        raise BadInput("this is no sample that can be measured", where=here(int(wrong[0])))
    back = np.flatnonzero(np.diff(times) <= 0)
    if len(back):
        raise BadInput("the time does not rise", where=here(int(back[0]) + 1))
    if len(times) < 10:
        raise BadInput("too few samples", where=source, remedy="At least ten are needed.")


def _separator(line: str) -> str:
    return next((mark for mark in (";", "\t") if mark in line), ",")


def _cells(line: str, mark: str | None = None) -> list[str]:
    return [cell.strip().strip('"') for cell in line.split(mark or _separator(line))]


def _is_sample(line: str) -> bool:
    mark = _separator(line)
    cells = _cells(line, mark)
    if len(cells) < 2:
        return False
    numbers = [cell.replace(",", ".") if mark == ";" else cell for cell in cells]
    timed = _number(numbers[0]) or _date(cells[0]) is not None
    return timed and any(map(_number, numbers[1:]))


def _number(text: str) -> bool:
    return bool(re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", text, re.ASCII))


def _date(text: str) -> datetime | None:
    try:
        return datetime.fromisoformat(text.strip())
    except ValueError:
        return None


def _seconds(cell: str) -> float:
    return datetime.fromisoformat(cell.strip().strip('"')).timestamp()


def _column(heads: Sequence[list[str]], column: str | None, source: str) -> int:
    if column is None:
        return 1
    names = [cell for cells in heads for cell in cells[1:]]
    for cells in heads:
        for place, cell in enumerate(cells):
            if place and column.lower() in (
                cell.lower(),
                _IN_BRACKETS.sub("", cell).strip().lower(),
            ):
                return place
    raise BadInput(
        f"no column is headed {column!r}", where=source, remedy=f"Known: {', '.join(names)}"
    )


def _unit(heads: Sequence[list[str]], place: int) -> str:
    """The unit that a heading tells: "Voltage (mV)", or a line of units."""
    for cells in reversed(heads):
        if place >= len(cells):
            continue
        bracketed = _IN_BRACKETS.search(cells[place])
        for told in (bracketed[1] if bracketed else "", cells[place]):
            unit = _UNITS.get(told.lower(), told)
            try:
                if unit and not quantity(1, unit).dimensionless:
                    return unit
            except ValueError:
                continue
    return ""


def import_record(
    job: Path,
    file: Path,
    *,
    watch: int | None = None,
    step: str | None = None,
    unit: str | None = None,
    column: str | None = None,
    band: Quantity | None = None,
) -> RecordImported:
    """Find the excursions of a record and add it, with its file, to a job.

    Args:
        job: its folder.
        file: CSV; see `read_samples`.
        watch: number of the watch that it was taken in; the last one, if neither is given.
        step: id of the step that it was taken at.
        unit: of the values, where the file does not tell it.
        column: heading of the value, where it is not the second.
        band: distance from the steady level that is no excursion; by the record's noise if None.

    Raises:
        BadInput: the job is finished or has no such watch or step, or the file cannot be used.
    """
    record = JobRecord.read(job)
    if record.ending is not None:
        raise BadInput("the job is finished", where=str(job), remedy="Import before it ends.")
    at, number = _place(record, watch, step, job)
    data, text = _content(file)
    samples = read_samples(text, str(file), column)
    name = unit or samples.unit or (at.measure.base_unit if at else "")
    if not name or (at and not fits(_one(name, file), at.measure.base_unit)):
        where = f"the step measures {at.measure.quantity}" if at else "its unit is not told"
        remedy = "Tell it with --unit, such as --unit mV."
        raise BadInput(
            f"the record is in {name or 'no unit'}: {where}", where=str(file), remedy=remedy
        )
    wanted = expected(at, record.session.taken) if at else None
    limits = tuple(
        None if limit is None else float(limit.m_as(name))
        for limit in ((wanted.low, wanted.high) if wanted else (None, None))
    )
    if band is not None and not fits(band, name):
        raise BadInput(f"the band is not in {name}", where="--band")
    try:
        found = excursions(
            samples.times, samples.values, limits=(limits[0], limits[1]),
            band=None if band is None else abs(float(band.m_as(name))),
        )  # fmt: skip
    except NoLevel as error:
        raise BadInput(
            str(error), where=str(file), remedy="Give --band, or a record at rest."
        ) from error
    with open_job(job, record.plan_text.encode(), title=record.plan.title) as log:
        kept, digest = log.keep(data, ".csv")
        event = _event(found, file.name, kept, digest, number, at, name, len(samples.times))
        kind, fields = same_fields(event)
        log.append(kind, None, **fields)
    return event


def _place(
    record: JobRecord, watch: int | None, step: str | None, job: Path
) -> tuple[Step | None, int | None]:
    """The step whose limits count, and the watch."""
    plan: Plan = record.plan
    watches: tuple[Watch, ...] = record.session.watches
    if step is not None:
        known = [s.id for s in plan.steps if s.measure.quantity]
        if step not in known:
            raise BadInput(
                f"no step {step!r} measures a quantity",
                where=str(job),
                remedy=f"Known: {', '.join(known)}",
            )
        return plan.step(step), watch
    number = watch if watch is not None else (watches[-1].begun.number if watches else 0)
    begun = next((one.begun for one in watches if one.begun.number == number), None)
    if begun is None:
        told = f"the job has no watch {number}" if number else "the job has no watch"
        raise BadInput(told, where=str(job), remedy="Name the step with --step.")
    return (plan.step(begun.step) if begun.step else None), number


def _content(file: Path) -> tuple[bytes, str]:
    try:
        with file.open("rb") as opened:
            data = opened.read(LARGEST_RECORD + 1)
        if len(data) > LARGEST_RECORD:
            raise BadInput(
                "larger than 64 megabytes", where=str(file), remedy="Import a part of it."
            )
        return data, data.decode("utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise BadInput(f"the record cannot be read: {error}", where=str(file)) from error


def _one(unit: str, file: Path) -> Quantity:
    try:
        return quantity(1, unit)
    except ValueError as error:
        raise BadInput(str(error), where=str(file), remedy="Tell it with --unit.") from error


def _event(
    found: Recorded, source: str, kept: str, digest: str, watch: int | None, step: Step | None,
    unit: str, samples: int,
) -> RecordImported:  # fmt: skip
    return RecordImported(
        source=source,
        record=kept,
        record_sha256=digest,
        watch=watch,
        step=step.id if step else None,
        unit=unit,
        samples=samples,
        lasted=round(found.lasted, 3),
        level=float(f"{found.level:.6g}"),
        band=float(f"{found.band:.6g}"),
        low=found.limits[0],
        high=found.limits[1],
        excursions=tuple(
            RecordedExcursion(one.after, one.lasted, float(f"{one.extreme:.6g}"), one.side)
            for one in found.found
        ),
        outline=found.outline,
    )
