"""Summaries in, jobs found."""

from __future__ import annotations

import threading
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import (
    ColumnElement,
    Connection,
    Engine,
    and_,
    case,
    delete,
    func,
    insert,
    select,
    text,
)

from handsfree.review import tables
from handsfree.review.summary import Summary
from handsfree.review.words import (
    fts5_query,
    matching_lines,
    phrases,
    tsquery,
    tsvector,
)

#: Jobs on one page of the list.
PAGE = 50
#: Jobs on all pages that can be leafed to.
DEEPEST_PAGE = 1000

#: Rows that are fetched together, where there are many.
ROWS_AT_ONCE = 5000

#: PostgreSQL takes reading every text for cheap, for it does not count unpacking them; with 7,000
#: jobs that took 90 ms.  So it is told to look words up (its manual, Planner Method Configuration).
BY_ITS_INDEX = "SET LOCAL enable_seqscan = off"
#: Found before all else, or it reads the words of every job one after the other.
BY_WORDS = (
    "job.n IN (WITH found AS MATERIALIZED"
    " (SELECT job FROM content WHERE words @@ CAST(:words AS tsquery)) SELECT job FROM found)"
)

_CUT = str.maketrans({"\x00": None})  # a byte that PostgreSQL takes in no text


@dataclass(frozen=True, slots=True)
class JobPlace:
    """Where a job is, and by what a change of it is seen.

    Attributes:
        folder: its name in the folder of jobs.
        size, changed: of its log: bytes, and nanoseconds since the epoch.
        workshop: that published it; empty for a local one.
    """

    folder: str
    size: int = 0
    changed: int = 0
    workshop: str = ""


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which jobs are looked for; empty means any.

    Attributes:
        words: as a person types them.
        vehicle: a part of it.
        since, until: moments as a log tells time; the latter no longer included.
        page: from 1.
    """

    words: str = ""
    plan: str = ""
    verdict: str = ""
    status: str = ""
    technician: str = ""
    vehicle: str = ""
    since: str = ""
    until: str = ""
    page: int = 1


@dataclass(frozen=True, slots=True)
class FoundJobs:
    """A page of the list.

    Attributes:
        total: jobs on all pages.
        jobs: rows of the table.
        lines: by id, what was found in a job.
    """

    total: int
    jobs: Sequence[Any]
    lines: Mapping[str, list[str]]


class JobIndex:
    """The index; may be used from any thread, one of which writes at a time.

    Args:
        engine: from `tables`.
    """

    def __init__(self, engine: Engine) -> None:
        self._engine = engine
        self._writing = threading.Lock()
        self._sqlite = engine.dialect.name == "sqlite"

    def close(self) -> None:
        """Give the connections back."""
        self._engine.dispose()

    # In ------------------------------------------------------------------------------------------

    def put(
        self,
        jobs: Iterable[tuple[Summary, JobPlace]],
        *,
        log: bytes | None = None,
        plan_text: str | None = None,
    ) -> None:
        """Take up jobs, each in place of what was known of it; all of them or none.

        Args:
            jobs: with where they are.
            log, plan_text: what is published with them.
        """
        with self._writing, self._engine.begin() as connection:
            for summary, place in jobs:
                self._remove(connection, tables.job.c.id == summary.id)
                if not place.workshop:
                    local = (tables.job.c.folder == place.folder) & (tables.job.c.workshop == "")
                    self._remove(connection, local)
                added = insert(tables.job).values(_row(summary, place)).returning(tables.job.c.n)
                n = connection.execute(added).scalar_one()
                self._put_parts(connection, n, summary, log, plan_text)

    def drop(self, folders: Collection[str]) -> None:
        """Forget local jobs whose folders are gone."""
        with self._writing, self._engine.begin() as connection:
            for folder in folders:
                gone = (tables.job.c.folder == folder) & (tables.job.c.workshop == "")
                self._remove(connection, gone)

    def _put_parts(
        self,
        connection: Connection,
        n: int,
        summary: Summary,
        log: bytes | None,
        plan_text: str | None,
    ) -> None:
        words = "\n".join(summary.lines).translate(_CUT)
        row = {"job": n, "text": words, "log": log, "plan_text": plan_text}
        connection.execute(insert(tables.content).values(row))
        if self._sqlite:
            filled = text("INSERT INTO words(rowid, text) VALUES (:n, :words)")
        else:
            filled = text("UPDATE content SET words = CAST(:words AS tsvector) WHERE job = :n")
            words = tsvector(words)
        connection.execute(filled, {"n": n, "words": words})
        names = [column.name for column in tables.reading.columns if column.name != "job"]
        values = [
            {"job": n} | {name: _clean(getattr(one, name)) for name in names}
            for one in summary.values
        ]
        if values:
            connection.execute(insert(tables.reading), values)
        if summary.lessons:
            asked = [
                {"job": n, "step": _clean(step), "right": right} for step, right in summary.lessons
            ]
            connection.execute(insert(tables.lesson), asked)

    def _remove(self, connection: Connection, which: ColumnElement[bool]) -> None:
        for (n,) in connection.execute(select(tables.job.c.n).where(which)).all():
            if self._sqlite:  # FTS5 has to be told what it forgets
                forget = text(
                    "INSERT INTO words(words, rowid, text) "
                    "SELECT 'delete', job, text FROM content WHERE job = :n"
                )
                connection.execute(forget, {"n": n})
            connection.execute(delete(tables.job).where(tables.job.c.n == n))

    # Out -----------------------------------------------------------------------------------------

    def places(self) -> dict[str, tuple[int, int]]:
        """Of each local job's log, its size and when it was changed, by folder."""
        job = tables.job.c
        with self._engine.connect() as connection:
            rows = connection.execute(
                select(job.folder, job.size, job.changed).where(job.workshop == "")
            )
            return {folder: (size, changed) for folder, size, changed in rows}

    def find(self, wanted: Wanted) -> FoundJobs:
        """A page of the jobs that are looked for, the latest first."""
        asked = phrases(wanted.words)
        if wanted.words.strip() and not asked:
            return FoundJobs(0, (), {})
        where, values = self._where(wanted)
        if asked:
            clause, query = self._matches(wanted.words)
            where, values = and_(where, clause), values | {"words": query}
        job = tables.job
        page = min(max(wanted.page, 1), DEEPEST_PAGE)
        with self._engine.connect() as connection:
            if asked and not self._sqlite:
                connection.execute(text(BY_ITS_INDEX))
            found = (
                select(job, func.count().over().label("total"))
                .where(where)
                .order_by(job.c.began.desc(), job.c.n.desc())
                .limit(PAGE)
            )
            rows = connection.execute(found.offset(PAGE * (page - 1)), values).all()
            first = rows or connection.execute(found.limit(1), values).all()
            total = first[0].total if first else 0
            lines: dict[str, list[str]] = {}
            if asked and rows:
                texts = select(tables.content.c.job, tables.content.c.text)
                texts = texts.where(tables.content.c.job.in_([row.n for row in rows]))
                by_n = {row.job: row.text for row in connection.execute(texts)}
                lines = {row.id: matching_lines(by_n[row.n], asked) for row in rows}
        return FoundJobs(total, rows, lines)

    def _where(self, wanted: Wanted) -> tuple[ColumnElement[bool], dict[str, object]]:
        job = tables.job.c
        parts: list[ColumnElement[bool]] = [job.n > 0]
        for name in ("plan", "verdict", "status", "technician"):
            if value := getattr(wanted, name).translate(_CUT):
                parts.append(job[name] == value)
        if wanted.vehicle:
            parts.append(job.vehicle.icontains(wanted.vehicle.translate(_CUT), autoescape=True))
        if wanted.since:
            parts.append(job.began >= wanted.since.translate(_CUT))
        if wanted.until:
            parts.append(job.began < wanted.until.translate(_CUT))
        return and_(*parts), {}

    def _matches(self, words: str) -> tuple[ColumnElement[bool], str]:
        """The condition that a job holds these words, and what its parameter is."""
        asked = phrases(words)
        if self._sqlite:
            clause = "job.n IN (SELECT rowid FROM words WHERE words MATCH :words)"
            return text(clause), fts5_query(asked)  # type: ignore[return-value]
        return text(BY_WORDS), tsquery(asked)  # type: ignore[return-value]

    def choices(self) -> dict[str, list[str]]:
        """What can be filtered by: plans, verdicts and technicians that there are."""
        found = {}
        with self._engine.connect() as connection:
            for name in ("plan", "verdict", "technician"):
                column = tables.job.c[name]
                rows = connection.execute(select(column).distinct().order_by(column))
                found[name] = [value for (value,) in rows if value]
        return found

    def job(self, job_id: str) -> Any:
        """The row of a job; None if there is none."""
        with self._engine.connect() as connection:
            return connection.execute(
                select(tables.job).where(tables.job.c.id == job_id)
            ).one_or_none()

    def published(self, job_id: str) -> tuple[bytes, str] | None:
        """The log and the plan of a job that was published; None if it was not."""
        content, job = tables.content.c, tables.job.c
        with self._engine.connect() as connection:
            row = connection.execute(
                select(content.log, content.plan_text)
                .join_from(tables.content, tables.job)
                .where(job.id == job_id)
            ).one_or_none()
        return None if row is None or row.log is None else (bytes(row.log), str(row.plan_text))

    def of_plan(self, plan: str, limit: int = 200) -> Sequence[Any]:
        """The latest jobs of a plan."""
        job = tables.job
        with self._engine.connect() as connection:
            asked = select(job).where(job.c.plan == plan).order_by(job.c.began.desc()).limit(limit)
            return connection.execute(asked).all()

    def values(self, job_id: str) -> Sequence[Any]:
        """The readings of a job that count, in the order they were taken."""
        reading = tables.reading
        with self._engine.connect() as connection:
            asked = (
                select(reading)
                .join_from(reading, tables.job)
                .where(tables.job.c.id == job_id, reading.c.stands.is_(True))
                .order_by(reading.c.number)
            )
            return connection.execute(asked).all()

    def values_of_plan(self, plan: str) -> Iterator[Any]:
        """Of all jobs of a plan the readings that count: step, condition, unit, value and so on.

        They come a few at a time, for there may be more of them than memory should hold.
        """
        reading, job = tables.reading.c, tables.job.c
        with self._engine.connect() as connection:
            asked = (
                select(
                    reading.step,
                    reading.condition,
                    reading.unit,
                    reading.value,
                    reading.figures,
                    reading.passed,
                    job.id,
                )
                .join_from(tables.reading, tables.job)
                .where(
                    job.plan == plan,
                    reading.stands.is_(True),
                    reading.verdict != "logged",  # nothing was expected
                    job.damage == "",
                )
            )
            yield from connection.execution_options(yield_per=ROWS_AT_ONCE).execute(asked)

    def record_of(self, technician: str) -> Sequence[Any]:
        """Per plan what a technician has done: jobs, readings, asked, corrected, struck."""
        job = tables.job.c
        names = ("readings", "asked", "corrected", "struck")
        with self._engine.connect() as connection:
            asked = (
                select(
                    job.plan,
                    func.count().label("jobs"),
                    *(func.sum(job[name]).label(name) for name in names),
                    func.sum(case((job.status == "verified", 1), else_=0)).label("verified"),
                )
                .where(job.technician == technician)
                .group_by(job.plan)
                .order_by(job.plan)
            )
            return connection.execute(asked).all()

    def lessons_of(self, technician: str) -> Sequence[Any]:
        """Per plan and step how often a technician was asked what to expect, and was right."""
        job, lesson = tables.job.c, tables.lesson.c
        right = func.sum(case((lesson.right.is_(True), 1), else_=0)).label("right")
        with self._engine.connect() as connection:
            asked = (
                select(job.plan, lesson.step, func.count().label("asked"), right)
                .join_from(tables.lesson, tables.job)
                .where(job.technician == technician)
                .group_by(job.plan, lesson.step)
                .order_by(job.plan, lesson.step)
            )
            return connection.execute(asked).all()


def _clean(value: object) -> object:
    return value.translate(_CUT) if isinstance(value, str) else value


def _row(summary: Summary, place: JobPlace) -> dict[str, object]:
    subject = summary.subject
    vehicle = " · ".join(filter(None, (subject.get("vehicle"), subject.get("registration"))))
    row = {
        "id": summary.id,
        "head": summary.head,
        "folder": place.folder,
        "workshop": place.workshop,
        "size": place.size,
        "changed": place.changed,
        "began": summary.began,
        "plan": summary.plan,
        "vehicle": vehicle,
        "technician": subject.get("technician", ""),
        "verdict": summary.verdict,
        "status": summary.status,
        "reviewed": summary.reviewed,
        "damage": summary.damage,
        "events": summary.events,
        "readings": sum(value.stands for value in summary.values),
        "asked": summary.asked,
        "corrected": summary.corrected,
        "struck": summary.struck,
    }
    return {name: _clean(value) for name, value in row.items()}
