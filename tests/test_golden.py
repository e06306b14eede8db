"""Jobs that were written before events were types read the same as they did then.

`tests/data/golden` holds logs byte for byte, and what was made of them: the report (its clips
replaced by their names), the readings as CSV, and where the job stood.
"""

from __future__ import annotations

import json
import shutil
from datetime import UTC
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from handsfree import __version__
from handsfree.events import Codec
from handsfree.events.schema import log_schema
from handsfree.log import JobRecord, Verification, fingerprint, open_job, read, to_csv, verify
from handsfree.log.chain import encode, scan
from handsfree.report import render

GOLDEN = Path(__file__).parent / "data" / "golden"
JOBS = sorted(path.name for path in GOLDEN.iterdir())
SCHEMA = Path(__file__).parent / "data" / "events.schema.json"


@pytest.fixture(params=JOBS)
def job(request: pytest.FixtureRequest) -> Path:
    return GOLDEN / str(request.param)


def test_the_chain_holds_byte_for_byte(job: Path) -> None:
    data = (job / "events.jsonl").read_bytes()
    log = scan(data)
    assert (log.flaws, log.tail) == ((), b"")
    again = (encode(e.seq, e.time, e.kind, e.fields, e.prev) for e in log.events)
    assert b"".join(again) == data


def test_a_line_is_told_again_as_it_was_written(job: Path) -> None:
    """All that a line says is in its event, but for the sound and the ranking of causes."""
    record = JobRecord.read(job)
    codec = Codec(record.plan)
    for logged in record.events:
        kind, fields = codec.encode(logged.event)
        codec.wrote(logged.event, logged.seq, logged.time, kind, fields)
        added = {"clip", "clip_sha256", "heard", "ranking"}
        assert kind == logged.kind
        assert {name: fields[name] for name in logged.fields if name not in added} == {
            name: value for name, value in logged.fields.items() if name not in added
        }


def test_the_job_stands_where_it_stood(job: Path) -> None:
    stood = json.loads((job / "restored.json").read_text(encoding="utf-8"))
    session = JobRecord.read(job).session
    assert stood == {
        "phase": session.phase,
        "step": session.step,
        "condition": session.condition,
        "skipped": sorted(session.skipped),
        "outcomes": session.outcomes,
        "standing": {step: entry.number for step, entry in session.standing.items()},
        "guesses": [[guess.step, guess.right] for guess in session.guesses],
        "sweep": None if session.sweep is None else list(session.sweep),
    }


def test_the_readings_are_the_same(job: Path) -> None:
    table = (job / "readings.csv").read_text(encoding="utf-8")
    assert to_csv(JobRecord.read(job).events, history=True) == table


def test_the_report_is_the_same(job: Path) -> None:
    record, lines = JobRecord.read(job), read(job)
    state = "finished" if record.ending else "open"
    check = Verification(state, len(lines), fingerprint(lines[-1]), (), ())
    page = render(record, check, lambda clip: clip.encode(), zone=UTC)
    page = page.replace(f"handsfree {__version__}", "handsfree VERSION")
    assert page == (job / "report.html").read_text(encoding="utf-8")


def test_every_line_is_by_the_schema(job: Path) -> None:
    validator = Draft202012Validator(log_schema())
    for line in (job / "events.jsonl").read_text(encoding="utf-8").splitlines():
        validator.validate(json.loads(line))


def test_the_schema_is_the_one_that_was_published() -> None:
    """A change of the format is seen: write the file anew with `handsfree log --schema`."""
    Draft202012Validator.check_schema(log_schema())
    assert log_schema() == json.loads(SCHEMA.read_text(encoding="utf-8"))


def test_an_old_job_is_gone_on_with(tmp_path: Path) -> None:
    folder = tmp_path / "job"
    shutil.copytree(GOLDEN / "left-open", folder)
    before = (folder / "events.jsonl").read_bytes()
    record = JobRecord.read(folder)
    with open_job(folder, record.plan_text.encode(), title=record.plan.title) as log:
        assert log.lines[-1].kind == "resumed"
    assert (folder / "events.jsonl").read_bytes().startswith(before)
    assert verify(folder).ok
