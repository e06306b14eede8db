"""Strangers: accents, voices, noises and links that neither learning nor tuning had.

What is here comes in two parts that share nothing: one to tune with, and the strangers, which are
for a final run alone.  The accents are made in the phonemes (`accents`) and spoken by Kokoro's
speakers; of a speaker whose first language is another, the voice is foreign too.
"""

from __future__ import annotations

import hashlib
import os
import random
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
import soundfile
from numpy.typing import NDArray
from scipy.signal import butter, sosfilt

from handsfree.sound.audio import RATE, Samples

from . import channels, noise
from .accents import ACCENTS, PARTS, accented
from .conditions import CONDITIONS, Condition
from .phrases import Phrase, Split, phrases
from .trials import Stream, in_turn, mixed
from .voices import KOKORO, cache_folder, kokoro, without_silence

Who = Literal["tune", "strangers"]
Floats = NDArray[np.float64]

#: The texts of each part, and its speakers: the first are those of the bench.
SPLITS: dict[Who, Split] = {"tune": "tune", "strangers": "held-out"}
SPEAKERS: dict[Who, tuple[str, ...]] = {
    "tune": (*KOKORO["tune"], "ff_siwis", "jm_kumo"),
    "strangers": (*KOKORO["held-out"], "ef_dora", "zm_yunjian", "hm_omega", "im_nicola"),
}
WHERE = {
    **{name: CONDITIONS[name] for name in ("quiet", "20dB", "10dB", "5dB")},
    "narrow": Condition("narrow", 30),
}
"""Conditions; the last through a codec, half of it with its ends cut short."""
_NOISES: dict[Who, tuple[str, ...]] = {
    "tune": ("compressor", "engine", "wrench", "radio", "crowd"),
    "strangers": ("grinder", "rain", "pump", "siren", "crowd"),
}
#: Speed of a speaker, and the number of people in a crowd.
SPEED, _CROWD = (0.8, 1.25), (3, 5)


@dataclass(frozen=True, slots=True)
class Stranger:
    """A trial with an accent.

    Attributes:
        phrase, condition, noise: as of every trial.
        who: the part.
        accent, speaker, speed: who says it, and how fast.
        seed: of all that is drawn.
    """

    phrase: Phrase
    who: Who
    accent: str
    speaker: str
    speed: float
    condition: str
    noise: str
    seed: int

    @property
    def voice(self) -> str:
        """Accent and speaker."""
        return f"{self.accent} {self.speaker}"

    def key(self, text: str, take: int) -> str:
        """See `Trial.key`."""
        said = f"{self.who} {self.voice} {self.speed} {self.condition} {self.noise} {self.seed}"
        return f"{said} {take} {text}"

    def say(self, text: str, take: int) -> Stream:
        """See `Trial.say`; a repetition is heard in other noise."""
        rng = random.Random(f"{self.seed} {take}")
        speech = self.spoken(text)
        narrow = self.condition == "narrow"
        if narrow and self.seed % 2:
            speech = channels.cut_short(speech, rng)
        stream = mixed(WHERE[self.condition], speech, lambda seconds: self._around(seconds, rng),
                       self.seed)  # fmt: skip
        if not narrow:
            return stream
        link = rng.choice(channels.NEAR if self.who == "tune" else channels.STRANGE)
        return Stream(link(stream.samples), stream.spoken)

    def spoken(self, text: str) -> Samples:
        """The text, as this speaker says it with this accent."""
        drawn = random.Random(f"{self.voice} {self.seed}")
        phonemes = accented(kokoro().phonemes(text), ACCENTS[self.accent], drawn)
        return uttered(phonemes, self.speaker, self.speed)

    def _around(self, seconds: float, rng: random.Random) -> Samples:
        frames = round(seconds * RATE)
        if self.noise == "crowd":
            return _crowd(self.who, frames, rng)
        if self.noise in STRANGE:
            made = STRANGE[self.noise](np.random.default_rng(self.seed + rng.randrange(9)), frames)
            return np.asarray(0.1 * made / np.sqrt(np.mean(made**2) + 1e-20), np.float32)
        kind = next(kind for kind in noise.KINDS if kind == self.noise)
        return noise.make(kind, self.seed + rng.randrange(9), seconds, SPLITS[self.who])


def strangers(who: Who, condition: str, limit: int | None = None) -> list[Stranger]:
    """The first trials of a part under a condition; the same are said under each."""
    return [_stranger(who, condition, phrase) for phrase in phrases(SPLITS[who], limit)]


def _stranger(who: Who, condition: str, phrase: Phrase) -> Stranger:
    number = phrase.number
    speed = random.Random(f"speed {who} {number}").uniform(*SPEED)
    kinds = ("room",) if condition in ("quiet", "narrow") else _NOISES[who]
    return Stranger(
        phrase,
        who,
        in_turn(PARTS[who], number, f"accents {who}"),
        in_turn(SPEAKERS[who], number, f"speakers {who}"),
        round(speed, 2),
        condition,
        in_turn(kinds, number, f"noises {who} {condition}"),
        zlib.crc32(f"{who} {number}".encode()),
    )


