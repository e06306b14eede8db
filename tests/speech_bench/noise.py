"""The noise of a workshop, made from seeds: no recording is needed, and none is copied.

Each generator gives mono noise at 16 kHz of any length; the level is set when it is mixed.
Speeds and pitches are common practice, no published source, and are drawn from the seed.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from typing import get_args

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, sosfilt

from handsfree.sound.audio import RATE, Samples

from .conditions import NoiseKind
from .phrases import Split
from .voices import Manner, installed, speak

Floats = NDArray[np.float64]

KINDS: tuple[NoiseKind, ...] = get_args(NoiseKind)
#: Sentences that have nothing to do with the job: written for the bench, public domain.
UNRELATED = (
    "did you see the game last night, they lost again",
    "the delivery should have been here before lunch",
    "tell her the blue car in the yard is ready for pickup",
    "my sister is moving house next weekend and needs a trailer",
    "somebody left the kettle on in the kitchen again",
    "we are out of coffee, and the shop closes early today",
    "he said the price was far too high for such an old van",
    "have you got a minute to look at this invoice",
    "turn that music down, I cannot hear the customer",
    "the weather is supposed to get better towards the evening",
    "I parked it behind the second gate next to the fence",
    "they want both tyres changed and the wheels balanced",
    "where did you put the long ladder this morning",
    "the phone has been ringing all day without a break",
    "it was about half past three when the truck came in",
    "nobody told me that the meeting had been cancelled",
    "let us order pizza, the usual place, two large ones",
    "our neighbour has bought a dog that barks all night",
    "she asked for an estimate and will call back on Thursday",
    "that radio station plays the same ten songs every hour",
)


def make(kind: NoiseKind, seed: int, seconds: float, split: Split) -> Samples:
    """Noise of a kind.

    Args:
        kind: what makes it.
        seed: decides all of it.
        seconds: its length.
        split: whose voices talk in the babble.
    """
    rng = np.random.default_rng([seed, KINDS.index(kind), split == "held-out"])
    frames = round(seconds * RATE)
    sound = _babble(rng, frames, split) if kind == "babble" else _MAKE[kind](rng, frames)
    return np.asarray(sound / np.sqrt(np.mean(sound**2) + 1e-20) * 0.1, np.float32)


def _band(sound: Floats, low: float, high: float) -> Floats:
    sos = butter(2, [low, min(high, 0.49 * RATE)], "bandpass", fs=RATE, output="sos")
    return np.asarray(sosfilt(sos, sound))


def _pink(rng: np.random.Generator, frames: int) -> Floats:
    """Noise whose power falls by 3 dB an octave, from 40 Hz up."""
    spectrum = np.fft.rfft(rng.standard_normal(frames))
    pitch = np.fft.rfftfreq(frames, 1 / RATE)
    falling = spectrum * (pitch > 40) / np.sqrt(np.maximum(pitch, 40))
    return np.asarray(np.fft.irfft(falling, frames))


def _pulses(rng: np.random.Generator, frames: int, rate: float, jitter: float) -> Floats:
    """Impulses at `rate` a second, each off by a share `jitter` of the period, and uneven."""
    gaps = RATE / rate * (1 + jitter * rng.standard_normal(int(frames / RATE * rate * 1.5) + 8))
    at = np.cumsum(np.maximum(gaps, 1)).astype(int)
    at = at[at < frames]
    pulses = np.zeros(frames)
    pulses[at] = 1 + 0.3 * rng.standard_normal(len(at))
    return pulses


def _room(rng: np.random.Generator, frames: int) -> Floats:
    """A quiet workshop: ventilation and the street."""
    return _pink(rng, frames)


def _compressor(rng: np.random.Generator, frames: int) -> Floats:
    """A piston compressor: strokes, the hum of its motor, and hissing valves."""
    strokes = rng.uniform(9, 16)
    thump = _band(_pulses(rng, frames, strokes, 0.01), 50, rng.uniform(250, 500))
    time = np.arange(frames) / RATE
    hum = sum(np.sin(2 * np.pi * (50 * n * time) + rng.uniform(0, 6)) / n for n in (1, 2, 3, 4, 6))
    valves = _band(rng.standard_normal(frames), 500, rng.uniform(3500, 6000))
    valves *= 1 + 0.8 * np.sin(2 * np.pi * strokes * time + rng.uniform(0, 6))
    return _unit(thump) + 0.5 * _unit(np.asarray(hum)) + 0.6 * _unit(valves)


def _engine(rng: np.random.Generator, frames: int) -> Floats:
    """Four cylinders, four strokes, idling: two firings a turn; belts and fan above it."""
    turns = rng.uniform(680, 950) / 60
    firing = _band(_pulses(rng, frames, 2 * turns, 0.03), 40, rng.uniform(300, 700))
    ticking = _band(_pulses(rng, frames, 4 * turns, 0.05), 1500, 5000)
    air = _band(rng.standard_normal(frames), 200, 3000)
    return _unit(firing) + 0.25 * _unit(ticking) + 0.4 * _unit(air)


def _wrench(rng: np.random.Generator, frames: int) -> Floats:
    """An impact wrench: bursts of blows that ring in steel, with the hiss of its air motor."""
    sound = 0.02 * _pink(rng, frames)
    at = int(rng.uniform(0, 0.5) * RATE)
    ring = np.arange(int(0.04 * RATE)) / RATE
    while at < frames:
        length = min(int(rng.uniform(0.5, 2.0) * RATE), frames - at)
        blows = _pulses(rng, length, rng.uniform(18, 32), 0.04)
        tones = [rng.uniform(1200, 6500) for _ in range(4)]
        blow = sum(np.sin(2 * np.pi * f * ring) for f in tones) * np.exp(-ring / 0.008)
        hiss = 0.15 * _band(rng.standard_normal(length), 1000, 7000)
        whine = 0.1 * np.sin(2 * np.pi * rng.uniform(300, 600) * np.arange(length) / RATE)
        sound[at : at + length] += np.convolve(blows, blow)[:length] * 0.6 + hiss + whine
        at += length + int(rng.uniform(0.3, 1.2) * RATE)
    return sound


def _radio(rng: np.random.Generator, frames: int) -> Floats:
    """Music from a small radio: chords, a tune with vibrato, a beat."""
    beat = 60 / rng.uniform(85, 130)
    time = np.arange(frames) / RATE
    root = rng.uniform(110, 220)
    count = int(frames / RATE / beat) + 1
    steps = rng.choice((0, 2, 4, 5, 7, 9, 11, 12), count)
    chords = rng.choice((0, 5, 7, 9), count // 4 + 1)
    position = np.minimum((time / beat).astype(int), count - 1)
    tune = 2 * root * 2 ** (steps[position] / 12) * (1 + 0.004 * np.sin(2 * np.pi * 5.5 * time))
    phase = 2 * np.pi * np.cumsum(tune) / RATE
    fade = np.exp(-2.0 * (time % beat) / beat)
    music = sum(np.sin(n * phase) / n for n in range(1, 7)) * fade
    for third in (0, 4, 7):
        chord = root * 2 ** ((chords[position // 4] + third) / 12)
        phase = 2 * np.pi * np.cumsum(chord) / RATE
        music += 0.4 * sum(np.sin(n * phase) / n for n in range(1, 6))
    drum = rng.standard_normal(frames) * np.exp(-25 * (time % beat))
    return _band(np.asarray(music) + 0.8 * drum, 200, 5500)


def _babble(rng: np.random.Generator, frames: int, split: Split) -> Floats:
    """Three to five people who talk at once."""
    chosen = random.Random(int(rng.integers(2**31)))
    sound = np.zeros(frames)
    for _ in range(chosen.randint(3, 5)):
        talk = talking(chosen, frames / RATE + 3, split)
        start = int(chosen.uniform(0, 2) * RATE)
        sound += _unit(np.asarray(talk[start : start + frames], np.float64))
    return sound


def talking(rng: random.Random, seconds: float, split: Split) -> Samples:
    """One voice after the other saying unrelated sentences, at least so many seconds."""
    voices = [voice for voice in installed() if voice.split == split]
    voice, manner = rng.choice(voices), Manner(rng.choice((0.9, 1.0, 1.1)), 1.0)
    parts: list[Samples] = []
    while sum(map(len, parts)) < seconds * RATE:
        said = speak(voice, rng.choice(UNRELATED), manner)
        parts += [said, np.zeros(int(rng.uniform(0.2, 1.0) * RATE), np.float32)]
    return np.concatenate(parts)


def _unit(sound: Floats) -> Floats:
    return np.asarray(sound / np.sqrt(np.mean(sound**2) + 1e-20))


_MAKE: dict[NoiseKind, Callable[[np.random.Generator, int], Floats]] = {
    "room": _room,
    "compressor": _compressor,
    "engine": _engine,
    "wrench": _wrench,
    "radio": _radio,
}
