"""Damaged logs, and logs of nonsense whose every hash holds: an error for people, or none.

Seeded; the cases are the same every time.
"""

from __future__ import annotations

import json
import random
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from handsfree.cli.app import app
from handsfree.dialogue import Dialogue
from handsfree.display import open_display
from handsfree.display.follow import Followed
from handsfree.errors import HandsfreeError
from handsfree.events import Codec
from handsfree.heard import Heard
from handsfree.job import Job
from handsfree.languages import load_language
from handsfree.log import JobRecord, open_job, recover, verify
from handsfree.log.chain import NOTHING, encode, scan
from handsfree.log.folder import finish_mark
from handsfree.plan import Plan

GOLDEN = Path(__file__).parent / "data" / "golden"
JOBS = ["left-open", "apprentice", "informed", "swept"]
CASES = 12
"""Of each way of damage and each job."""

NONSENSE: list[Any] = [
    None, True, -1, 0, 7, 10**200, 1e300, -2.5, "", "x", "\x1b[31mred\x1b[0m", "=1+1", "1e999999",
    "NaN", "9**9**9**9", "4 9**9**9**9", "four volts", [], {}, [[]], ["x"], {"kind": "reading"},
    "../../etc/passwd", "/dev/zero", "reading", "x" * 3000,
]  # fmt: skip


# --- ways of damage -----------------------------------------------------------------------------


def bytes_changed(data: bytes, rng: random.Random) -> bytes:
    """Bytes changed, added, cut or swapped anywhere."""
    changed = bytearray(data)
    for _ in range(rng.choice((1, 1, 2, 20))):
        place = rng.randrange(len(changed))
        match rng.randrange(4):
            case 0:
                changed[place] = rng.randrange(256)
            case 1:
                changed[place:place] = bytes(rng.randrange(256) for _ in range(rng.randrange(50)))
            case 2:
                del changed[place : place + rng.randrange(200)]
            case 3:
                part = changed[place : place + 40]
                changed[place : place + 40] = rng.choice((b"[", b"{", b'"', b"\\")) * 40
                changed += part
    return bytes(changed)


def fields_changed(data: bytes, rng: random.Random) -> bytes:
    """Fields anywhere hold nonsense, and every hash holds."""
    lines = [[e.kind, dict(e.fields)] for e in scan(data).events]
    for _ in range(rng.choice((1, 1, 3))):
        line = rng.choice(lines)
        if rng.random() < 0.1 or not line[1]:
            line[0] = rng.choice(lines)[0]
        else:
            line[1] = json.loads(json.dumps(line[1]))
            put(line[1], rng, [value for _, other in lines for value in other.values()])
    return chained(lines)


def put(fields: Any, rng: random.Random, others: list[Any]) -> None:
    """Put nonsense, or what belongs elsewhere, somewhere into fields; deep down perhaps."""
    keys = list(fields) if isinstance(fields, dict) else list(range(len(fields)))
    key = rng.choice(keys)
    if isinstance(fields[key], dict | list) and fields[key] and rng.random() < 0.7:
        put(fields[key], rng, others)
    elif isinstance(fields, dict) and rng.random() < 0.1:
        del fields[key]
    else:
        fields[key] = rng.choice(rng.choice((NONSENSE, others)))


def lines_changed(data: bytes, rng: random.Random) -> bytes:
    """Lines are missing, doubled or in another order, and every hash holds."""
    lines = [[e.kind, dict(e.fields)] for e in scan(data).events]
    for _ in range(rng.choice((1, 2, 5))):
        place = rng.randrange(len(lines))
        line = lines[place]
        if rng.random() < 0.6 and len(lines) > 1:
            lines.remove(line)
        if rng.random() < 0.6:
            lines.insert(rng.randrange(len(lines) + 1), line)
    return chained(lines)


def chained(lines: list[Any]) -> bytes:
    data, prev = b"", NOTHING
    for seq, (kind, fields) in enumerate(lines, 1):
        line = encode(seq, "2026-03-02T09:15:00.000000Z", str(kind), fields, prev)
        data, prev = data + line, scan(line).events[0].digest
    return data


