"""How soon the tool answers, and how it holds out.

    python tests/bench_live.py answers 210      # utterances, through a real sound server
    python tests/bench_live.py hours 1          # of simulated listening
    python tests/bench_live.py hours 8 level    # with a detector that hears the level alone

Neither is part of the test run; `make bench` measures the ear's share of a processor alone.
"""

from __future__ import annotations

import json
import sys
import tempfile
import time
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from live_hours import listen
from sound_server import RATE, Dictation, Recorder, SoundServer, missing

from handsfree.languages import data_folder
from handsfree.live.turns import Turns
from handsfree.sound.audio import load
from handsfree.sound.blocks import BLOCK, Block
from handsfree.sound.endpoint import Endpointer

SESSION = data_folder("demo_audio") / "low-beam"
LOUD = 0.01
"""-40 dBFS: where a sound begins and ends."""


@dataclass(frozen=True)
class Answer:
    """How long one answer took, in seconds from the end of the technician's speech.

    Attributes:
        decided: until what is said was in the log.
        sounded: until the first sound, the tone if there is one.
        spoke: until the first word.
    """

    decided: float
    sounded: float
    spoke: float


def test_the_ear_s_share_of_a_processor(benchmark: Any) -> None:
    """Ten seconds of sound through turn taking and endpointing; far less than ten seconds."""
    speech = load(SESSION / "03-joe.flac").samples
    sound = np.resize(np.pad(speech, (RATE, 2 * RATE)), 10 * RATE)

    def hear() -> None:
        turns, endpointer = Turns(), Endpointer()
        for start in range(0, len(sound) - BLOCK, BLOCK):
            endpointer.feed(turns.take(Block(sound[start : start + BLOCK])))

    benchmark(hear)


def answers(count: int, voice: str) -> list[Answer]:
    """Run the recorded session again and again, until so many utterances are answered."""
    manifest = json.loads((SESSION / "manifest.json").read_text(encoding="utf-8"))
    paths = [SESSION / each["file"] for each in manifest["utterances"]]
    found: list[Answer] = []
    while len(found) < count:
        with tempfile.TemporaryDirectory() as folder:
            found += _session(Path(folder), paths[: count - len(found)], manifest["plan"], voice)
        print(f"{len(found)} of {count}: {summary(found)}", flush=True)
    return found


def _session(folder: Path, paths: list[Path], plan: str, voice: str) -> list[Answer]:
    server = SoundServer(folder)
    server.start()
    recorder = Recorder(server)
    how = ["--job", folder / "job", "--voice", voice, "--verbosity", "short", "--no-check"]
    dictation = Dictation(server, plan, *how, "--speed", 150, log=folder / "errors.txt")
    found = []
    try:
        dictation.wait("said")
        recorder.wait_said()
        for path in paths:
            begin, event = _say(server, recorder, dictation, path)
            tone = 0.0
            if event["event"] == "reading":
                tone = {"pass": 0.14, None: 0.0}.get(event["outcome"], 0.37)
                event = dictation.wait("said", "asked")
            elif event["event"] == "verdict":
                event = dictation.wait("said")
            if event["event"] == "asked":
                tone = 0.32
            decided = recorder.at(event["at"])
            recorder.wait_said()
            found.append(
                _answer(recorder.samples[begin:], load(path).samples, decided - begin, tone)
            )
            if dictation.of("finished"):
                break
    except TimeoutError as error:
        print(f"{error}: {(folder / 'errors.txt').read_text()}")
    finally:
        dictation.stop()
        recorder.stop()
        server.kill()
    return found


def _say(
    server: SoundServer, recorder: Recorder, dictation: Dictation, path: Path
) -> tuple[int, dict[str, Any]]:
    """Say it, again if the tool was still speaking; from which position, and what came of it."""
    for _ in range(3):
        begin = recorder.position
        server.play(path)
        with suppress(TimeoutError):
            return begin, dictation.wait("reading", "said", "asked", "verdict", timeout=25)
    raise TimeoutError(f"{path.name} is not heard")


def _answer(heard: np.ndarray, word: np.ndarray, decided: int, tone: float) -> Answer:
    """Where in what was heard the word ends and the answer begins."""
    spoken = np.flatnonzero(np.abs(word) > LOUD)
    loud = np.flatnonzero(np.abs(heard) > LOUD)
    end = loud[0] + spoken[-1] - spoken[0]
    first = loud[loud > end + RATE // 5][0]
    after = loud[loud > first + (tone - 0.03) * RATE] if tone else loud[loud >= first]
    spoke = after[0] if len(after) else first
    return Answer((decided - end) / RATE, (first - end) / RATE, (spoke - end) / RATE)


def summary(found: list[Answer]) -> str:
    parts = []
    for name, values in {
        "decision": [a.decided for a in found],
        "decision to first sound": [a.sounded - a.decided for a in found],
        "first sound": [a.sounded for a in found],
        "first word": [a.spoke for a in found],
    }.items():
        p50, p95 = np.percentile(values, [50, 95])
        parts.append(f"{name} p50 {p50:.2f} s, p95 {p95:.2f} s")
    return "; ".join(parts)


def main(what: str, much: str, which: str = "") -> None:
    """Measure; `which` is the voice of the answers, or the detector of the hours."""
    if what == "hours":
        begin = time.monotonic()
        with tempfile.TemporaryDirectory() as folder:
            print(listen(float(much), Path(folder) / "job", which or "neural"))
        print(f"{much} hours in {time.monotonic() - begin:.0f} s")
    elif reason := missing():
        sys.exit(reason)
    else:
        print(summary(answers(int(much), which or "auto")))


if __name__ == "__main__":
    main(*sys.argv[1:])