def uttered(phonemes: str, speaker: str, speed: float) -> Samples:
    """Phonemes spoken, without silence around them; said once and kept in the cache folder."""
    name = hashlib.sha256(f"{phonemes} {speed}".encode()).hexdigest()[:24]
    path = _folder() / speaker / f"{name}.flac"
    if not path.exists():
        path.parent.mkdir(parents=True, exist_ok=True)
        said = without_silence(kokoro().utter(phonemes, speaker, speed))
        part = path.with_suffix(f".{os.getpid()}.part")
        soundfile.write(part, 0.5 * said / np.abs(said).max(initial=1e-9), RATE, format="FLAC")
        part.replace(path)
    samples, _ = soundfile.read(path, dtype="float32")
    return np.asarray(samples, np.float32)


def _folder() -> Path:
    return cache_folder() / "accents"


def _crowd(who: Who, frames: int, rng: random.Random) -> Samples:
    """Several of the part's speakers at once, each saying phrases that were not asked for."""
    sound = np.zeros(frames, np.float32)
    for _ in range(rng.randint(*_CROWD)):
        parts: list[Samples] = []
        while sum(map(len, parts)) < frames:
            said = _stranger(who, "quiet", rng.choice(phrases(SPLITS[who], _TALKED)))
            parts.append(said.spoken(said.phrase.text))
        start = rng.randrange(1 + sum(map(len, parts)) - frames)
        sound += np.concatenate(parts)[start : start + frames]
    return sound


#: A crowd says the first of the phrases, which every run speaks anyway.
_TALKED = 40


def _unit(sound: Floats) -> Floats:
    return np.asarray(sound / np.sqrt(np.mean(sound**2) + 1e-20))


def _above(sound: Floats, low: float) -> Floats:
    sos = butter(2, low, "highpass", fs=RATE, output="sos")
    return np.asarray(sosfilt(sos, sound))


def _swing(rng: np.random.Generator, frames: int, every: float) -> Floats:
    """A slow random curve between 0 and 1 with a new value each `every` seconds."""
    count = int(frames / RATE / every) + 2
    return np.interp(np.arange(frames) / RATE, np.arange(count) * every, rng.random(count))


def _grinder(rng: np.random.Generator, frames: int) -> Floats:
    """An angle grinder: a motor whose pitch sinks under load, and abrasion."""
    load = _swing(rng, frames, 0.4)
    phase = 2 * np.pi * np.cumsum(rng.uniform(150, 220) * (1 - 0.15 * load)) / RATE
    motor = sum(np.sin(n * phase + rng.uniform(0, 6)) / n**0.5 for n in range(1, 24))
    return _unit(np.asarray(motor)) + 1.5 * load * _unit(_above(rng.standard_normal(frames), 2500))


def _rain(rng: np.random.Generator, frames: int) -> Floats:
    """Rain on a metal roof: drops that ring, over a rush."""
    drops = (rng.random(frames) < rng.uniform(60, 250) / RATE) * rng.exponential(1.0, frames)
    ring = np.arange(int(0.03 * RATE)) / RATE
    tones = [rng.uniform(700, 4000) for _ in range(6)]
    drop = sum(np.sin(2 * np.pi * f * ring) for f in tones) * np.exp(-ring / 0.006)
    return _unit(np.convolve(drops, drop)[:frames]) + 0.5 * _unit(
        _above(rng.standard_normal(frames), 800)
    )


def _pump(rng: np.random.Generator, frames: int) -> Floats:
    """The hydraulic pump of a hoist: the whine of its gears, swelling, over a growl."""
    phase = 2 * np.pi * np.cumsum(rng.uniform(250, 420) * (1 + 0.02 * _swing(rng, frames, 0.7)))
    whine = sum(np.sin(n * phase / RATE) / n for n in range(1, 9))
    growl = np.cumsum(rng.standard_normal(frames))
    return _unit(np.asarray(whine) * (0.5 + _swing(rng, frames, 1.1))) + 0.7 * _unit(
        _above(growl, 90)
    )


def _siren(rng: np.random.Generator, frames: int) -> Floats:
    """A lorry that reverses: its beeper, and its engine."""
    time = np.arange(frames) / RATE
    period = rng.uniform(0.7, 1.1)
    beep = np.sign(np.sin(2 * np.pi * rng.uniform(1000, 1500) * time)) * (
        (time + rng.uniform(0, 1)) % period < period / 2
    )
    turns = np.sin(2 * np.pi * rng.uniform(18, 30) * time)
    rumble = np.cumsum(rng.standard_normal(frames)) * (1 + 0.7 * turns)
    return 0.6 * _unit(beep) + _unit(_above(rumble, 60))


STRANGE: dict[str, Callable[[np.random.Generator, int], Floats]] = {
    "grinder": _grinder,
    "rain": _rain,
    "pump": _pump,
    "siren": _siren,
}
"""Noises of the strangers, made from seeds."""


def clips(who: Who, limit: int) -> Iterator[tuple[str, str, float]]:
    """Phonemes, speaker and speed of the first phrases: what a run must have spoken."""
    for trial in strangers(who, "quiet", max(limit, _TALKED)):
        drawn = random.Random(f"{trial.voice} {trial.seed}")
        said = accented(kokoro().phonemes(trial.phrase.text), ACCENTS[trial.accent], drawn)
        yield said, trial.speaker, trial.speed
