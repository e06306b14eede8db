"""Learn the change to Whisper's weights: `python -m tests.speech_bench.adapt --voices DIR`.

It needs the extra `lab` and the speakers of npm's kokoro-js.  The lessons are planned, spoken
and kept in the user's cache folder; then a thin matrix beside each of Whisper's own learns from
them, under ever new noise, for so many minutes.  The strangers of the bench and its held-out
split have no part in it: their texts, voices, accents and noises are others.  A graphics card
learns in minutes what two cores learn in a night; `--only` does one of the three parts, so that
each runs where it is fast.
"""

from __future__ import annotations

import argparse
import math
import random
import shutil
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
import torch
import torch.nn.functional as nn
from rich.console import Console
from tokenizers import Tokenizer as Vocabulary

from handsfree.words.weights import variables_in
from handsfree.words.whisper_engine import packaged_whisper

from ..kokoro import Kokoro
from ..voices import cache_folder
from .hearing import Course, Said, noises
from .lessons import Teachers, listed, planned, record, write
from .network import Adapted, change

#: Lessons at once, and the most tokens of the hint that are told.
_BATCH, _HINT = 128, 48
#: Rank of the change, learning rate of matrices and of shifts, steps until it is reached.
_RANK, _RATE, _SHIFT_RATE, _WARM = 48, 1e-3, 3e-4, 200
#: What is learnt is the mean over about so many steps.
_MEAN = 300
#: Label of what is not to be learnt.
_IGNORED = -100
#: Steps that may fail to give a number before the learning is given up.
_PATIENCE = 20


class Teacher:
    """Makes batches.

    Args:
        course: the lessons.
        device: that learns.
        seed: of their order and sound.
    """

    def __init__(self, course: Course, device: torch.device, seed: int = 7) -> None:
        self._course, self._rng, self._device = course, random.Random(seed), device
        vocabulary = Vocabulary.from_file(str(packaged_whisper() / "tokenizer.json"))
        self._encoded: dict[str, list[int]] = {}
        self._vocabulary = vocabulary
        names = ("<|startofprev|>", "<|startoftranscript|>", "<|notimestamps|>", "<|endoftext|>")
        self._before, self._start, self._plain, self._end = map(vocabulary.token_to_id, names)

    def rows(self) -> tuple[list[Said], torch.Tensor, torch.Tensor]:
        """Lessons, their tokens (B, N), and the next of each, (B, N)."""
        rows = [self._course.drawn(self._rng) for _ in range(_BATCH)]
        told = [(self._prompt(row.hint), self._tokens(row.text)) for row in rows]
        longest = max(len(prompt) + len(text) for prompt, text in told)
        tokens = np.full((_BATCH, longest), self._end)
        following = np.full((_BATCH, longest), _IGNORED)
        for row, (prompt, text) in enumerate(told):
            size = len(prompt) + len(text)
            tokens[row, :size] = prompt + text
            following[row, len(prompt) - 1 : size] = [*text, self._end]
        return rows, torch.from_numpy(tokens), torch.from_numpy(following)

    def batch(self, ready: Any) -> tuple[torch.Tensor, torch.Tensor, torch.Tensor]:
        """Features (B, 80, F) and tokens of rows."""
        rows, tokens, following = ready
        features = self._course.heard(rows, self._rng)
        return features, tokens.to(self._device), following.to(self._device)

    def _prompt(self, hint: str) -> list[int]:
        told = self._tokens(f" {hint}")
        if len(told) > _HINT:  # its end, or any part of it
            end = self._rng.random() < 0.5
            start = len(told) - _HINT if end else self._rng.randrange(len(told) - _HINT)
            told = told[start : start + _HINT]
        return [self._before, *told, self._start, self._plain]

    def _tokens(self, text: str) -> list[int]:
        if text not in self._encoded:
            self._encoded[text] = self._vocabulary.encode(text, add_special_tokens=False).ids
        return self._encoded[text]


