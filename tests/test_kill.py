"""`dictate` is killed at random moments; what it had read back is in the log."""

from __future__ import annotations

import json
import multiprocessing
import os
import random
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from handsfree.cli import main
from handsfree.languages import data_folder
from handsfree.log import read, verify

CLIPS = sorted((data_folder("demo_audio") / "low-beam").glob("*.flac"))
KILLS = 50
#: Seconds after the first reading within which the kill falls.
SPREAD = 4.0
#: Dictations at the same time.
TOGETHER = 2

# Every dictation is a process of its own; the libraries are imported once for all of them.
PROCESSES = multiprocessing.get_context("forkserver")
PROCESSES.set_forkserver_preload(
    ["handsfree.cli.dictate", "handsfree.words.whisper_engine", "scipy.special", "faster_whisper"]
)


def dictate(job: Path, told: Path) -> None:
    """Dictate into a job; what is printed goes to `told`."""
    os.dup2(os.open(told, os.O_WRONLY), 1)
    sys.argv = ["handsfree", "dictate", "headlamp-levelling", "--json", "--job", str(job)]
    sys.argv += ["--voice", "off", "--engine", "whisper"]
    for clip in CLIPS:
        sys.argv += ["--audio", str(clip)]
    main()


def dictate_and_kill(job: Path, delay: float) -> tuple[list[dict[str, object]], bool]:
    """Run `dictate`, kill it `delay` seconds after its first reading.

    Returns:
        The events it told, and whether it was killed before it ended.
    """
    pipe = job.with_suffix(".told")
    os.mkfifo(pipe)
    process = PROCESSES.Process(target=dictate, args=(job, pipe))
    process.start()
    told = []
    with pipe.open() as printed:
        for line in printed:
            told.append(line)
            if json.loads(line)["event"] == "reading":
                break
        time.sleep(delay)
        process.kill()
        told += printed.read().splitlines(keepends=True)
    process.join()
    whole = [line for line in told if line.endswith("\n")]
    return [json.loads(line) for line in whole], process.exitcode == -9


@pytest.mark.slow
def test_fifty_kills(tmp_path: Path) -> None:
    rng = random.Random(50)
    jobs = [tmp_path / f"job{number}" for number in range(KILLS)]
    delays = [rng.uniform(0, SPREAD) for _ in jobs]
    with ThreadPoolExecutor(TOGETHER) as pool:
        done = list(pool.map(dictate_and_kill, jobs, delays))
    for job, (told, _) in zip(jobs, done, strict=True):
        assert any(event["event"] == "reading" for event in told)
        logged = {event.seq: event.as_dict() for event in read(job)}
        for event in told:
            assert logged[event["seq"]] == event  # type: ignore[index]
        result = verify(job)
        assert result.problems == ()
        assert result.state in ("open", "finished")
    killed = sum(was_killed for _, was_killed in done)
    assert killed >= KILLS * 0.9
