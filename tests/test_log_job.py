"""A job folder on a real disk: opening, going on, damage, and refusals."""

import hashlib
import io
import os
import shutil
import subprocess
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from handsfree.errors import BadInput, Damaged
from handsfree.log import JobLog, encode_flac, fingerprint, open_job, read, verify

PLAN = b"title: Five-wire flap actuator\nsteps: []\n"
TITLE = "Five-wire flap actuator"


def flac(seed: int = 0) -> bytes:
    samples = np.random.default_rng(seed).uniform(-0.5, 0.5, 800).astype(np.float32)
    return encode_flac(samples, 16000)


def begin(folder: Path, plan: bytes = PLAN, title: str = TITLE) -> JobLog:
    return open_job(folder, plan, title=title)


def finished_job(folder: Path) -> Path:
    with begin(folder) as log:
        for seed, value in enumerate((4.98, 0.02, 12.6)):
            heard = log.append("heard", flac(seed), text="violet", start=1.0, end=2.0)
            log.append("reading", wire="violet", value=value, clip=heard.fields["clip"])
        log.append("finished", verdict="flap actuator")
    return folder


def test_a_job_holds_log_clips_and_plan(tmp_path):
    job = finished_job(tmp_path / "new" / "job")
    assert (job / "plan.yaml").read_bytes() == PLAN
    events = read(job)
    assert [event.kind for event in events] == [
        "opened", "heard", "reading", "heard", "reading", "heard", "reading", "finished",
    ]  # fmt: skip
    assert events[0].fields["plan_sha256"] == hashlib.sha256(PLAN).hexdigest()
    assert events[1].fields["clip"] == "clips/00002.flac"
    stored = (job / "clips/00002.flac").read_bytes()
    assert events[1].fields["clip_sha256"] == hashlib.sha256(stored).hexdigest()
    samples, rate = soundfile.read(io.BytesIO(stored))
    assert (len(samples), rate) == (800, 16000)

    result = verify(job)
    assert (result.state, result.events, result.problems, result.remarks) == ("finished", 8, (), ())
    assert result.fingerprint == fingerprint(events[-1])


def test_time_is_utc_with_microseconds(tmp_path):
    moment = datetime(2026, 3, 2, 10, 15, 0, 42, timezone(timedelta(hours=1)))
    with open_job(tmp_path / "job", PLAN, title=TITLE, clock=lambda: moment) as log:
        time = log.append("note").time
    assert time == "2026-03-02T09:15:00.000042Z"
    assert datetime.fromisoformat(time) == moment.astimezone(UTC)


@pytest.mark.skipif(not shutil.which("sha256sum"), reason="needs the coreutils")
def test_the_chain_can_be_checked_with_sed_and_sha256sum(tmp_path):
    job = finished_job(tmp_path / "job")
    for event in read(job)[1:]:
        command = f"sed -n {event.seq - 1}p events.jsonl | sha256sum"
        out = subprocess.run(command, shell=True, cwd=job, capture_output=True, text=True)
        assert out.stdout.split()[0] == event.prev


@pytest.mark.skipif(not Path("/proc/self/fd").exists(), reason="names descriptors through /proc")
def test_bytes_are_on_the_disk_before_append_returns_and_the_clip_before_its_event(
    tmp_path, monkeypatch
):
    with begin(tmp_path / "job") as log:
        calls: list[str] = []
        write, fsync = os.write, os.fsync

        def name(descriptor: int) -> str:
            return Path(f"/proc/self/fd/{descriptor}").readlink().name

        def recorded_write(descriptor, data):
            calls.append(f"write {name(descriptor)}")
            return write(descriptor, data)

        def recorded_fsync(descriptor):
            calls.append(f"fsync {name(descriptor)}")
            fsync(descriptor)

        monkeypatch.setattr(os, "write", recorded_write)
        monkeypatch.setattr(os, "fsync", recorded_fsync)
        log.append("heard", flac())
    assert calls == [
        "fsync 00002.flac", "fsync clips", "write events.jsonl", "fsync events.jsonl",
    ]  # fmt: skip


def test_going_on_with_a_job(tmp_path):
    job = tmp_path / "job"
    with begin(job) as log:
        log.append("reading", value=1)
    assert verify(job).state == "open"
    with begin(job) as log:
        assert [event.kind for event in log.lines] == ["opened", "reading", "resumed"]
        assert log.lines[-1].fields == {"aside_bytes": 0}
        log.append("heard", flac())
        log.append("finished")
    assert verify(job).state == "finished"


