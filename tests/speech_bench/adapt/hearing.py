"""What the lessons sound like: rooms, noise, links and microphones, drawn anew each time.

All of a batch at once, on whatever device learns: B rows, T samples, F frames.
"""

from __future__ import annotations

import math
import random
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
import torch
from numpy.typing import NDArray

from handsfree.sound.audio import RATE
from handsfree.words.whisper_engine import BEFORE

from .. import noise
from ..conditions import NoiseKind
from .lessons import DIGITS, Lesson

#: Seconds of each noise that are made, how often, and the first seed: the bench has others.
SECONDS, TIMES, SEED = 20, 6, 100
#: Noises that are made, and the share of rows in which others talk instead.
KINDS: tuple[NoiseKind, ...] = ("room", "compressor", "engine", "wrench", "radio")
_OTHERS = 0.25
#: Shares of all lessons: noise alone, talk and words that are no number, digits that are joined.
_NOISE, _TALK, _JOINED = 0.04, 0.1, 0.15
#: Seconds at most.
LONGEST = 6.5
#: Whisper's spectrogram: samples of a window, and from one to the next.
_WINDOW, _HOP = 400, 160


@dataclass(frozen=True, slots=True)
class Said:
    """A row of a batch: pieces of clips with the samples before each, its text and its hint."""

    pieces: tuple[tuple[int, int], ...]
    text: str
    hint: str


