"""The system asks the program to end: the terminal is given back, the log is whole."""

from __future__ import annotations

import os
import select
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from handsfree.log import read, verify

GOLDEN = Path(__file__).parent / "data" / "golden"

pty = pytest.importorskip("pty", reason="there are no such terminals here")


def read_until(terminal: int, wanted: bytes, seconds: float = 60) -> bytes:
    """What is written on a terminal until it holds `wanted`, or ends."""
    written, end = b"", time.monotonic() + seconds
    while wanted not in written and time.monotonic() < end:
        if select.select([terminal], [], [], 0.2)[0]:
            try:
                written += os.read(terminal, 65536)
            except OSError:  # the other side is gone
                break
    return written


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP, signal.SIGINT])
def test_the_terminal_is_given_back(tmp_path: Path, number: signal.Signals) -> None:
    job = tmp_path / "job"
    shutil.copytree(GOLDEN / "left-open", job)
    ours, theirs = pty.openpty()
    command = [sys.executable, "-m", "handsfree", "glance", str(job)]
    environment = {**os.environ, "TERM": "xterm", "COLUMNS": "80", "LINES": "24"}
    process = subprocess.Popen(
        command,
        stdin=theirs,
        stdout=theirs,
        stderr=theirs,
        env=environment,
        start_new_session=True,
        # Behind a shell, or under nohup, one of them is ignored from the start.
        preexec_fn=lambda: signal.signal(number, signal.SIG_DFL),
    )
    os.close(theirs)
    try:
        assert b"step " in read_until(ours, b"step ").replace(b"\x1b[?1049h", b"")
        process.send_signal(number)
        after = read_until(ours, b"\x1b[?1049l", 20)
        assert b"\x1b[?1049l" in after  # the alternate screen is left
        read_until(ours, b"nothing", 5)
        assert process.wait(20) == (0 if number == signal.SIGINT else 128 + number)
        assert b"Traceback" not in after
    finally:
        process.kill()
        os.close(ours)


def test_an_ending_that_is_asked_for_leaves_the_log_whole(tmp_path: Path) -> None:
    script = """
import sys, os, signal
from pathlib import Path
from handsfree.cli import app as cli
from handsfree.log import open_job

def command():
    with open_job(Path(sys.argv[1]), b"title: x\\n", title="x") as log:
        log.append("reading", value=1)
        sync = os.fsync
        def ended(descriptor):
            os.kill(os.getpid(), signal.SIGTERM)
            sync(descriptor)
        os.fsync = ended
        log.append("reading", value=2)
        print("acknowledged")

cli.app = command
cli.main()
"""
    done = subprocess.run(
        [sys.executable, "-c", script, str(tmp_path / "job")], capture_output=True, text=True
    )
    assert (done.returncode, done.stdout, done.stderr) == (143, "", "")
    assert [line.fields.get("value") for line in read(tmp_path / "job")] == [None, 1]
    assert (verify(tmp_path / "job").ok, verify(tmp_path / "job").remarks) == (True, ())