def learn(
    network: Adapted, teacher: Teacher, minutes: float, device: torch.device, console: Console
) -> dict[str, torch.Tensor]:
    """Learn for so many minutes; what was learnt, in the mean over the last steps.

    Raises:
        ValueError: the losses are no numbers.
    """
    groups = [
        {"params": list(network.thin.values()), "lr": _RATE},
        {"params": list(network.shifts.values()), "lr": _SHIFT_RATE},
    ]
    optimiser = torch.optim.AdamW(groups, betas=(0.9, 0.98), weight_decay=0.0)
    schedule = [(group, group["lr"]) for group in optimiser.param_groups]
    parameters = [p for group in groups for p in group["params"]]  # type: ignore[attr-defined]
    mean = {name: value.detach().clone() for name, value in network.learnt.items()}
    start, step, failed, losses = time.monotonic(), 0, 0, [0.0]
    with ThreadPoolExecutor(1) as pool:
        coming = pool.submit(teacher.rows)
        while (gone := (time.monotonic() - start) / (60 * minutes)) < 1:
            slope = 0.02 + 0.98 * (1 + math.cos(math.pi * gone)) / 2
            for group, rate in schedule:
                group["lr"] = rate * slope * min(1, step / _WARM)
            ready = coming.result()
            coming = pool.submit(teacher.rows)
            features, tokens, following = teacher.batch(ready)
            with torch.autocast(device.type, torch.bfloat16):
                told = network.tell(tokens, network.encode(features))
                scores = network.scores(told[following != _IGNORED])
            loss = nn.cross_entropy(scores.float(), following[following != _IGNORED])
            optimiser.zero_grad()
            loss.backward()
            size = torch.nn.utils.clip_grad_norm_(parameters, 1.0)
            if not torch.isfinite(loss) or not torch.isfinite(size):
                failed += 1
                if failed > _PATIENCE:
                    raise ValueError("the losses are no numbers")
                continue
            optimiser.step()
            step += 1
            with torch.no_grad():
                share = min(1 / _MEAN, 1) if step > _MEAN else 1 / step
                values = list(network.learnt.values())
                torch._foreach_lerp_(list(mean.values()), values, share)
            losses = [*losses[-99:], float(loss.detach())]
            if step % 20 == 0:
                network.hear_silence()
            if step % 200 == 0:
                console.print(f"{step} steps, {np.mean(losses):.3f} nats a token, {failed} failed")
    console.print(f"{step} steps, {np.mean(losses):.3f} nats a token, {failed} failed")
    return mean


def main() -> None:
    """Plan and record the lessons, learn, and write the change."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.speech_bench.adapt",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--voices", type=Path, help="folder of Kokoro's speakers")
    parser.add_argument("--phrases", type=int, default=5200, help="lessons of the grammar")
    parser.add_argument("--minutes", type=float, default=4, help="to learn")
    parser.add_argument("--strength", type=float, action="append", help="share of what was learnt")
    parser.add_argument("--only", choices=("plan", "record", "learn"), help="one part")
    parser.add_argument("--jobs", type=int, default=0, help="processes that speak")
    parser.add_argument("--out", type=Path, default=Path("handsfree/words/tiny_en.npz"))
    options = parser.parse_args()
    console = Console()
    folder, voices = cache_folder() / "lessons", cache_folder() / "kokoro"
    if options.only in (None, "plan"):
        if options.voices:
            shutil.copytree(options.voices, voices, dirs_exist_ok=True)
        plan(folder, voices, options.phrases)
    if options.only in (None, "record"):
        record(folder, voices, options.jobs)
    if options.only not in (None, "learn"):
        return
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    ready = np.load(folder / "noises.npz")
    lessons = listed(folder)
    console.print(f"{len(lessons)} lessons, on {device}")
    course = Course(folder, lessons, ready["noise"].astype(np.float32), ready["filters"], device)
    weights = bytearray((packaged_whisper() / "model.bin").read_bytes())
    network = Adapted(variables_in(weights), _RANK, device)
    learnt = learn(network, Teacher(course, device), options.minutes, device, console)
    for strength in options.strength or [0.7]:
        several = len(options.strength or []) > 1
        out = options.out.with_stem(f"{options.out.stem}-{strength}") if several else options.out
        np.savez(out, **change(learnt, strength))
        console.print(f"written to {out}")


def plan(folder: Path, voices: Path, count: int) -> None:
    """Write what is to be spoken, and all else that comes from other packages."""
    from faster_whisper.feature_extractor import FeatureExtractor

    kokoro = Kokoro(voices)
    write(folder, planned(Teachers(kokoro), count))
    kokoro.keep()
    filters = np.asarray(FeatureExtractor().mel_filters, np.float32)
    np.savez(folder / "noises.npz", noise=noises().astype(np.float16), filters=filters)


if __name__ == "__main__":
    main()
