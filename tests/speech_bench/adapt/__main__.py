"""Learn the change to Whisper's weights: `python -m tests.speech_bench.adapt --voices DIR`.

It needs the extra `lab` and the speakers of npm's kokoro-js.  The lessons are recorded once
and kept in the user's cache folder; then a thin matrix beside each of Whisper's own learns
from them, under ever new noise, for so many minutes.  The held-out split of the bench has no
part in it: its texts, voices and noises are others.  The change that comes with the tool was
learnt in two rounds, of 38 minutes and of 9 with more clips and more narrow band.
"""

from __future__ import annotations

import argparse
import math
import random
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
import torch
import torch.nn.functional as nn
from faster_whisper.feature_extractor import FeatureExtractor
from faster_whisper.tokenizer import Tokenizer
from rich.console import Console
from tokenizers import Tokenizer as Vocabulary

from handsfree.sound.audio import RATE
from handsfree.words.weights import variables_in
from handsfree.words.whisper_engine import BEFORE, packaged_whisper

from ..voices import cache_folder
from .hearing import Course
from .lessons import Teachers, listed, record
from .network import Adapted

#: Lessons at once, and the most tokens of the hint that are told.
_BATCH, _HINT = 16, 48
#: Rank of the change, learning rate of matrices and of shifts, steps until it is reached.
_RANK, _RATE, _SHIFT_RATE, _WARM = 16, 8e-4, 2.4e-4, 60
#: Label of what is not to be learnt.
_IGNORED = -100


class Teacher:
    """Makes batches.

    Args:
        course: the lessons.
        seed: of their order and sound.
    """

    def __init__(self, course: Course, seed: int = 7) -> None:
        self._course, self._rng = course, random.Random(seed)
        path = packaged_whisper() / "tokenizer.json"
        self._tokens: Any = Tokenizer(Vocabulary.from_file(str(path)), multilingual=False)
        self._extract: Any = FeatureExtractor()

    def batch(self) -> tuple[torch.Tensor, torch.Tensor, torch.Tensor]:
        """Features (B, 80, frames), tokens (B, N), and the next of each, (B, N)."""
        lessons = [self._lesson() for _ in range(_BATCH)]
        frames = max(features.shape[1] for features, _, _ in lessons) + 60
        longest = max(len(prompt) + len(text) for _, prompt, text in lessons)
        sound = np.zeros((_BATCH, 80, frames + frames % 2), np.float32)
        tokens = np.full((_BATCH, longest), self._tokens.eot)
        following = np.full((_BATCH, longest), _IGNORED)
        for row, (features, prompt, text) in enumerate(lessons):
            sound[row, :, : features.shape[1]] = features
            size = len(prompt) + len(text)
            tokens[row, :size] = prompt + text
            following[row, len(prompt) - 1 : size] = [*text, self._tokens.eot]
        return torch.from_numpy(sound), torch.from_numpy(tokens), torch.from_numpy(following)

    def _lesson(self) -> tuple[Any, list[int], list[int]]:
        samples, text, hint = self._course.one(self._rng)
        told = self._tokens.encode(f" {hint}")
        if len(told) > _HINT:  # its end, or any part of it
            end = self._rng.random() < 0.5
            start = len(told) - _HINT if end else self._rng.randrange(len(told) - _HINT)
            told = told[start : start + _HINT]
        opening = (*self._tokens.sot_sequence, self._tokens.no_timestamps)
        features = self._extract(np.pad(samples, (int(BEFORE * RATE), 0)))
        return features, [self._tokens.sot_prev, *told, *opening], self._tokens.encode(text)


def learn(network: Adapted, teacher: Teacher, minutes: float, console: Console) -> int:
    """Learn for so many minutes; the number of steps."""
    groups = [
        {"params": list(network.thin.values()), "lr": _RATE},
        {"params": list(network.shifts.values()), "lr": _SHIFT_RATE},
    ]
    optimiser = torch.optim.AdamW(groups, betas=(0.9, 0.98), weight_decay=0.0)
    schedule = [(group, group["lr"]) for group in optimiser.param_groups]
    start, step, losses = time.monotonic(), 0, [0.0]
    with ThreadPoolExecutor(1) as pool:
        coming = pool.submit(teacher.batch)
        while (gone := (time.monotonic() - start) / (60 * minutes)) < 1:
            slope = 0.05 + 0.95 * (1 + math.cos(math.pi * gone)) / 2  # down to a twentieth
            for group, rate in schedule:
                group["lr"] = rate * slope * min(1, step / _WARM)
            features, tokens, following = coming.result()
            coming = pool.submit(teacher.batch)
            with torch.autocast("cpu", torch.bfloat16):
                told = network.tell(tokens, network.encode(features))
                scores = network.scores(told[following != _IGNORED])
            loss = nn.cross_entropy(scores.float(), following[following != _IGNORED])
            optimiser.zero_grad()
            loss.backward()
            torch.nn.utils.clip_grad_norm_([p for g in groups for p in g["params"]], 1.0)
            optimiser.step()
            step += 1
            losses = [*losses[-59:], float(loss.detach())]
            if step % 20 == 0:
                network.hear_silence()
                console.print(f"{step} steps, {np.mean(losses):.3f} nats a token")
    return step


def main() -> None:
    """Record the lessons, learn, and write the change."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.speech_bench.adapt",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--voices", type=Path, required=True, help="folder of the speakers")
    parser.add_argument("--phrases", type=int, default=1500, help="lessons of the grammar")
    parser.add_argument("--minutes", type=float, default=40, help="to learn")
    parser.add_argument("--strength", type=float, default=0.6, help="share of what was learnt")
    parser.add_argument("--out", type=Path, default=Path("handsfree/words/tiny_en.npz"))
    options = parser.parse_args()
    console = Console()
    folder = cache_folder() / "lessons"
    record(folder, Teachers(options.voices), options.phrases)
    weights = bytearray((packaged_whisper() / "model.bin").read_bytes())
    network = Adapted(variables_in(weights), _RANK)
    steps = learn(network, Teacher(Course.of(folder, listed(folder))), options.minutes, console)
    np.savez(options.out, **network.change(options.strength))
    console.print(f"{steps} steps; written to {options.out}")


if __name__ == "__main__":
    main()