def test_a_finished_job_is_read_only(tmp_path):
    job = finished_job(tmp_path / "job")
    before = {path: path.read_bytes() for path in job.rglob("*") if path.is_file()}
    with pytest.raises(BadInput, match="finished, and stays as it is") as error:
        begin(job)
    assert f"--after {job}" in str(error.value)
    assert {path: path.read_bytes() for path in job.rglob("*") if path.is_file()} == before
    assert verify(job).state == "finished"


def test_a_job_is_gone_on_with_only_as_what_it_was_opened_as(tmp_path):
    subject = {"vehicle": "Corvid 300"}
    details = {"subject": subject, "follows": "1234 5678 9abc def0"}
    open_job(tmp_path / "job", PLAN, title=TITLE, details=details).close()
    assert read(tmp_path / "job")[0].fields["subject"] == subject
    with begin(tmp_path / "job"):
        pass
    with pytest.raises(BadInput, match="another subject"):
        open_job(tmp_path / "job", PLAN, title=TITLE, details={"subject": {"vehicle": "Kea"}})


@pytest.mark.parametrize("cut", [1, 30, 200])
def test_a_cut_write_is_set_aside_and_the_chain_goes_on(tmp_path, cut):
    job = tmp_path / "job"
    with begin(job) as log:
        log.append("reading", value=1)
        log.append("reading", value=2, text="x" * 300)
    whole = (job / "events.jsonl").read_bytes()
    (job / "events.jsonl").write_bytes(whole[:-cut])

    before = verify(job)
    assert before.ok
    assert "cut short and never read back" in str(before.remarks[0])
    assert [event.fields.get("value") for event in read(job)] == [None, 1]

    with begin(job) as log:
        resumed = log.lines[-1].fields
        log.append("reading", value=3)
    left = whole.splitlines(keepends=True)[-1][:-cut]
    assert resumed["aside_bytes"] == len(left)
    assert (job / resumed["aside"]).read_bytes() == left
    after = verify(job)
    assert (after.ok, after.events, len(after.remarks)) == (True, 4, 1)

    (job / resumed["aside"]).unlink()
    assert "is gone" in str(verify(job).problems[0])


def test_a_spoilt_last_line_is_set_aside_and_never_forgiven(tmp_path):
    job = tmp_path / "job"
    with begin(job) as log:
        log.append("reading", value=1)
    data = (job / "events.jsonl").read_bytes()
    (job / "events.jsonl").write_bytes(data[:-20] + b"\0" * 19 + b"\n")
    assert verify(job).state == "damaged"
    with begin(job) as log:
        log.append("reading", value=1)
    (problem,) = verify(job).problems
    assert "may have been read back" in str(problem)


@pytest.mark.parametrize("left", [b"", PLAN[:7]])
def test_a_beginning_that_was_cut_short_is_taken_up(tmp_path, left):
    (tmp_path / "plan.yaml").write_bytes(left)
    (tmp_path / "lock").touch()
    begin(tmp_path).close()
    assert [event.kind for event in read(tmp_path)] == ["opened"]

    whole = (tmp_path / "events.jsonl").read_bytes()
    (tmp_path / "events.jsonl").write_bytes(whole[:50])
    begin(tmp_path).close()
    assert [event.kind for event in read(tmp_path)] == ["opened", "resumed"]
    assert verify(tmp_path).ok


# --- refusals -----------------------------------------------------------------------------------


def refusal(error: pytest.ExceptionInfo[BadInput]) -> str:
    assert error.value.exit_code == 2
    assert error.value.where
    assert error.value.remedy
    return error.value.what


def test_a_job_of_another_plan_is_refused(tmp_path):
    begin(tmp_path).close()
    with pytest.raises(BadInput) as error:
        begin(tmp_path, b"title: Lamp circuit\n", "Lamp circuit")
    assert f"belongs to the plan “{TITLE}”, not to “Lamp circuit”" in refusal(error)
    with pytest.raises(BadInput, match="was changed since this job began"):
        begin(tmp_path, PLAN + b"# edited\n")
    begin(tmp_path).close()  # the refusals have let go of the lock


def test_two_writers_are_refused(tmp_path):
    with begin(tmp_path / "job"):
        with pytest.raises(BadInput) as error:
            begin(tmp_path / "job")
        assert "another dictation is writing" in refusal(error)
        assert verify(tmp_path / "job").ok  # reading is free
    begin(tmp_path / "job").close()


@pytest.mark.parametrize("name", ["holiday.jpg", "plan.yaml", "finished.json"])
def test_a_folder_with_other_files_is_refused_and_left_alone(tmp_path, name):
    (tmp_path / name).write_bytes(b"mine")
    with pytest.raises(BadInput) as error:
        begin(tmp_path)
    assert "other files" in refusal(error)
    assert [(path.name, path.read_bytes()) for path in tmp_path.iterdir()] == [(name, b"mine")]


