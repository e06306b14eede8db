"""How soon the tool answers voices that nothing was tuned with, and whether it heard them right.

    python -m tests.live_answers 300 --busy [--tune] [--voice espeak-ng]

Dictations through a real sound server: at each step that is open, a value that a meter may show
is said by the next of the held-out voices.  If the tool asks, it is answered.  With --busy another
process keeps one processor busy meanwhile.  About 8 s an utterance.
"""

from __future__ import annotations

import random
import subprocess
import sys
import tempfile
from argparse import ArgumentParser
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from importlib.util import find_spec
from itertools import cycle
from pathlib import Path
from typing import Any

import numpy as np
import soundfile

from handsfree.dialogue import Dialogue, Session
from handsfree.errors import HandsfreeError
from handsfree.events import ReadingTaken
from handsfree.heard import Heard
from handsfree.languages import load_language
from handsfree.log.record import JobRecord
from handsfree.meaning import Take
from handsfree.plan import load_plan

from .sound_server import RATE, Dictation, Recorder, SoundServer, missing
from .speech_bench.phrases import MAKE, PLANS, Split, fits, same
from .speech_bench.trials import in_turn
from .speech_bench.voices import Manner, installed, speak

LOUD = 0.01
"""-40 dBFS: where a sound begins and ends."""
AROUND = 0.1
"""Seconds of an utterance, before and after its speech, that need not be in it to be whole."""


@dataclass(frozen=True)
class Answer:
    """One utterance and what came of it.

    Attributes:
        did: right, asked, silent wrong, or nothing.
        cut: whether it was cut in two.
        decided, sounded: seconds from the end of the speech to the log, and to the first sound.
        answered: seconds from the first sound of the answer to its last.
    """

    did: str
    cut: bool
    decided: float
    sounded: float
    answered: float


@contextmanager
def busy(really: bool) -> Iterator[None]:
    """Another process that takes what it can get of one processor."""
    other = subprocess.Popen([sys.executable, "-c", "while True: pass"]) if really else None
    try:
        yield
    finally:
        if other:
            other.kill()
            other.wait()


