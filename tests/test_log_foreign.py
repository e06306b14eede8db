"""A job folder of a stranger: nothing outside it is read, and nothing hangs or grows."""

from __future__ import annotations

import contextlib
import os
import shutil
import socket
from pathlib import Path
from typing import Any

import pytest

from handsfree.errors import BadInput, Damaged
from handsfree.log import JobRecord, open_job, read, verify
from handsfree.log.chain import MOST_FLAWS, NOTHING, decode, encode, holds_whole_event, scan
from handsfree.log.folder import MOST_BYTES, read_file
from handsfree.plan import load_plan
from handsfree.report import report_file

TIME = "2026-03-02T09:15:00.000000Z"
LOADED = load_plan("relay-4pin")


@pytest.fixture
def job(tmp_path: Path) -> Path:
    folder = tmp_path / "job"
    with open_job(folder, LOADED.text.encode(), title=LOADED.plan.title) as log:
        log.append("heard", b"sound", text="violet")
    return folder


def naming(job: Path, name: str) -> Path:
    """The job with a log whose every hash holds, and whose clip has this name."""
    first = (job / "events.jsonl").read_bytes().splitlines(keepends=True)[0]
    fields: dict[str, Any] = {"clip": name, "clip_sha256": "0" * 64}
    second = encode(2, TIME, "heard", fields, scan(first).events[0].digest)
    (job / "events.jsonl").write_bytes(first + second)
    return job


@pytest.mark.parametrize(
    "name",
    ["/dev/zero", "/etc/passwd", "../secret", "clips/../../secret", "clips//etc/passwd", "", ".",
     "clips/.hidden", "clips", "aside", "a" * 5000, "clips/x\0y"],
)  # fmt: skip
def test_nothing_outside_the_folder_is_read(job: Path, name: str) -> None:
    (job.parent / "secret").write_bytes(b"sound")
    result = verify(naming(job, name))
    assert result.state == "damaged"
    assert JobRecord(job, "", LOADED.plan, ()).clip(name) is None