def test_a_foreign_log_is_refused(tmp_path):
    (tmp_path / "events.jsonl").write_bytes(b'{"level":"info"}\n')
    with pytest.raises(Damaged):
        begin(tmp_path)


def test_a_file_in_place_of_the_folder_is_refused(tmp_path):
    (tmp_path / "job").touch()
    for place in (tmp_path / "job", tmp_path / "job" / "deeper"):
        with pytest.raises(BadInput) as error:
            begin(place)
        assert "a file stands where a folder belongs" in refusal(error)


def test_a_log_that_lost_all_its_lines_is_not_begun_anew_over_its_clips(tmp_path):
    with begin(tmp_path) as log:
        log.append("heard", flac())
    for left in (b"", (tmp_path / "events.jsonl").read_bytes()[:40]):
        (tmp_path / "events.jsonl").write_bytes(left)
        with pytest.raises((Damaged, BadInput)):
            begin(tmp_path)
    assert (tmp_path / "clips/00002.flac").read_bytes() == flac()


def test_what_is_no_job_cannot_be_read(tmp_path):
    for function in (read, verify):
        with pytest.raises(BadInput) as error:
            function(tmp_path / "none")
        assert "not a job folder" in refusal(error)


def test_a_closed_log_takes_nothing(tmp_path):
    log = begin(tmp_path)
    log.close()
    log.close()
    with pytest.raises(ValueError, match="closed"):
        log.append("note")


# --- damage -------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def intact(tmp_path_factory) -> Path:
    return finished_job(tmp_path_factory.mktemp("intact") / "job")


@given(data=st.data(), mask=st.integers(1, 255))
@settings(
    max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_any_changed_byte_of_any_file_is_found(intact, data, mask):
    files = sorted(path for path in intact.rglob("*") if path.is_file() and path.name != "lock")
    path = data.draw(st.sampled_from(files))
    before = path.read_bytes()
    changed = bytearray(before)
    changed[data.draw(st.integers(0, len(before) - 1))] ^= mask
    path.write_bytes(changed)
    try:
        result = verify(intact)
        assert result.state == "damaged"
        assert all(path.name in p.where or path.name == "events.jsonl" for p in result.problems)
    finally:
        path.write_bytes(before)
    assert verify(intact).state == "finished"


@given(data=st.data())
@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_a_finished_log_that_was_cut_is_found(intact, data):
    path = intact / "events.jsonl"
    before = path.read_bytes()
    path.write_bytes(before[: data.draw(st.integers(0, len(before) - 1))])
    try:
        assert verify(intact).state == "damaged"
        with pytest.raises((Damaged, BadInput)):
            begin(intact)
    finally:
        path.write_bytes(before)


def test_deleted_files_are_found(tmp_path):
    job = finished_job(tmp_path / "job")
    (job / "clips/00004.flac").unlink()
    (job / "plan.yaml").unlink()
    (job / "clips/00009.flac").write_bytes(b"from elsewhere")
    result = verify(job)
    assert [problem.where for problem in result.problems] == ["plan.yaml", "clips/00004.flac"]
    assert "the clip of event 4 is gone" in str(result.problems[1])
    assert [remark.where for remark in result.remarks] == ["clips/00009.flac"]


def test_an_altered_plan_is_found_and_not_gone_on_with(tmp_path):
    job = finished_job(tmp_path / "job")
    (job / "plan.yaml").write_bytes(PLAN.replace(b"Five", b"Nine"))
    assert "the plan of event 1 was changed" in str(verify(job).problems[0])
    with pytest.raises(Damaged, match="not the plan"):
        begin(job)


def test_a_damaged_log_is_not_gone_on_with(tmp_path):
    job = finished_job(tmp_path / "job")
    path = job / "events.jsonl"
    lines = path.read_bytes().splitlines(keepends=True)
    lines[2] = lines[2].replace(b"4.98", b"4.89")  # there alone: a time may have these figures
    path.write_bytes(b"".join(lines))
    with pytest.raises(Damaged, match="line 3") as error:
        begin(job)
    assert error.value.exit_code == 3
    assert verify(job).problems[0].where == "events.jsonl, line 3"


def test_a_lost_finishing_mark_is_remarked_and_opens_no_finished_job(tmp_path):
    job = finished_job(tmp_path / "job")
    (job / "finished.json").unlink()
    assert (verify(job).ok, len(verify(job).remarks)) == (True, 1)
    with pytest.raises(BadInput, match="finished"):
        begin(job)