class Job:
    """One dictation of a plan, from which no more is known than its log tells.

    Args:
        folder: for everything.
        plan: name of a shipped plan.
        voice: with which the tool answers.
    """

    def __init__(self, folder: Path, plan: str, voice: str) -> None:
        loaded = load_plan(plan).plan
        self._name, self._folder = plan, folder
        self._talk = Dialogue(loaded, load_language("en"))
        self._server = SoundServer(folder)
        self._server.start()
        self._recorder = Recorder(self._server)
        how = ["--voice", voice, "--verbosity", "short", "--speed", 150, "--no-check"]
        self._dictation = Dictation(
            self._server, plan, "--job", folder / "job", *how, log=folder / "errors.txt"
        )

    def begin(self) -> None:
        """Wait until the tool has said what comes first."""
        self._dictation.wait("said")
        self._recorder.wait_said()

    def close(self) -> None:
        """End everything."""
        self._dictation.stop()
        self._recorder.stop()
        self._server.kill()

    @property
    def _session(self) -> Session:
        return JobRecord.read(self._folder / "job").session

    def wanted(self, rng: random.Random) -> tuple[str, Take | None] | None:
        """What may be said now, and the value that is meant; None at the end of the tests."""
        session, language = self._session, load_language("en")
        if question := session.question:
            rule = {"confirm": "yes", "which": "first"}.get(question.kind, "no")
            return rng.choice(language.phrases(rule)), None
        step = self._talk.desk.focus(session)
        if session.phase not in ("test", "after_repair") or step is None:
            return None
        kind = next(
            k
            for k in ("reading", "state", "observation")
            if fits(k, step)  # type: ignore[arg-type]
        )
        for _ in range(100):
            phrase = MAKE[kind](self._talk, self._name, step, rng)
            if (
                phrase
                and isinstance(phrase.intended, Take)
                and not self._asks(session, phrase.text)
            ):
                return phrase.text, phrase.intended
        return None

    def _asks(self, session: Session, text: str) -> bool:
        """Whether these words would be asked about, or be refused, if they were typed."""
        events = self._talk.respond(session, Heard.of_text(text)).events
        return not any(isinstance(event, ReadingTaken) for event in events)

    def answer(self, path: Path, sound: np.ndarray, meant: Take | None) -> Answer | None:
        """Say it; None if nothing came of it."""
        self._dictation.forget()
        before, begin = len(self._dictation.events), self._recorder.position
        self._server.play(path)
        try:
            event = self._dictation.wait("reading", "said", "asked", "verdict", timeout=25)
            decided = self._recorder.at(event["at"])
            if event["event"] in ("reading", "verdict"):
                self._dictation.wait("said", "asked", timeout=25)
            self._recorder.wait_said()
        except TimeoutError:
            return None
        events = self._dictation.events[before:]
        loud = np.flatnonzero(np.abs(self._recorder.samples[begin:]) > LOUD)
        spoken = np.flatnonzero(np.abs(sound) > LOUD)
        end = loud[0] + spoken[-1] - spoken[0]
        first = loud[loud > end + RATE // 5][0]
        heard = [e for e in events if e["event"] == "heard"]
        span = heard[0]["end"] - heard[0]["start"] if heard else 0.0
        cut = len(heard) > 1 or span < (spoken[-1] - spoken[0]) / RATE - AROUND
        late = (decided - begin - end) / RATE, (first - end) / RATE, (loud[-1] - first) / RATE
        return Answer(self._did(events, meant), cut, *late)

    def _did(self, events: list[dict[str, Any]], meant: Take | None) -> str:
        kinds = [event["event"] for event in events]
        if meant is None:
            return "answer"
        for kind in kinds:
            if kind == "asked":
                return "asked"
            if kind == "reading":
                record = JobRecord.read(self._folder / "job")
                taken = record.readings.history[-1].entry.take
                return "right" if same(taken, meant) else "silent wrong"
        return "nothing"

    @property
    def over(self) -> bool:
        """Whether the job has ended."""
        return bool(self._dictation.of("finished"))


def answers(count: int, split: Split, voice: str) -> Iterator[Answer]:
    """One after another, in one job after another."""
    kokoro = find_spec("kokoro_onnx") is not None
    voices = [v for v in installed() if v.split == split and (v.engine != "kokoro" or kokoro)]
    print(f"voices: {', '.join(v.name for v in voices)}", flush=True)
    number = 0
    for plan in cycle(PLANS):
        with tempfile.TemporaryDirectory() as name:
            job = Job(Path(name), plan, voice)
            try:
                job.begin()
                while not job.over and number < count:
                    rng = random.Random(f"answer {split} {number}")
                    wanted = job.wanted(rng)
                    if wanted is None:
                        break
                    text, meant = wanted
                    speaker = in_turn(voices, number, f"voices {split}")
                    sound = speak(speaker, text, Manner.drawn(rng))
                    path = Path(name) / "said.wav"
                    soundfile.write(path, sound, RATE)
                    found = job.answer(path, sound, meant)
                    number += 1
                    if found is None or found.did not in ("right", "answer") or found.cut:
                        print(f"{speaker.name}, {plan}: {text!r}: {found}", flush=True)
                    if found is None:
                        break
                    yield found
            except (TimeoutError, HandsfreeError) as error:
                with suppress(OSError):
                    print(f"{plan}: {error}: {(Path(name) / 'errors.txt').read_text()}")
            finally:
                job.close()
        if number >= count:
            return


def summary(found: list[Answer]) -> str:
    """The figures."""
    did = Counter(answer.did for answer in found)
    parts = [f"{len(found)} utterances", *(f"{n} {what}" for what, n in did.most_common())]
    parts.append(f"{sum(answer.cut for answer in found)} cut in two")
    for name in ("decided", "sounded"):
        p50, p95 = np.percentile([getattr(answer, name) for answer in found], [50, 95])
        parts.append(f"{name} p50 {p50:.2f} s, p95 {p95:.2f} s")
    waited, spoken = (sum(getattr(a, n) for a in found) for n in ("sounded", "answered"))
    job = 40 / max(sum(answer.did == "right" for answer in found), 1) / 60
    parts.append(f"40 readings: {waited * job:.1f} min of waiting, {spoken * job:.1f} of answers")
    return "; ".join(parts)


def main() -> None:
    """Measure as the command line says."""
    parser = ArgumentParser(prog="python -m tests.live_answers", description=__doc__)
    parser.add_argument("count", type=int)
    parser.add_argument("--busy", action="store_true", help="with a second process")
    parser.add_argument("--tune", action="store_true", help="voices of the tuning split")
    parser.add_argument("--voice", default="auto", help="with which the tool answers")
    options = parser.parse_args()
    if reason := missing():
        sys.exit(reason)
    found: list[Answer] = []
    with busy(options.busy):
        for answer in answers(options.count, "tune" if options.tune else "held-out", options.voice):
            found.append(answer)
            if len(found) % 20 == 0:
                print(summary(found), flush=True)
    print(summary(found))


if __name__ == "__main__":
    main()
