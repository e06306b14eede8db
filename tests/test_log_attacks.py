"""What somebody may do to a job folder who knows its format, and what is found of it."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from handsfree.cli.app import app
from handsfree.errors import BadInput, Damaged
from handsfree.log import compare, open_job, read, verify
from handsfree.log.chain import NOTHING, encode, scan
from handsfree.log.folder import finish_mark

PLAN = b"title: Lamp circuit voltage drop\n"
TITLE = "Lamp circuit voltage drop"
GOLDEN = Path(__file__).parent / "data" / "golden"


def a_job(folder: Path, *values: float, finished: bool = True, begun: bytes = PLAN) -> Path:
    with open_job(folder, begun, title=TITLE) as log:
        for number, value in enumerate(values, 1):
            heard = log.append("heard", f"sound of {value}".encode(), text="violet")
            evidence = {"heard": heard.seq, "clip": heard.fields["clip"]}
            log.append("reading", number=number, value=value, **evidence)
        if finished:
            log.append("finished", status="not verified")
    return folder


def rechained(lines: list[tuple[str, dict[str, Any]]], times: list[str] | None = None) -> bytes:
    """A log of these events whose every hash holds."""
    data, prev = b"", NOTHING
    for seq, (kind, fields) in enumerate(lines, 1):
        time = times[seq - 1] if times else "2026-03-02T09:15:00.000000Z"
        line = encode(seq, time, kind, fields, prev)
        data, prev = data + line, scan(line).events[0].digest
    return data


def told(job: Path) -> list[tuple[str, dict[str, Any]]]:
    return [(line.kind, dict(line.fields)) for line in read(job)]


def found(job: Path) -> str:
    result = verify(job)
    assert result.state == "damaged", result
    return "\n".join(map(str, result.problems))


# --- the mark of finished -----------------------------------------------------------------------


def test_a_mark_that_points_at_an_earlier_event_is_found(tmp_path: Path) -> None:
    job = a_job(tmp_path / "job", 4.98, 0.02)
    whole, mark = (job / "events.jsonl").read_bytes(), (job / "finished.json").read_bytes()
    lines = whole.splitlines(keepends=True)
    events = read(job)
    for kept in range(1, len(events)):
        (job / "finished.json").write_bytes(finish_mark(events[kept - 1]))
        assert "finished" in found(job)
        (job / "events.jsonl").write_bytes(b"".join(lines[:kept]))
        assert "finished" in found(job)
        (job / "events.jsonl").write_bytes(whole)
    (job / "finished.json").write_bytes(mark)
    assert verify(job).state == "finished"


# --- a tail that was cut ------------------------------------------------------------------------


@pytest.mark.parametrize("torn", [0, 40])
def test_a_cut_tail_is_no_cut_write_where_later_clips_are_there(tmp_path: Path, torn: int) -> None:
    job = a_job(tmp_path / "job", 4.98, 0.02, 12.6, finished=False)
    lines = (job / "events.jsonl").read_bytes().splitlines(keepends=True)
    (job / "events.jsonl").write_bytes(b"".join(lines[:3]) + lines[3][:torn])
    assert "clips/00006.flac" in found(job)
    clips = {path: path.read_bytes() for path in (job / "clips").iterdir()}
    with pytest.raises(Damaged, match="event 6"):
        open_job(job, PLAN, title=TITLE)
    assert {path: path.read_bytes() for path in (job / "clips").iterdir()} == clips


def test_the_clip_of_a_write_that_was_cut_short_is_no_damage(tmp_path: Path) -> None:
    job = a_job(tmp_path / "job", 4.98, finished=False)
    (job / "clips" / "00004.flac").write_bytes(b"heard, but the machine died")
    result = verify(job)
    assert (result.ok, len(result.remarks)) == (True, 1)
    with open_job(job, PLAN, title=TITLE) as log:
        log.append("note", text="goes on")
    assert verify(job).ok


# --- two jobs made one --------------------------------------------------------------------------


def test_two_jobs_made_one_are_found(tmp_path: Path) -> None:
    one, other = a_job(tmp_path / "one", 4.98, finished=False), a_job(tmp_path / "other", 0.02)
    merged = [*told(one), *told(other)]
    (one / "events.jsonl").write_bytes(rechained(merged))
    shutil.copy(other / "finished.json", one)
    assert "another job" in found(one)


def test_events_of_another_job_without_its_opening_are_found(tmp_path: Path) -> None:
    one, other = a_job(tmp_path / "one", 4.98, finished=False), a_job(tmp_path / "other", 0.02)
    (one / "events.jsonl").write_bytes(rechained([*told(one), *told(other)[1:]]))
    problems = found(one)
    assert "line 4" in problems  # its clip is that of another event
    assert "line 5" in problems  # reading 1 once more, heard at an event that it does not follow


@pytest.mark.parametrize("name", [path.name for path in sorted(GOLDEN.iterdir())])
def test_logs_of_earlier_formats_contradict_themselves_nowhere(name: str) -> None:
    problems = [str(p) for p in verify(GOLDEN / name).problems]
    assert all("is gone" in problem for problem in problems)  # the clips are not kept there


def test_a_clock_that_was_set_back_is_remarked(tmp_path: Path) -> None:
    job = a_job(tmp_path / "job", 4.98, finished=False)
    times = ["2026-03-02T09:15:00.000000Z"] * 2 + ["2026-02-28T09:15:00.000000Z"]
    (job / "events.jsonl").write_bytes(rechained(told(job), times))
    result = verify(job)
    assert result.ok
    (remark,) = result.remarks
    assert "2 days" in str(remark)
    assert "line 3" in remark.where


def test_a_time_that_is_none_is_found(tmp_path: Path) -> None:
    job = a_job(tmp_path / "job", 4.98, finished=False)
    times = ["2026-03-02T09:15:00.000000Z"] * 2 + ["yesterday"]
    (job / "events.jsonl").write_bytes(rechained(told(job), times))
    assert "time" in found(job)


# --- a fingerprint that was kept elsewhere ------------------------------------------------------


def test_a_log_that_was_made_anew_is_found_by_the_fingerprint_that_was_kept(tmp_path: Path) -> None:
    job, other = a_job(tmp_path / "job", 4.98), a_job(tmp_path / "other", 4.99)
    kept = verify(job).fingerprint
    assert len(kept.replace(" ", "")) * 4 == 128
    assert compare(job, kept) is None
    assert compare(job, kept.upper().replace(" ", "-")) is None
    with pytest.raises(Damaged, match="not that of this log"):
        compare(other, kept)


def test_a_job_that_went_on_is_as_it_was_up_to_the_fingerprint(tmp_path: Path) -> None:
    job = a_job(tmp_path / "job", 4.98, finished=False)
    morning = verify(job).fingerprint
    with open_job(job, PLAN, title=TITLE) as log:
        log.append("note", text="afternoon")
    assert "that of event 3; 2 came after it" in str(compare(job, morning))


def test_nothing_is_added_to_a_job_that_had_ended(tmp_path: Path) -> None:
    job = a_job(tmp_path / "job", 4.98)
    kept = verify(job).fingerprint
    log = (job / "events.jsonl").read_bytes()
    more = encode(5, "2026-03-02T09:15:00Z", "note", {}, read(job)[-1].digest)
    (job / "events.jsonl").write_bytes(log + more)
    with pytest.raises(Damaged, match="with which the job had ended"):
        compare(job, kept)


def test_the_shorter_fingerprint_of_an_older_report_is_compared_and_said_to_be_short(
    tmp_path: Path,
) -> None:
    job = a_job(tmp_path / "job", 4.98)
    assert "only 64 bits" in str(compare(job, verify(job).fingerprint[:19]))
    for text in ("4.98 volts", "1234", ""):
        with pytest.raises(BadInput, match="no fingerprint"):
            compare(job, text)


def test_the_command_line_compares_a_fingerprint(tmp_path: Path) -> None:
    job = a_job(tmp_path / "job", 4.98)
    asked = ["verify", str(job), "--fingerprint"]
    right = CliRunner().invoke(app, [*asked, verify(job).fingerprint])
    assert (right.exit_code, "is that of this log" in right.output) == (0, True)
    wrong = CliRunner().invoke(app, [*asked, "0123 4567 89ab cdef " * 2])
    assert isinstance(wrong.exception, Damaged)


@pytest.mark.parametrize("digest", [["d1"], {"a": 1}, 7, True])
def test_a_sound_whose_hash_is_no_text_is_found(tmp_path: Path, digest: object) -> None:
    """In a log that was written anew as a whole, so that its chain holds."""
    job = a_job(tmp_path / "job", 4.98)
    lines = told(job)
    next(fields for _, fields in lines if "clip_sha256" in fields)["clip_sha256"] = digest
    (job / "events.jsonl").write_bytes(rechained(lines))
    found(job)
