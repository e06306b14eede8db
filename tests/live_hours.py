"""Hours of listening, faster than they pass: sound is fed, and nothing waits for a clock."""

from __future__ import annotations

import queue
import resource
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soxr

from handsfree.dialogue import Dialogue, Session
from handsfree.dialogue.informed import proposal
from handsfree.grammar.moment import Moment
from handsfree.heard import Heard
from handsfree.job import Job
from handsfree.languages import data_folder, load_language
from handsfree.live import Live, Settings, Turns, hearing
from handsfree.log import open_job, read
from handsfree.plan import load_plan
from handsfree.sound.audio import RATE, Samples, level, load
from handsfree.sound.blocks import Block, Blocks
from handsfree.sound.card import Message, Opened, Said
from handsfree.sound.endpoint import Endpointer, Utterance
from handsfree.sound.voice import Voice

DEVICE_RATE = 44_100
EVERY = 20
"""Seconds from one word of the technician to the next."""

CLOSING = 2
"""The last words: "finish" and "yes"; all before them are notes."""

MOMENTS: tuple[Moment, ...] = ("beginning", "listening", "answering")


@dataclass(frozen=True)
class Result:
    """What came of it.

    Attributes:
        words: how many words were said, and how many were heard.
        drift: seconds by which the times of the last words are later than those of the first.
        spread: seconds between the largest and the smallest error of a time.
        growth: megabytes of memory more after the last note than after the first tenth, or the
            first nine, of the words; the verdict at the end needs memory for a moment.
    """

    words: tuple[int, int]
    drift: float
    spread: float
    growth: float


class Hours:
    """A sound card at 44.1 kHz on which the technician speaks every `EVERY` seconds."""

    def __init__(self, hours: float) -> None:
        self.words = int(hours * 3600 / EVERY)
        self.said_at: list[float] = []
        self.memory: list[float] = []
        self.closed = False
        self._ended: queue.SimpleQueue[int] = queue.SimpleQueue()
        paths = sorted((data_folder("demo_audio") / "low-beam").glob("0*.flac"))
        self._sounds = [soxr.resample(load(p).samples, RATE, DEVICE_RATE) for p in paths]

    def messages(self) -> Iterator[Message]:
        yield Opened("microphone", "speaker", DEVICE_RATE, 1)
        yield Said(self._ended.get())
        maker, noise = Blocks(DEVICE_RATE), np.random.default_rng(1)
        fed = 0
        for number in range(self.words):
            word = self._sounds[number % len(self._sounds)]
            self.said_at.append((fed + DEVICE_RATE) / DEVICE_RATE)
            sound = noise.normal(0, 1e-4, EVERY * DEVICE_RATE).astype(np.float32)
            sound[DEVICE_RATE : DEVICE_RATE + len(word)] += word
            half = 8 * DEVICE_RATE  # the word and the pause after it; then the tool answers
            yield from map(Block, maker.feed(sound[:half]))
            breath = self._ended.get(timeout=120)
            for samples in maker.feed(sound[half:]):
                yield Block(samples, speaking=breath > 0, played=0.1)
                if breath:
                    yield Said(breath)
                breath = 0
            fed += len(sound)
            self.memory.append(_memory())
        while not self.closed:
            with suppress(queue.Empty):
                yield Said(self._ended.get(timeout=0.05))

    def play(self, number: int, samples: Samples, rate: int) -> None:
        pass

    def end(self, number: int) -> None:
        self._ended.put(number)

    def stop(self, number: int) -> None:
        pass

    def restart(self) -> None:
        raise AssertionError("the speaker hangs")

    def close(self) -> None:
        self.closed = True


class _Ears:
    """Hears a note, which may always go on, and `finish` and `yes` at the end.

    A word is heard several times, if there are pauses in it.
    """

    name = "bench"

    def __init__(self, words: int) -> None:
        self._left = words
        self._start = -1.0

    def hear(self, utterance: Utterance, grammar: object, hint: str = "") -> Heard:
        self._left -= utterance.start != self._start
        self._start = utterance.start
        text = Heard.of_text({1: "finish", 0: "yes"}.get(self._left, "note the seal is torn"))
        return Heard(text.hypotheses, start=utterance.start, end=utterance.end)

    guess = hear

    def prepare(self, grammar: object) -> None:
        """It needs none."""

    def give_up(self) -> None:
        """It hears at once."""


def listen(hours: float, folder: Path, detector: str = "neural") -> Result:
    """Listen for so many simulated hours.

    Args:
        hours: of sound.
        folder: of the job.
        detector: "neural", which takes a minute of a processor for twenty of sound, or "level",
            which takes hardly any and leaves all other parts as they are.
    """
    sounds = Hours(hours)
    if detector == "level":
        hearing.Endpointer = lambda **how: Endpointer(  # type: ignore[misc, assignment]
            detector=lambda frame: float(level(frame) > 0.01), **how
        )
    noise = np.random.default_rng(2)

    def sing(text: str, speed: float) -> tuple[Samples, int]:
        return noise.normal(0, 0.1, 300 * len(text)).astype(np.float32), 22_050

    loaded = load_plan("headlamp-levelling")
    dialogue = Dialogue(loaded.plan, load_language())
    desk = dialogue.desk
    for step in loaded.plan.steps:  # what is made once and kept is no growth
        for moment in MOMENTS:
            desk.spoken.automaton(step, moment)
    assert proposal(desk, Session())
    live = Live(sounds, Voice("bench", sing), Turns(), Settings(), lambda _: None)
    with live, open_job(folder, loaded.text.encode(), title=loaded.plan.title) as log:
        job = Job(dialogue, log, live.follow, live.speak)
        live.run(job, _Ears(sounds.words), check=False)  # type: ignore[arg-type]
    heard = [event.fields for event in read(folder) if event.kind == "heard"]
    errors = [h["start"] - at for h, at in zip(heard, sounds.said_at, strict=False)]
    tenth = max(len(errors) // 10, 1)
    return Result(
        words=(sounds.words, len(heard)),
        drift=float(np.mean(errors[-tenth:]) - np.mean(errors[:tenth])),
        spread=max(errors) - min(errors),
        growth=sounds.memory[-1 - CLOSING] - sounds.memory[max(tenth, 9) - 1],
    )


def _memory() -> float:
    """Megabytes that this process holds now."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * resource.getpagesize() / 1e6
