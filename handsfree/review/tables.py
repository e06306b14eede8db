"""Where summaries are kept: tables for SQLite and PostgreSQL alike.

The jobs are the truth.  A local index is made of them at any time, so one of another version, or
one that is broken, is thrown away.  SQLAlchemy's Core writes the questions for both databases;
only the full text differs: FTS5 of SQLite, `tsvector` of PostgreSQL.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    Engine,
    Float,
    ForeignKey,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    create_engine,
    event,
    make_url,
    text,
)
from sqlalchemy import Index as TableIndex
from sqlalchemy.exc import ArgumentError, DatabaseError, SQLAlchemyError

from handsfree.errors import BadInput, Missing

#: Of the tables; an index of another version is made anew.
VERSION = 1

metadata = MetaData()

#: A job a row.
job = Table(
    "job",
    metadata,
    Column("n", Integer, primary_key=True),
    Column("id", String(32), nullable=False, unique=True),
    Column("head", String(64), nullable=False),
    Column("folder", Text, nullable=False),
    Column("workshop", Text, nullable=False, default=""),
    Column("size", BigInteger, nullable=False),
    Column("changed", BigInteger, nullable=False),
    Column("began", Text, nullable=False, index=True),
    Column("plan", Text, nullable=False, index=True),
    Column("vehicle", Text, nullable=False),
    Column("technician", Text, nullable=False, index=True),
    Column("verdict", Text, nullable=False, index=True),
    Column("status", Text, nullable=False),
    Column("reviewed", Text, nullable=False),
    Column("damage", Text, nullable=False),
    Column("events", Integer, nullable=False),
    Column("readings", Integer, nullable=False),
    Column("asked", Integer, nullable=False),
    Column("corrected", Integer, nullable=False),
    Column("struck", Integer, nullable=False),
)
#: What is searched of a job; where it was published, also its log and its plan.
content = Table(
    "content",
    metadata,
    Column("job", ForeignKey("job.n", ondelete="CASCADE"), primary_key=True),
    Column("text", Text, nullable=False),
    Column("log", LargeBinary),
    Column("plan_text", Text),
)
#: A reading a row.
reading = Table(
    "reading",
    metadata,
    Column("job", ForeignKey("job.n", ondelete="CASCADE"), primary_key=True),
    Column("number", Integer, primary_key=True),
    Column("step", Text, nullable=False),
    Column("condition", Text, nullable=False),
    Column("wire", Text, nullable=False),
    Column("value", Float),
    Column("unit", Text, nullable=False),
    Column("figures", Text, nullable=False),
    Column("verdict", Text, nullable=False),
    Column("passed", Boolean, nullable=False),
    Column("stands", Boolean, nullable=False),
)
#: What an apprentice was asked, and whether the answer was right.
lesson = Table(
    "lesson",
    metadata,
    Column("job", ForeignKey("job.n", ondelete="CASCADE")),
    Column("step", Text, nullable=False),
    Column("right", Boolean, nullable=False),
    TableIndex("lesson_job", "job"),
)

_SQLITE = (
    "CREATE VIRTUAL TABLE IF NOT EXISTS words USING fts5"
    "(text, content='content', content_rowid='job', tokenize='unicode61')",
    f"PRAGMA user_version = {VERSION}",
)
_POSTGRESQL = (
    "ALTER TABLE content ADD COLUMN IF NOT EXISTS words tsvector",
    "CREATE INDEX IF NOT EXISTS content_words ON content USING gin (words)",
)


def local_engine(file: Path) -> Engine:
    """The index in a file, for its owner alone; made anew if it is broken or of another version."""
    file.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    if file.exists() and not _usable(file):
        for ending in ("", "-wal", "-shm"):
            file.with_name(file.name + ending).unlink(missing_ok=True)
    os.close(os.open(file, os.O_CREAT | os.O_RDWR, 0o600))
    return _prepared(_sqlite(file))


def shared_engine(url: str) -> Engine:
    """The index at an address: postgresql://…, or sqlite:///FILE.

    Raises:
        BadInput: the address is none, or the server refuses.
        Missing: the library that speaks to it is not installed.
    """
    try:
        given = make_url(url)
    except ArgumentError as error:
        raise _no_address() from error
    if given.get_backend_name() == "sqlite" and given.database:
        return _prepared(_sqlite(Path(given.database)))
    if given.get_backend_name() != "postgresql":
        raise _no_address()
    try:
        engine = create_engine(given.set(drivername="postgresql+psycopg"), pool_pre_ping=True)
        return _prepared(engine)
    except ModuleNotFoundError as error:
        remedy = "pip install 'handsfree[review]'"
        raise Missing("psycopg is not installed", where="--index", remedy=remedy) from error
    except SQLAlchemyError as error:
        raise BadInput(
            f"the index cannot be opened: {str(getattr(error, 'orig', error)).splitlines()[0]}",
            where=given.render_as_string(hide_password=True),
            remedy="Is the server there, and may this user make tables in that database?",
        ) from error


def _no_address() -> BadInput:
    remedy = "Such as postgresql://USER@HOST/DATABASE"
    return BadInput("this is no address of an index", where="--index", remedy=remedy)


def _sqlite(file: Path) -> Engine:
    engine = create_engine(f"sqlite:///{file}", connect_args={"timeout": 30})

    @event.listens_for(engine, "connect")
    def settle(connection: Any, _: object) -> None:
        for setting in ("journal_mode=WAL", "synchronous=NORMAL", "foreign_keys=ON"):
            connection.execute(f"PRAGMA {setting}")

    return engine


def _prepared(engine: Engine) -> Engine:
    """With its tables."""
    metadata.create_all(engine)
    with engine.begin() as connection:
        for statement in _SQLITE if engine.dialect.name == "sqlite" else _POSTGRESQL:
            connection.execute(text(statement))
    return engine


def _usable(file: Path) -> bool:
    engine = create_engine(f"sqlite:///{file}")
    try:
        with engine.connect() as connection:
            if connection.execute(text("PRAGMA user_version")).scalar() != VERSION:
                return False
            connection.execute(text("SELECT n FROM job LIMIT 1"))
            return connection.execute(text("PRAGMA quick_check(1)")).scalar() == "ok"
    except DatabaseError:
        return False
    finally:
        engine.dispose()
