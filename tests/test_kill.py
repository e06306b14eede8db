"""`dictate` is killed at random moments; what it had read back is in the log."""

from __future__ import annotations

import json
import random
import subprocess
import sys
import time
from pathlib import Path

import pytest

from handsfree.languages import data_folder
from handsfree.log import read, verify

CLIPS = sorted((data_folder("demo_audio") / "low-beam").glob("*.flac"))
KILLS = 50
#: Seconds after the first reading within which the kill falls.
SPREAD = 4.0


def dictate_and_kill(job: Path, delay: float) -> tuple[list[dict[str, object]], bool]:
    """Run `dictate`, kill it `delay` seconds after its first reading.

    Returns:
        The events it told, and whether it was killed before it ended.
    """
    command = [sys.executable, "-m", "handsfree", "dictate", "headlamp-levelling", "--json"]
    command += ["--job", str(job), "--voice", "off", "--engine", "whisper"]
    for clip in CLIPS:
        command += ["--audio", str(clip)]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    told = []
    for line in process.stdout:
        told.append(line)
        if json.loads(line)["event"] == "reading":
            break
    time.sleep(delay)
    process.kill()
    told += process.stdout.read().splitlines(keepends=True)
    process.wait()
    whole = [line for line in told if line.endswith("\n")]
    return [json.loads(line) for line in whole], process.returncode == -9


@pytest.mark.slow
def test_fifty_kills(tmp_path: Path) -> None:
    rng = random.Random(50)
    readings = killed = 0
    for number in range(KILLS):
        job = tmp_path / f"job{number}"
        told, was_killed = dictate_and_kill(job, rng.uniform(0, SPREAD))
        killed += was_killed
        logged = {event.seq: event.as_dict() for event in read(job)}
        for event in told:
            assert logged[event["seq"]] == event  # type: ignore[index]
        readings += sum(event["event"] == "reading" for event in told)
        result = verify(job)
        assert result.problems == ()
        assert result.state in ("open", "finished")
    print(f"{killed} of {KILLS} killed, {readings} readings read back, none lost")
    assert killed >= KILLS * 0.9
