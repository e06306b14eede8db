"""The level check: is what the microphone hears good enough to be understood?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from handsfree.sound.audio import decibels, level
from handsfree.sound.endpoint import Utterance

Trouble = Literal["loud", "noisy", "quiet"]

TOO_QUIET = -45.0
"""dBFS of speech below which the microphone is too far or turned down."""

CLIPPED = 0.001
"""Share of samples at full scale above which it is too loud."""

CLEAR = 10.0
"""Decibels by which speech must stand out from the noise."""

# Common practice, no published source: headsets bring speech at about -30 to -15 dBFS.


@dataclass(frozen=True, slots=True)
class LevelCheck:
    """What a spoken word says about the microphone.

    Attributes:
        speech: level of the word, dBFS.
        noise: level without speech, dBFS.
        fault: what is wrong, if anything.
    """

    speech: float
    noise: float
    fault: Trouble | None


def judge_level(word: Utterance, noise: float) -> LevelCheck:
    """Judge the microphone by one utterance and the noise before it (dBFS)."""
    samples = word.samples
    speech = decibels(level(samples))
    fault: Trouble | None = None
    if np.mean(np.abs(samples) > 0.99) > CLIPPED:
        fault = "loud"
    elif speech < TOO_QUIET:
        fault = "quiet"
    elif speech - noise < CLEAR:
        fault = "noisy"
    return LevelCheck(round(speech, 1), round(noise, 1), fault)
