"""What the lessons sound like: rooms, noise, headsets and microphones, drawn anew each time."""

from __future__ import annotations

import random
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import soundfile

from handsfree.sound.audio import RATE, Samples, resample

from .. import noise, rooms
from ..conditions import NoiseKind
from ..human import joined
from ..levels import active_level, at_level, noise_at
from ..trials import SPEECH_LEVEL
from .lessons import DIGITS, Lesson

#: Seconds of each noise that are made, how often, and the first seed: the bench has others.
_SECONDS, _TIMES, _SEED = 20, 6, 100
#: Shares of all lessons: noise alone, talk, and digits that are joined.
_NOISE, _TALK, _JOINED = 0.035, 0.055, 0.15
#: Seconds at most.
LONGEST = 7.0


@dataclass(frozen=True, slots=True)
class Course:
    """The lessons by kind.

    Attributes:
        folder: of the clips.
        phrases, talk: lessons.
        banks: words of numbers by speaker.
    """

    folder: Path
    phrases: list[Lesson]
    talk: list[Lesson]
    banks: list[dict[str, Lesson]]

    @classmethod
    def of(cls, folder: Path, lessons: list[Lesson]) -> Course:
        """Sorted by kind."""
        banks: dict[str, dict[str, Lesson]] = {}
        for lesson in lessons:
            if lesson.kind == "word":
                banks.setdefault(lesson.voice, {})[lesson.text] = lesson
        return cls(
            folder,
            [lesson for lesson in lessons if lesson.kind == "phrase"],
            [lesson for lesson in lessons if lesson.kind == "talk"],
            [bank for bank in banks.values() if len(bank) == len(DIGITS)],
        )

    def one(self, rng: random.Random) -> tuple[Samples, str, str]:
        """Sound, text and hint of one lesson, as it might be heard."""
        hint = rng.choice(self.phrases).hint
        chance = rng.random()
        if chance < _NOISE:
            speech, text = np.zeros(int(rng.uniform(0.5, 3) * RATE), np.float32), ""
        elif chance < _NOISE + _TALK:
            lesson = rng.choice(self.talk)
            speech, text = self._clip(lesson), f" {lesson.text[0].upper()}{lesson.text[1:]}."
        elif chance < _NOISE + _TALK + _JOINED:
            speech, text = self._joined(rng)
        else:
            lesson = rng.choice(self.phrases)
            speech, text, hint = self._clip(lesson), f" {lesson.text}", lesson.hint
        return heard(speech, rng, is_speech=bool(text))[: int(LONGEST * RATE)], text, hint

    def _joined(self, rng: random.Random) -> tuple[Samples, str]:
        """Digits one by one, some of them twice in a row."""
        bank = rng.choice(self.banks)
        digits = [
            rng.choice((DIGITS[0], *DIGITS[2:-1])) for _ in range(rng.choice((2, 3, 3, 3, 4)))
        ]
        if rng.random() < 0.3:
            digits[rng.randrange(1, len(digits))] = digits[0]
        if rng.random() < 0.15:
            digits.insert(rng.randrange(1, len(digits)), "point")
        if rng.random() < 0.1:
            digits[0] = "oh"
        clips = [self._clip(bank[word]) for word in digits]
        return joined(clips, rng, pauses=(0.03, 0.18)), f" {' '.join(digits)}"

    def _clip(self, lesson: Lesson) -> Samples:
        samples, _ = soundfile.read(self.folder / lesson.file, dtype="float32")
        return np.asarray(samples, np.float32)


def heard(speech: Samples, rng: random.Random, *, is_speech: bool) -> Samples:
    """Speech, or its absence, in some room, in some noise, through some microphone."""
    if rng.random() < 0.3:  # another size of the speaker
        size = rng.uniform(0.92, 1.08)
        places = np.arange(int(len(speech) / size)) * size
        speech = np.interp(places, np.arange(len(speech)), speech).astype(np.float32)
    before, after = (int(rng.uniform(*span) * RATE) for span in ((0.05, 0.4), (0.1, 0.8)))
    sound = np.pad(speech, (before, after))
    if rng.random() < 0.1:
        sound = rooms.echo(sound, rng.randrange(2**31))
    snr = rng.uniform(30, 45) if rng.random() < 0.25 else rng.uniform(1, 25)
    kind = rng.choice(noise.KINDS[1:]) if rng.random() < 0.8 else noise.KINDS[0]
    made = _noise(kind, rng.randrange(_TIMES))
    start = rng.randrange(max(len(made) - len(sound), 1))
    around, sound = made[start : start + len(sound)], sound[: len(made)]
    if is_speech:
        sound = at_level(sound, SPEECH_LEVEL)
        sound = sound + noise_at(around, active_level(sound) - snr)
    else:
        sound = noise_at(around, rng.uniform(-60, SPEECH_LEVEL))
    chance = rng.random()
    if chance < 0.05:
        sound = rooms.clip(sound)
    elif chance < 0.15:
        sound = rooms.narrow_band(sound)
    elif chance < 0.3:
        sound = resample(rooms.resample_to(sound, 8000), 8000)
    sound = sound * rng.uniform(0.3, 1.5)
    return np.asarray(sound / max(1.0, float(np.abs(sound).max()) / 0.99), np.float32)


@cache
def _noise(kind: NoiseKind, number: int) -> Samples:
    return noise.make(kind, _SEED + number, _SECONDS, "tune")