# --- what is done with it -----------------------------------------------------------------------


def command(job: Path, *args: str) -> None:
    result = CliRunner().invoke(app, [args[0], str(job), *args[1:]])
    if result.exception and not isinstance(result.exception, HandsfreeError | SystemExit):
        raise result.exception


def glanced(job: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Follow the job to the end of what is there now."""

    def no_more(_: float) -> None:
        raise EOFError

    with monkeypatch.context() as patch:
        patch.setattr("handsfree.display.follow.time.sleep", no_more)
        followed = Followed(job)
        display = open_display("off", followed.plan)
        try:
            for logged in followed.events():
                display.tell(logged)
        except EOFError:
            pass


def resumed(job: Path) -> None:
    record = JobRecord.read(job)
    plan = record.plan
    with open_job(job, record.plan_text.encode(), title=plan.title) as log:
        dialogue = Dialogue(plan, load_language("en"))
        session = Job(dialogue, log, lambda _: None, lambda _: None)
        session.begin()
        for text in ("twelve volts", "strike that", "the first"):
            if not session.finished:
                session.hear(Heard.of_text(text))


def used(job: Path, monkeypatch: pytest.MonkeyPatch) -> list[Callable[[], object]]:
    """Everything that reads a job."""
    return [
        lambda: verify(job),
        lambda: command(job, "log"),
        lambda: command(job, "log", "--json"),
        lambda: command(job, "log", "--csv", "--history"),
        lambda: command(job, "explain"),
        lambda: command(job, "report", "-o", str(job.with_suffix(".html"))),
        lambda: glanced(job, monkeypatch),
        lambda: recover(job, job.with_suffix(".recovered")),
        lambda: resumed(job),
    ]


def damaged(
    name: str, damage: Callable[[bytes, random.Random], bytes], case: int, folder: Path
) -> Path:
    """A damaged copy of a golden job, in an empty folder."""
    job = folder / "job"
    shutil.copytree(GOLDEN / name, job)
    whole = (job / "events.jsonl").read_bytes()
    data = damage(whole, random.Random(f"{name} {damage.__name__} {case}"))
    (job / "events.jsonl").write_bytes(data)
    (job / "finished.json").unlink(missing_ok=True)
    found = scan(data).events
    if found and found[-1].kind == "finished":
        (job / "finished.json").write_bytes(finish_mark(found[-1]))
    return job


@pytest.mark.parametrize("damage", [bytes_changed, fields_changed, lines_changed])
@pytest.mark.parametrize("name", JOBS)
def test_a_damaged_log_is_told_of_and_never_a_traceback(
    name: str,
    damage: Callable[[bytes, random.Random], bytes],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    for case in range(CASES):
        folder = tmp_path / str(case)
        folder.mkdir()
        for use in used(damaged(name, damage, case, folder), monkeypatch):
            try:
                use()
            except HandsfreeError:  # told to a person
                pass
            except Exception as error:
                error.add_note(f"case {case} of {name}, {damage.__name__}")
                raise


def test_a_manner_that_is_not_known_is_the_usual_one(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: dict[str, Any] = {}
    record = JobRecord.read(GOLDEN / "left-open")
    monkeypatch.setattr(JobRecord, "manner", ("backwards", "shouting"))
    monkeypatch.setattr("handsfree.cli.resume.dictate", lambda *args, **more: asked.update(more))
    assert record.manner == ("backwards", "shouting")
    result = CliRunner().invoke(app, ["resume", str(GOLDEN / "left-open")])
    assert result.exception is None
    assert asked["route"] == "plan"


@pytest.mark.parametrize("clip", [7, 2.5, True, [], {}])
def test_a_clip_that_is_no_name_is_none(clip: object, flap: Plan) -> None:
    told = Codec(flap).read(2, "", "note", {"text": "x", "verified": False, "clip": clip})
    assert told.clip is None
