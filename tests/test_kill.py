"""`dictate` is killed at random moments; what it had read back is in the log."""

from __future__ import annotations

import json
import multiprocessing
import os
import random
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from dictation import dictate

from handsfree.log import read, verify

#: Of a dictation with an engine; `test_torture` and `make torture` kill many more without one.
KILLS = 12
#: Seconds after the first reading within which the kill falls.
SPREAD = 4.0
#: Dictations at the same time.
TOGETHER = 2

# Every dictation is a process of its own; what it imports and reads is there once for all.
PROCESSES = multiprocessing.get_context("forkserver")
PROCESSES.set_forkserver_preload(
    ["handsfree.words.whisper_engine", "scipy.special", "faster_whisper", "made_ready"]
)


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
def test_dictations_of_speech_are_killed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PYTHONPATH", str(Path(__file__).parent))  # for the process that is forked
    rng = random.Random(12)
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