class Course:
    """The lessons by kind.

    Args:
        folder: of the clips.
        lessons: all of them.
        noises: samples, one kind after the other; see `noises`.
        filters: Whisper's mel filters, shape (80, 201).
        device: that learns.
    """

    def __init__(
        self,
        folder: Path,
        lessons: Sequence[Lesson],
        noises: NDArray[np.float32],
        filters: NDArray[np.float32],
        device: torch.device,
    ) -> None:
        clips = [_clip(folder / lesson.file) for lesson in lessons]
        self._sizes = [len(clip) for clip in clips]
        self._starts = np.cumsum([0, *self._sizes]).tolist()
        self._flat = torch.from_numpy(np.concatenate(clips)).to(device)
        self._noise = torch.from_numpy(noises).to(device)
        self._filters = torch.from_numpy(filters).to(device)
        self._window = torch.hann_window(_WINDOW, device=device)
        self._device = device
        self._lessons = lessons
        self._phrases = [n for n, one in enumerate(lessons) if one.kind == "phrase"]
        self._talk = [n for n, one in enumerate(lessons) if one.kind == "talk"]
        banks: dict[tuple[str, str], dict[str, int]] = {}
        for number, one in enumerate(lessons):
            if one.kind == "word":
                banks.setdefault((one.voice, one.accent), {})[one.text] = number
        self._banks = [bank for bank in banks.values() if len(bank) == len(DIGITS)]

    def drawn(self, rng: random.Random) -> Said:
        """A lesson as it might be said."""
        hint = self._lessons[rng.choice(self._phrases)].hint
        before = int(rng.uniform(0.05, 0.4) * RATE)
        if rng.random() < 0.08:  # the microphone opened late
            before = -int(rng.uniform(0, 0.05) * RATE)
        chance = rng.random()
        if chance < _NOISE:
            return Said((), "", hint)
        if chance < _NOISE + _TALK:
            number = rng.choice(self._talk)
            text = self._lessons[number].text
            return Said(((number, before),), f" {text[0].upper()}{text[1:]}.", hint)
        if chance < _NOISE + _TALK + _JOINED:
            return self._joined(rng, before, hint)
        number = rng.choice(self._phrases)
        lesson = self._lessons[number]
        return Said(((number, before),), f" {lesson.text}", lesson.hint)

    def _joined(self, rng: random.Random, before: int, hint: str) -> Said:
        """Digits one by one, some of them twice in a row, at times with a gap to think."""
        bank = rng.choice(self._banks)
        digits = [
            rng.choice((DIGITS[0], *DIGITS[2:-1])) for _ in range(rng.choice((1, 2, 3, 3, 3, 4)))
        ]
        if len(digits) > 1 and rng.random() < 0.3:
            digits[rng.randrange(1, len(digits))] = digits[0]
        if len(digits) > 1 and rng.random() < 0.15:
            digits.insert(rng.randrange(1, len(digits)), "point")
        if rng.random() < 0.1:
            digits[0] = "oh"
        pauses = [rng.uniform(0.03, 0.18) for _ in digits]
        if rng.random() < 0.15:
            pauses[-1] = rng.uniform(0.2, 0.6)
        pieces = [(bank[d], int(p * RATE)) for d, p in zip(digits, pauses, strict=True)]
        pieces[0] = (pieces[0][0], before)
        return Said(tuple(pieces), f" {' '.join(digits)}", hint)

    @torch.no_grad()
    def heard(self, rows: Sequence[Said], rng: random.Random) -> torch.Tensor:
        """Whisper's features (B, 80, F) of rows that are heard somewhere."""
        speech, ends = self._placed(rows, rng)
        count, size = speech.shape
        speech = self._sized(speech, ends, rng)
        speech = self._echoed(speech, rng)
        silent = torch.tensor([not row.pieces for row in rows], device=self._device)
        level = self._numbers(count, lambda: rng.uniform(-60, -26))
        loud = speech.abs() > 0.02 * speech.abs().amax(1, keepdim=True).clamp_min(1e-6)
        power = (speech**2 * loud).sum(1) / loud.sum(1).clamp_min(1)
        snr = self._numbers(
            count, lambda: rng.uniform(30, 45) if rng.random() < 0.25 else rng.uniform(0, 25)
        )
        around = self._around(speech, rng)
        wanted = torch.where(silent, 10 ** (level / 10), power * 10 ** (-snr / 10))
        sound = speech * ~silent[:, None] + around * wanted.sqrt()[:, None]
        within = torch.arange(size, device=self._device)[None] < ends[:, None]
        sound = self._linked(sound, rng) * within
        gain = self._numbers(count, lambda: rng.uniform(0.2, 1.5) / 0.5)
        most = sound.abs().amax(1).clamp_min(1e-6)
        sound = sound * torch.minimum(gain, 0.99 / most)[:, None]
        return self._features(sound, ends)

    def _placed(
        self, rows: Sequence[Said], rng: random.Random
    ) -> tuple[torch.Tensor, torch.Tensor]:
        """Samples (B, T) and the end of each row."""
        longest = int(LONGEST * RATE)
        ends = []
        for row in rows:
            said = sum(self._sizes[clip] + before for clip, before in row.pieces)
            after = rng.uniform(0.1, 0.8) if row.pieces else rng.uniform(0.5, 3)
            ends.append(min(said + int(after * RATE), longest))
        speech = torch.zeros(len(rows), max(ends), device=self._device)
        for number, row in enumerate(rows):
            at = 0
            for clip, before in row.pieces:
                start, size = self._starts[clip], self._sizes[clip]
                skip = max(-(at + before), 0)
                at = max(at + before, 0)
                size = min(size - skip, speech.shape[1] - at)
                if size <= 0:
                    break
                speech[number, at : at + size] = self._flat[start + skip : start + skip + size]
                at += size
        return speech, torch.tensor(ends, device=self._device)

    def _sized(self, speech: torch.Tensor, ends: torch.Tensor, rng: random.Random) -> torch.Tensor:
        """Some of the speakers larger or smaller."""
        count, size = speech.shape
        stretch = self._numbers(count, lambda: rng.uniform(0.9, 1.1) if rng.random() < 0.5 else 1.0)
        places = torch.arange(size, device=self._device)[None] * stretch[:, None]
        low = places.long().clamp_max(size - 1)
        part = places - low
        high = (low + 1).clamp_max(size - 1)
        mixed = speech.gather(1, low) * (1 - part) + speech.gather(1, high) * part
        return mixed * (places < size - 1)

    def _echoed(self, speech: torch.Tensor, rng: random.Random) -> torch.Tensor:
        """Some in a room: noise that decays by 60 dB in 0.2 to 0.6 s after a stronger path."""
        count, size = speech.shape
        decay = self._numbers(count, lambda: rng.uniform(0.2, 0.6))
        share = self._numbers(
            count, lambda: 10 ** (-rng.uniform(0, 12) / 20) if rng.random() < 0.15 else 0.0
        )
        time = torch.arange(int(0.5 * RATE), device=self._device)[None] / RATE
        response = torch.randn(count, time.shape[1], device=self._device)
        response = response * 10 ** (-3 * time / decay[:, None]) * (time > 0.005)
        response = response / response.norm(dim=1, keepdim=True) * share[:, None]
        response[:, 0] = 1
        width = 1 << (size + time.shape[1] - 1).bit_length()
        both = torch.fft.rfft(speech, width) * torch.fft.rfft(response, width)
        return torch.fft.irfft(both, width)[:, :size]

    def _around(self, speech: torch.Tensor, rng: random.Random) -> torch.Tensor:
        """Noise of unit power: one of those that are made, or the rows beside this one talking."""
        count, size = speech.shape
        most = len(self._noise) - size
        starts = torch.tensor([rng.randrange(most) for _ in range(count)], device=self._device)
        made = self._noise[starts[:, None] + torch.arange(size, device=self._device)[None]]
        talk = torch.zeros_like(speech)
        for other in range(1, rng.choice((2, 4, 5))):
            turned = rng.randrange(size)
            talk = (
                talk
                + speech.roll((other, turned), (0, 1))
                + speech.roll((other + 7, (turned + size // 2) % size), (0, 1))
            )
        others = self._numbers(count, lambda: float(rng.random() < _OTHERS))[:, None]
        made, talk = (x / (x**2).mean(1, keepdim=True).sqrt().clamp_min(1e-5) for x in (made, talk))
        hiss = torch.randn_like(made) * 0.03
        return made * (1 - others) + talk * others + hiss

    def _linked(self, sound: torch.Tensor, rng: random.Random) -> torch.Tensor:
        """Through some microphone and link: tilted, overdriven, in half or less of the band."""
        count, size = sound.shape
        width = 1 << (size - 1).bit_length()
        pitch = torch.fft.rfftfreq(width, 1 / RATE).to(self._device)[None]
        tilt = self._numbers(count, lambda: rng.uniform(-1, 1) if rng.random() < 0.4 else 0.0)[
            :, None
        ]
        passed = (pitch.clamp_min(80) / 1000) ** tilt
        chances = [rng.random() for _ in range(count)]
        top = self._listed([3400 if c < 0.15 else 3900 if c < 0.3 else 7900 for c in chances])
        low = self._listed([300 if c < 0.1 else 60 for c in chances])
        passed = passed / (1 + (pitch / top[:, None]) ** 16).sqrt()
        passed = passed / (1 + (low[:, None] / pitch.clamp_min(1)) ** 6).sqrt()
        sound = torch.fft.irfft(torch.fft.rfft(sound, width) * passed, width)[:, :size]
        most = sound.abs().amax(1, keepdim=True).clamp_min(1e-6)
        whole = sound / most
        coded = torch.sign(whole) * torch.log1p(255 * whole.abs()) / math.log(256)
        steps = self._listed([127 if c < 0.1 else 40 if c < 0.15 else 2**20 for c in chances])
        coded = (coded * steps[:, None]).round() / steps[:, None]
        whole = torch.sign(coded) * (256 ** coded.abs() - 1) / 255
        limit = self._listed([0.35 if 0.3 <= c < 0.36 else 1.0 for c in chances])
        return whole.clamp(-limit[:, None], limit[:, None]) * most

    def _features(self, sound: torch.Tensor, ends: torch.Tensor) -> torch.Tensor:
        """As faster-whisper makes them, with silence before."""
        sound = torch.nn.functional.pad(sound, (int(BEFORE * RATE), _HOP))
        spectrum = torch.stft(sound, _WINDOW, _HOP, window=self._window, return_complex=True)
        power = spectrum[..., :-1].abs() ** 2
        logs = (self._filters @ power).clamp_min(1e-10).log10()
        frames = (ends + int(BEFORE * RATE) + _HOP) // _HOP
        within = torch.arange(logs.shape[-1], device=self._device)[None] < frames[:, None]
        within = within[:, None]
        most = logs.masked_fill(~within, -10).amax((1, 2), keepdim=True)
        features = (torch.maximum(logs, most - 8) + 4) / 4 * within
        return torch.nn.functional.pad(features, (0, 60 + features.shape[-1] % 2))

    def _numbers(self, count: int, one: Any) -> torch.Tensor:
        return self._listed([one() for _ in range(count)])

    def _listed(self, numbers: Sequence[float]) -> torch.Tensor:
        return torch.tensor(numbers, dtype=torch.float32, device=self._device)


def noises() -> NDArray[np.float32]:
    """All that is made of noise, one piece after the other."""
    made = [noise.make(kind, SEED + n, SECONDS, "tune") for kind in KINDS for n in range(TIMES)]
    return np.concatenate(made)


def _clip(path: Path) -> NDArray[np.float32]:
    samples, _ = soundfile.read(path, dtype="float32")
    return np.asarray(samples, np.float32)
