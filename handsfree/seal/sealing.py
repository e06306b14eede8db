"""Sealing a job, or a file that was made of it."""

from __future__ import annotations

import os
from collections.abc import Callable
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path
from typing import Any

from handsfree.errors import BadInput, Damaged
from handsfree.log import Line, chain, read, verify
from handsfree.log.folder import (
    FILE_RIGHTS,
    PLAINLY,
    SEALS,
    read_file,
    sync,
    told_plainly,
    write_file,
)
from handsfree.log.opening import utc_now
from handsfree.seal.keys import ShopKey
from handsfree.seal.ledger import Ledger
from handsfree.seal.statement import Seal, Statement, key_id

#: Bytes of a file that is sealed, at most.
LARGEST_FILE = 1 << 32


def seal_job(job: Path, key: ShopKey, clock: Callable[[], datetime] = utc_now) -> Seal:
    """Seal a job as it stands: a line in its `seals.jsonl`, and one in the shop's list.

    Raises:
        BadInput: it is no job folder, or cannot be written.
        Damaged: the log is not as it was written; nobody should vouch for it.
    """
    told = _of_job(job)
    read_file(job, SEALS)  # a link or a pipe in its place is refused
    with Ledger(key.folder).next(key_id(key.public)) as (number, write_down):
        seal = _signed(key, number, clock(), seals="job", **told)
        with told_plainly(job):
            flags = os.O_WRONLY | os.O_APPEND | os.O_CREAT | PLAINLY
            with os.fdopen(os.open(job / SEALS, flags, FILE_RIGHTS), "ab", buffering=0) as file:
                file.write(seal.encode())
                sync(file.fileno())
        write_down(str(job.resolve()), seal)
    return seal


def seal_file(file: Path, job: Path, key: ShopKey, clock: Callable[[], datetime] = utc_now) -> Seal:
    """Seal a file that was made of a job; the seal lies beside it, as `FILE.seal`.

    Raises:
        BadInput: either cannot be read, or the seal cannot be written.
        Damaged: the log is not as it was written.
    """
    told = _of_job(job)
    hashed = file_digest(file)
    with Ledger(key.folder).next(key_id(key.public)) as (number, write_down):
        name = {"file": file.name, "sha256": hashed}
        seal = _signed(key, number, clock(), seals="file", **name, **told)
        with told_plainly(file):
            beside(file).unlink(missing_ok=True)
            write_file(beside(file), seal.encode())
        write_down(str(file.resolve()), seal)
    return seal


def beside(file: Path) -> Path:
    """Where the seal of a file lies."""
    return file.with_name(f"{file.name}.seal")


def file_digest(file: Path) -> str:
    """SHA-256 of a file, hexadecimal.

    Raises:
        BadInput: it cannot be read.
    """
    digest, size = sha256(), 0
    with told_plainly(file):
        if not file.is_file():
            raise BadInput("there is no such file", where=str(file))
        with file.open("rb") as opened:
            while block := opened.read(1 << 20):
                digest.update(block)
                size += len(block)
                if size > LARGEST_FILE:
                    raise BadInput("the file is too large to be sealed", where=str(file))
    return digest.hexdigest()


def opening_digest(events: list[Line]) -> str:
    """What tells a job from every other: the SHA-256 of the line that opened it."""
    return events[0].digest if events else chain.NOTHING


def _of_job(job: Path) -> dict[str, Any]:
    """What a statement says of the job."""
    found, events = verify(job), read(job)
    if found.problems or not events:
        raise Damaged(
            "the log is damaged, so it is not sealed",
            where=str(job),
            remedy="`handsfree verify` lists all damage.",
        )
    return {
        "job": opening_digest(events),
        "events": len(events),
        "head": events[-1].digest,
        "clips": len({name for event in events for role, name, _ in event.files if role == "clip"}),
        "state": found.state,
    }


def _signed(key: ShopKey, number: int, now: datetime, **told: Any) -> Seal:
    time = now.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    identity = key_id(key.public)
    statement = Statement(shop=key.shop, key=identity, number=number, time=time, **told)
    return Seal(statement=statement, public=key.public, signature=key.sign(statement.to_sign()))
