"""The log when the disk is full, read-only or failing, and when the process is killed."""

import errno
import multiprocessing
import os
import random
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest

from handsfree.errors import BadInput
from handsfree.log import open_job, read, verify

PLAN = b"title: Lamp circuit voltage drop\n"
TITLE = "Lamp circuit voltage drop"


def values(job: Path) -> list[object]:
    return [event.fields["value"] for event in read(job) if event.kind == "reading"]


def failing(number: int):
    def fail(*_):
        raise OSError(number, os.strerror(number))

    return fail


def half_write(real):
    def write(descriptor, data):
        return real(descriptor, data[: len(data) // 2])

    return write


@pytest.mark.parametrize(
    ("function", "replacement", "what"),
    [
        ("write", failing(errno.ENOSPC), "disk is full"),
        ("write", half_write(os.write), "disk is full"),
        ("write", failing(errno.EDQUOT), "disk is full"),
        ("fsync", failing(errno.EIO), "disk refused"),
        ("write", failing(errno.EROFS), "no permission"),
    ],
)
def test_a_failed_write_leaves_the_log_whole_and_can_be_tried_again(
    tmp_path, monkeypatch, function, replacement, what
):
    with open_job(tmp_path, PLAN, title=TITLE) as log:
        log.append("reading", value=1)
        before = (tmp_path / "events.jsonl").read_bytes()
        for kind in ("reading", "finished"):
            with monkeypatch.context() as patch:
                patch.setattr(os, function, replacement)
                with pytest.raises(BadInput, match=what) as error:
                    log.append(kind, value=2)
            assert error.value.where
            assert error.value.remedy
            assert "say it again" not in error.value.remedy  # the session has ended
            assert (tmp_path / "events.jsonl").read_bytes() == before
            assert len(log.lines) == 2
        log.append("reading", value=3)
    assert verify(tmp_path).ok
    assert values(tmp_path) == [1, 3]


def test_a_half_written_line_that_could_not_be_cut_off_is_cut_before_the_next(
    tmp_path, monkeypatch
):
    with open_job(tmp_path, PLAN, title=TITLE) as log:
        log.append("reading", value=1)
        with monkeypatch.context() as patch:
            patch.setattr(os, "write", half_write(os.write))
            patch.setattr(os, "ftruncate", failing(errno.EIO))
            with pytest.raises(BadInput):
                log.append("reading", value=2)
        assert verify(tmp_path).remarks  # the half line is there
        log.append("reading", value=3)
    assert (verify(tmp_path).ok, verify(tmp_path).remarks) == (True, ())
    assert values(tmp_path) == [1, 3]


def test_an_interrupt_in_the_middle_of_a_write_leaves_no_second_event_of_that_number(
    tmp_path, monkeypatch
):
    def interrupted(_):
        raise KeyboardInterrupt

    with open_job(tmp_path, PLAN, title=TITLE) as log:
        with monkeypatch.context() as patch:
            patch.setattr(os, "fsync", interrupted)
            with pytest.raises(KeyboardInterrupt):
                log.append("reading", value=1)
        log.append("finished")
    assert (verify(tmp_path).state, values(tmp_path)) == ("finished", [])


LIMITED = """
import resource, sys
from pathlib import Path
from handsfree.errors import BadInput
from handsfree.log import open_job
with open_job(Path(sys.argv[1]), sys.argv[2].encode(), title=sys.argv[3]) as log:
    resource.setrlimit(resource.RLIMIT_FSIZE, (4000, resource.RLIM_INFINITY))
    try:
        for number in range(100):
            log.append("reading", value=number)
            print(number)
    except BadInput as error:
        print(error)
    try:
        log.append("heard", bytes(5000))
    except BadInput as error:
        print(error)
    resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY,) * 2)
    log.append("finished")
"""


def test_a_real_limit_on_the_size_of_a_file(tmp_path):
    command = [sys.executable, "-c", LIMITED, str(tmp_path / "job"), PLAN.decode(), TITLE]
    out = subprocess.run(command, capture_output=True, text=True, timeout=60)
    assert out.returncode == 0, out.stderr
    assert out.stdout.count("the disk is full") == 2
    acknowledged = [int(line) for line in out.stdout.splitlines() if line.isdigit()]
    assert 5 < len(acknowledged) < 100
    assert values(tmp_path / "job") == acknowledged
    assert not any((tmp_path / "job" / "clips").iterdir())
    assert verify(tmp_path / "job").state == "finished"


MOUNTED = """
mount -t tmpfs -o size={size}k none "$1" || exit 77
[ -z "{ro}" ] || mount -o remount,ro "$1" || exit 77
"$2" -c "$3" "$1"
code=$?
[ -d "$1/job" ] && cp -r "$1/job" "$4"
exit $code
"""
FILL = """
import sys
from pathlib import Path
from handsfree.errors import BadInput
from handsfree.log import open_job
job = Path(sys.argv[1]) / "job"
try:
    with open_job(job, b"title: Lamp circuit voltage drop\\n", title="x") as log:
        for number in range(1000):
            heard = log.append("heard", bytes(7000))
            log.append("reading", value=number)
            print(number)
except BadInput as error:
    print(error)
    sys.exit(error.exit_code)
"""


def in_a_mount(tmp_path: Path, size: int, read_only: bool) -> tuple[str, Path]:
    if not shutil.which("unshare"):
        pytest.skip("needs unshare (util-linux)")
    mount = tmp_path / "mount"
    mount.mkdir()
    script = MOUNTED.format(size=size, ro="yes" if read_only else "")
    command = ["unshare", "-rm", "sh", "-c", script, "sh"]
    command += [str(mount), sys.executable, FILL, str(tmp_path / "copy")]
    out = subprocess.run(command, capture_output=True, text=True, timeout=60)
    if out.returncode not in (0, 2):
        pytest.skip(f"no mounts for this user here: {out.stderr.strip()}")
    assert out.returncode == 2
    assert "Traceback" not in out.stderr
    return out.stdout, tmp_path / "copy"


def test_a_really_full_disk(tmp_path):
    said, job = in_a_mount(tmp_path, 200, read_only=False)
    assert "the disk is full" in said
    acknowledged = [int(line) for line in said.splitlines() if line.isdigit()]
    assert len(acknowledged) > 5
    assert values(job) == acknowledged
    assert verify(job).ok


def test_a_really_read_only_disk(tmp_path):
    said, _ = in_a_mount(tmp_path, 200, read_only=True)
    assert "no permission to read or write here" in said
    assert "--job" in said


# --- killed -------------------------------------------------------------------------------------


def numbers(pipe):
    """What is still in a pipe; a message that was cut by the kill is none."""
    while True:
        try:
            yield int(pipe.recv_bytes())
        except (EOFError, OSError):
            return


# Every writer is a process of its own; what it imports is there once for all of them.
PROCESSES = multiprocessing.get_context("forkserver")
PROCESSES.set_forkserver_preload(["handsfree.log"])


def write_on(job, told):
    """Write into a job without end; the numbers of what is acknowledged go to `told`."""
    with open_job(job, PLAN, title=TITLE) as log, told:
        told.send_bytes(b"ready")
        while True:
            event = log.append("heard", bytes(2000), text="violet four point nine eight " * 20)
            told.send_bytes(b"%d" % event.seq)
            event = log.append("reading", wire="violet", value=4.98, clip=event.fields["clip"])
            told.send_bytes(b"%d" % event.seq)


@pytest.mark.skipif(os.name == "nt", reason="SIGKILL is of POSIX")
def test_killed_at_fifty_random_moments_nothing_acknowledged_is_lost(tmp_path):
    moments = random.Random(2)
    job = tmp_path / "job"
    acknowledged: set[int] = set()
    for _ in range(50):
        here, there = PROCESSES.Pipe(duplex=False)
        writer = PROCESSES.Process(target=write_on, args=(job, there))
        writer.start()
        there.close()
        with here:
            assert here.poll(60)
            assert here.recv_bytes() == b"ready"
            time.sleep(moments.uniform(0, 0.04))
            writer.kill()
            acknowledged |= set(numbers(here))
        writer.join()
        writer.close()
        assert verify(job).ok
        assert acknowledged <= {event.seq for event in read(job)}
    open_job(job, PLAN, title=TITLE).close()
    assert verify(job).ok
    assert acknowledged <= {event.seq for event in read(job)}
    assert len(acknowledged) > 50
