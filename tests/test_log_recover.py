"""What is whole of a damaged job goes on as a new one; the old one stays as it is."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner

from handsfree.cli.app import app
from handsfree.errors import BadInput, Damaged
from handsfree.log import JobRecord, compare, open_job, read, recover, verify
from handsfree.log.chain import encode, fingerprint
from handsfree.plan import load_plan

LOADED = load_plan("relay-4pin")
PLAN = LOADED.text.encode()
VALUES = (12.6, 0.02, 4.98, 85.0)


@pytest.fixture
def job(tmp_path: Path) -> Path:
    folder = tmp_path / "job"
    with open_job(folder, PLAN, title=LOADED.plan.title) as log:
        for number, value in enumerate(VALUES, 1):
            log.append("note", f"sound of {value}".encode(), text=f"{value} volts")
            log.append("note", text=f"{number}")
    return folder


def contents(folder: Path) -> dict[str, bytes]:
    return {str(path): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def lines(folder: Path) -> list[bytes]:
    return (folder / "events.jsonl").read_bytes().splitlines(keepends=True)


def test_what_was_written_before_a_changed_line_goes_on(job: Path, tmp_path: Path) -> None:
    before = lines(job)
    kept_elsewhere = fingerprint(read(job)[4])
    (job / "events.jsonl").write_bytes(b"".join(before).replace(b"4.98 volts", b"4.89 volts"))
    old = contents(job)
    done = recover(job, tmp_path / "new")
    assert contents(job) == old
    assert done.kept == 5
    assert lines(done.folder)[:5] == before[:5]
    assert [line.kind for line in read(done.folder)[5:]] == ["resumed", "recovered"]
    assert verify(done.folder).state == "open"
    assert "that of event 5" in str(compare(done.folder, kept_elsewhere))
    told = "\n".join(done.missing)
    assert "4 events from event 6 on" in told
    assert "clips/00006.flac" in told
    (event,) = JobRecord.read(done.folder).recovered
    assert (event.source, event.kept, event.missing) == ("job", 5, done.missing)
    with open_job(done.folder, PLAN, title=LOADED.plan.title) as log:
        log.append("note", text="goes on")
    assert verify(done.folder).ok


def test_a_cut_end_is_recovered_up_to_the_cut(job: Path, tmp_path: Path) -> None:
    (job / "events.jsonl").write_bytes(b"".join(lines(job)[:4]))
    assert not verify(job).ok  # the clips of what was cut off are there
    done = recover(job, tmp_path / "new")
    assert done.kept == 4
    assert any("longer than it is" in missing for missing in done.missing)
    assert verify(done.folder).ok


def test_a_forged_line_is_left_out_though_the_next_one_is_blamed(job: Path, tmp_path: Path) -> None:
    own, sixth = lines(job), read(job)[5]
    fields = {**sixth.fields, "text": "4.89 volts"}
    forged = encode(6, sixth.time, sixth.kind, fields, sixth.prev)
    (job / "events.jsonl").write_bytes(b"".join([*own[:5], forged, *own[6:]]))
    assert recover(job, tmp_path / "new").kept == 5


def test_a_sound_that_is_gone_costs_no_reading(job: Path, tmp_path: Path) -> None:
    (job / "clips" / "00004.flac").unlink()
    done = recover(job, tmp_path / "new")
    assert done.kept == 9
    assert any("clips/00004.flac" in missing for missing in done.missing)
    (problem,) = verify(done.folder).problems
    assert "clip of event 4 is gone" in str(problem)


def test_a_plan_that_is_gone_is_given(job: Path, tmp_path: Path) -> None:
    (job / "plan.yaml").unlink()
    with pytest.raises(Damaged, match="plan"):
        recover(job, tmp_path / "new")
    with pytest.raises(Damaged, match="plan"):
        recover(job, tmp_path / "new", b"title: another\n")
    assert not (tmp_path / "new").exists()
    assert recover(job, tmp_path / "new", PLAN).kept == 9


def test_what_needs_no_recovery_and_what_has_none(job: Path, tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="not damaged"):
        recover(job, tmp_path / "new")
    (job / "events.jsonl").write_bytes(b"".join(lines(job)[1:]))
    with pytest.raises(Damaged, match="not even the opening"):
        recover(job, tmp_path / "new")
    (tmp_path / "there").mkdir()
    with pytest.raises(BadInput, match="something already"):
        recover(job, tmp_path / "there")


def test_the_command_line_says_what_is_missing(job: Path) -> None:
    (job / "events.jsonl").write_bytes(b"".join(lines(job)).replace(b"4.98 volts", b"4.89 volts"))
    told = CliRunner().invoke(app, ["recover", str(job)])
    assert told.exit_code == 0, told.output
    assert "5 events recovered" in told.output
    assert "missing: 4 events from event 6 on" in told.output
    assert verify(job.with_name("job-recovered")).ok
    shown = CliRunner().invoke(app, ["log", str(job.with_name("job-recovered"))])
    assert "recovered from job" in shown.output
