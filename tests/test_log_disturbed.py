"""The log is touched by somebody else while it is written: that is noticed, and said."""

from __future__ import annotations

import os
import shutil
import stat
from collections.abc import Callable
from pathlib import Path

import pytest

from handsfree.errors import BadInput, Damaged
from handsfree.log import open_job, read, verify

PLAN = b"title: Lamp circuit voltage drop\n"
TITLE = "Lamp circuit voltage drop"


def removed(job: Path) -> None:
    (job / "events.jsonl").unlink()


def moved(job: Path) -> None:
    job.rename(job.with_name("elsewhere"))


def folder_removed(job: Path) -> None:
    shutil.rmtree(job)


def emptied(job: Path) -> None:
    os.truncate(job / "events.jsonl", 0)


def cut(job: Path) -> None:
    os.truncate(job / "events.jsonl", (job / "events.jsonl").stat().st_size - 30)


def replaced(job: Path) -> None:
    copy = job / "copy"
    shutil.copy(job / "events.jsonl", copy)
    copy.replace(job / "events.jsonl")


def edited(job: Path) -> None:
    log = job / "events.jsonl"
    data = log.read_bytes()
    with log.open("r+b") as file:
        file.write(data.replace(b'"value":1', b'"value":7'))
    os.utime(log, ns=(1, log.stat().st_mtime_ns + 1_000_000))  # the disk's clock is coarse


def added(job: Path) -> None:
    with (job / "events.jsonl").open("ab") as log:
        log.write(b'{"seq":9}\n')


@pytest.mark.parametrize(
    "disturb", [removed, moved, folder_removed, emptied, cut, replaced, edited, added]
)
def test_nothing_is_acknowledged_once_the_log_is_not_as_it_was_left(
    tmp_path: Path, disturb: Callable[[Path], None]
) -> None:
    with open_job(tmp_path / "job", PLAN, title=TITLE) as log:
        log.append("reading", value=1)
        disturb(tmp_path / "job")
        for kind, sound in (("reading", None), ("heard", b"sound"), ("finished", None)):
            with pytest.raises(Damaged) as error:
                log.append(kind, sound, value=2)
            assert error.value.exit_code == 3
            assert error.value.remedy
        assert len(log.lines) == 2


def test_a_log_that_is_removed_during_the_very_write_is_not_acknowledged(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    job, sync = tmp_path / "job", os.fsync

    def sync_and_remove(descriptor: int) -> None:
        sync(descriptor)
        (job / "events.jsonl").unlink(missing_ok=True)

    with open_job(job, PLAN, title=TITLE) as log:
        monkeypatch.setattr(os, "fsync", sync_and_remove)
        with pytest.raises(Damaged, match="removed"):
            log.append("reading", value=1)


def test_a_touch_that_changes_nothing_is_none(tmp_path: Path) -> None:
    with open_job(tmp_path / "job", PLAN, title=TITLE) as log:
        log.append("reading", value=1)
        os.utime(tmp_path / "job" / "events.jsonl", ns=(1, 1))
        log.append("reading", value=2)
    assert verify(tmp_path / "job").ok
    assert len(read(tmp_path / "job")) == 3


@pytest.mark.skipif(os.name == "nt", reason="an open file cannot be deleted there")
def test_a_deleted_lock_lets_no_second_writer_in(tmp_path: Path) -> None:
    job = tmp_path / "job"
    with open_job(job, PLAN, title=TITLE) as log:
        (job / "lock").unlink()
        with pytest.raises(BadInput, match="another dictation is writing"):
            open_job(job, PLAN, title=TITLE)
        log.append("reading", value=1)
    open_job(job, PLAN, title=TITLE).close()
    assert verify(job).ok


@pytest.mark.skipif(os.name == "nt", reason="there are no such rights there")
def test_a_job_is_its_owners_only(tmp_path: Path) -> None:
    before = os.umask(0o022)
    try:
        with open_job(tmp_path / "job", PLAN, title=TITLE) as log:
            log.append("heard", b"sound")
            log.append("finished")
    finally:
        os.umask(before)
    job = tmp_path / "job"
    rights = {p.relative_to(job).as_posix(): stat.S_IMODE(p.stat().st_mode) for p in job.rglob("*")}
    assert stat.S_IMODE(job.stat().st_mode) == 0o700
    assert rights.pop("clips") == 0o700
    assert set(rights) >= {"events.jsonl", "plan.yaml", "finished.json", "clips/00002.flac"}
    assert set(rights.values()) == {0o600}