@pytest.mark.skipif(os.name == "nt", reason="there are none there")
@pytest.mark.parametrize("kind", ["pipe", "link", "device", "socket", "folder linked"])
def test_what_is_no_plain_file_is_not_opened(
    job: Path, kind: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    secret = job.parent / "secret"
    secret.write_bytes(b"sound")
    clip = job / "clips" / "00002.flac"
    clip.unlink()
    match kind:
        case "pipe":
            os.mkfifo(clip)
        case "link":
            clip.symlink_to(secret)
        case "device":
            clip.symlink_to("/dev/zero")
        case "socket":
            monkeypatch.chdir(clip.parent)
            with socket.socket(socket.AF_UNIX) as bound:
                bound.bind(clip.name)
        case "folder linked":
            (job / "clips").rename(job.parent / "clips")
            (job / "clips").symlink_to(job.parent / "clips")
            (job / "clips" / "00002.flac").write_bytes(b"sound")
    (problem,) = verify(job).problems
    assert "not to be read" in str(problem)
    assert JobRecord(job, "", LOADED.plan, ()).clip("clips/00002.flac") is None


@pytest.mark.skipif(os.name == "nt", reason="there are none there")
@pytest.mark.parametrize("name", ["events.jsonl", "plan.yaml", "finished.json"])
@pytest.mark.parametrize("kind", ["pipe", "link"])
def test_a_log_that_is_no_plain_file_is_refused(job: Path, name: str, kind: str) -> None:
    (job / name).unlink(missing_ok=True)
    if kind == "pipe":
        os.mkfifo(job / name)
    else:
        (job / name).symlink_to("/dev/zero")
    if name == "plan.yaml":
        assert not verify(job).ok
    else:
        with pytest.raises(BadInput, match="no plain file"):
            verify(job)
    with pytest.raises(BadInput):
        open_job(job, LOADED.text.encode(), title=LOADED.plan.title)


@pytest.mark.parametrize("name", ["events.jsonl", "finished.json", "clips/00002.flac"])
def test_a_file_larger_than_any_jobs_is_not_taken_into_memory(job: Path, name: str) -> None:
    with (job / name).open("ab") as file:
        file.truncate(1 << 33)  # a hole; it takes no room
    if name == "clips/00002.flac":
        assert "larger than any" in str(verify(job).problems)
    else:
        with pytest.raises(BadInput, match="larger than any"):
            verify(job)
    with pytest.raises(BadInput, match="larger than any"):
        read_file(job, name)
    assert MOST_BYTES["events.jsonl"] < 1 << 30


def line(extra: str) -> bytes:
    begin = f'{{"seq":1,"time":"{TIME}","event":"heard",{extra},"prev":"{NOTHING}","sha":"0"}}'
    return begin.encode() + b"\n"


@pytest.mark.parametrize(
    "extra",
    ['"x":' + "[" * 100_000, '"x":' + "[" * 500 + "]" * 500, '"x":1e999', '"x":-1e999', '"x":NaN',
     '"x":Infinity', '"x":' + "9" * 5000, '"x":"\\ud800"', '"seq":1e999', '"seq":true',
     '"seq":null', '"time":7', '"event":[]', '"\\udfff":1'],
)  # fmt: skip
def test_json_that_nobody_wrote_is_no_event(job: Path, extra: str) -> None:
    with pytest.raises(ValueError, match=r".*"):
        decode(line(extra))
    assert not holds_whole_event(line(extra)[:-5])
    (job / "events.jsonl").write_bytes((job / "events.jsonl").read_bytes() + line(extra))
    assert verify(job).state == "damaged"
    assert len(read(job)) == 2


def test_brackets_in_a_text_are_not_counted() -> None:
    assert decode(line('"x":"' + '[{\\"' * 500 + '"')).fields["x"] == '[{"' * 500


@pytest.mark.parametrize(
    "tail",
    [b"\n" * 5_000_000, b"{}\n" * 200_000, b'"' + b'\\"' * 9_000_000, b"[" * 17_000_000,
     b"[[" + b'"' + b'\\"' * 2_000_000 + b"[" * 40 + b"\n", b"[],[" * 10_000_000],
    ids=["newlines", "no events", "no end", "brackets", "no end of a string", "lists"],
)  # fmt: skip
def test_a_log_of_megabytes_of_nonsense_is_read_in_one_go(job: Path, tail: bytes) -> None:
    """None of these may take time by the square of its length, or memory beyond measure."""
    with (job / "events.jsonl").open("ab") as log:
        log.write(tail)
    result = verify(job)
    assert result.events == 2
    assert result.state == "damaged"
    assert len(result.problems) <= MOST_FLAWS + 10


# --- going on with it, and reporting it ---------------------------------------------------------


@pytest.fixture
def victim(tmp_path: Path) -> Path:
    """Something of the user's, outside of the job."""
    file = tmp_path / "mine"
    file.write_text("mine")
    return file


@pytest.mark.skipif(os.name == "nt", reason="links need a right there")
@pytest.mark.parametrize("name", ["lock", "events.jsonl", "plan.yaml", "finished.new"])
def test_going_on_writes_through_no_link(job: Path, victim: Path, name: str) -> None:
    (job / name).unlink(missing_ok=True)
    (job / name).symlink_to(victim)
    with (
        contextlib.suppress(BadInput, Damaged),
        open_job(job, LOADED.text.encode(), title=LOADED.plan.title) as log,
    ):
        log.append("note", b"sound", text="x")
        log.append("finished")
    assert victim.read_text() == "mine"


@pytest.mark.skipif(os.name == "nt", reason="links need a right there")
@pytest.mark.parametrize("name", ["clips", "aside"])
def test_going_on_writes_into_no_linked_folder(job: Path, tmp_path: Path, name: str) -> None:
    elsewhere = tmp_path / "elsewhere"
    if name == "clips":
        (job / name).rename(elsewhere)
    else:
        elsewhere.mkdir()
    (job / name).symlink_to(elsewhere)
    before = sorted(elsewhere.iterdir())
    with (job / "events.jsonl").open("ab") as log:
        log.write(b'{"seq":')  # to be set aside
    with pytest.raises(BadInput, match="a link stands"):
        open_job(job, LOADED.text.encode(), title=LOADED.plan.title)
    assert sorted(elsewhere.iterdir()) == before


@pytest.mark.skipif(os.name == "nt", reason="links need a right there")
def test_a_report_is_written_through_no_link(tmp_path: Path, victim: Path) -> None:
    shutil.copytree(Path(__file__).parent / "data" / "golden" / "left-open", tmp_path / "copy")
    (tmp_path / "copy" / "report.html").unlink()
    (tmp_path / "copy" / "report.html").symlink_to(victim)
    report_file(tmp_path / "copy", tmp_path / "copy" / "report.html")
    assert victim.read_text() == "mine"
    assert "<main>" in (tmp_path / "copy" / "report.html").read_text(encoding="utf-8")
