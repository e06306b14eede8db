"""Engines that break: what is said to them is the number of a text, as a level of sound."""

from __future__ import annotations

import ctypes
import os
import time

import numpy as np

from handsfree.heard import Calibration, Hypothesis
from handsfree.sound.audio import RATE, Samples
from handsfree.sound.endpoint import Utterance
from handsfree.words import Recognition
from handsfree.words.recogniser import GivenUp, always

STEP = 1 / 1024


def utterance(number: int, start: float = 0.0, seconds: float = 0.25) -> Utterance:
    """The sound that says text `number`."""
    samples = np.full(int(RATE * seconds), number * STEP, np.float32)
    return Utterance(samples, start, start + seconds)


class Frail:
    """Hears texts; those that name a way to break are done.

    Args:
        texts: what can be said to it.
    """

    name = "frail"
    numbers_trusted = True
    pace = 0.0
    calibration = Calibration()

    def __init__(self, *texts: str) -> None:
        self.texts = texts
        self.wanted = always
        self.warm = 0

    def warm_up(self, grammar: object) -> None:
        self.warm += 1

    def recognise(self, samples: Samples, grammar: object, hint: str = "") -> Recognition:
        text = self.texts[round(float(samples[0]) / STEP)]
        match text:
            case "crash":
                ctypes.string_at(0)
            case "kill":
                os.kill(os.getpid(), 9)
            case "hang":
                time.sleep(10**6)
            case "leave":
                os._exit(0)
            case "print":
                os.write(1, b"an engine that prints")
            case "eat":
                np.ones(1 << 50)
            case "raise":
                raise RuntimeError("no such layer")
            case "ponder":
                while self.wanted():
                    time.sleep(0.01)
                raise GivenUp
            case "warm":
                text = str(self.warm)
            case "states":
                text = str(len(grammar.table))  # type: ignore[attr-defined]
        return Recognition((Hypothesis(text),), 1.0)


def missing() -> Frail:
    from handsfree.errors import Missing

    raise Missing("there is no such model", where="--model", remedy="Take another.")


def dies() -> Frail:
    os._exit(3)
