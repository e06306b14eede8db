"""Trials: a phrase, said by a voice in a manner, under a condition with its noise.

Voices, noises and manners come in shuffled blocks, so that every beginning of the list holds
them in equal shares; a phrase keeps its voice and manner under every condition, so that
conditions and engines are compared on the same speech.
"""

from __future__ import annotations

import random
import zlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol, TypeVar

import numpy as np

from handsfree.sound.audio import RATE, Samples

from . import noise, rooms
from .conditions import Condition, NoiseKind
from .levels import active_level, at_level, noise_at
from .phrases import Phrase, Split, phrases
from .voices import Manner, Voice, installed, speak

#: Active level of the speech, dB; noise and room before and after it, seconds.
SPEECH_LEVEL = -26.0  # the usual level of telephone speech tests, ITU-T P.800 (from memory)
BEFORE, AFTER = 0.7, 1.5

Item = TypeVar("Item")


@dataclass(frozen=True, slots=True)
class Stream:
    """Sound as the microphone gives it.

    Attributes:
        samples: mono at 16 kHz.
        spoken: seconds from the start at which the speech ends.
    """

    samples: Samples
    spoken: float


class Trial(Protocol):
    """Something said that the tool must understand."""

    @property
    def phrase(self) -> Phrase: ...

    @property
    def condition(self) -> str: ...

    @property
    def voice(self) -> str: ...

    @property
    def noise(self) -> str: ...

    def key(self, text: str, take: int) -> str:
        """Names the sound of `say`, for the record of what was heard."""
        ...

    def say(self, text: str, take: int) -> Stream:
        """The sound when `text` is said; `take` counts from 0 with every repetition."""
        ...


@dataclass(frozen=True, slots=True)
class Spoken:
    """A trial with a synthetic voice."""

    phrase: Phrase
    voice_used: Voice
    manner: Manner
    where: Condition
    noise_kind: NoiseKind
    seed: int

    @property
    def condition(self) -> str:
        """Name of the condition."""
        return self.where.name

    @property
    def voice(self) -> str:
        """Name of the voice."""
        return self.voice_used.name

    @property
    def noise(self) -> str:
        """Kind of the noise."""
        return self.noise_kind

    def key(self, text: str, take: int) -> str:
        """See `Trial.key`."""
        drawn = f"{self.voice} {self.manner} {self.where} {self.noise_kind} {self.seed}"
        return f"{drawn} {take} {text}"

    def say(self, text: str, take: int) -> Stream:
        """See `Trial.say`; a repetition is said anew, in other noise."""
        manner = self.manner if take == 0 else Manner.drawn(random.Random(f"{self.seed} {take}"))
        speech = speak(self.voice_used, text, manner)
        return under(self.where, speech, self.noise_kind, self.seed + 7919 * take, self.split)

    @property
    def split(self) -> Split:
        """Of phrase, voice and noise."""
        return self.phrase.split


def under(where: Condition, speech: Samples, kind: NoiseKind, seed: int, split: Split) -> Stream:
    """Speech under a condition, with noise before and after it."""
    return mixed(where, speech, lambda seconds: noise.make(kind, seed, seconds, split), seed)


def mixed(where: Condition, speech: Samples, made: Callable[[float], Samples], seed: int) -> Stream:
    """Speech under a condition, in the noise that `made` gives for so many seconds."""
    before, after = (np.zeros(int(s * RATE), np.float32) for s in (BEFORE, AFTER))
    sound = np.concatenate([before, speech, after])
    if where.effect == "echo":
        sound = rooms.echo(sound, seed)
    sound = at_level(sound, SPEECH_LEVEL)
    around = made(len(sound) / RATE)
    sound = sound + noise_at(around, active_level(sound) - where.snr)[: len(sound)]
    if where.effect == "clip":
        sound = rooms.clip(sound)
    if where.effect == "headset":
        sound = rooms.narrow_band(sound)
    peak = float(np.abs(sound).max(initial=0))
    sound = sound / peak * 0.99 if peak > 0.99 else sound
    return Stream(np.asarray(sound, np.float32), (len(before) + len(speech)) / RATE)


def trials(split: Split, where: Condition, limit: int | None = None) -> list[Spoken]:
    """The first `limit` trials of a split under a condition."""
    voices = [voice for voice in installed() if voice.split == split]
    made = []
    for phrase in phrases(split, limit):
        number = phrase.number
        seed = zlib.crc32(f"{split} {where.name} {number}".encode())
        made.append(
            Spoken(
                phrase,
                in_turn(voices, number, f"voices {split}"),
                Manner.drawn(random.Random(f"manner {split} {number}")),
                where,
                in_turn(where.noises, number, f"noises {split} {where.name}"),
                seed,
            )
        )
    return made


def in_turn(items: Sequence[Item], number: int, seed: str) -> Item:
    """Item of that number in an endless row of shuffled blocks."""
    block = list(items)
    random.Random(f"{seed} {number // len(block)}").shuffle(block)
    return block[number % len(block)]
