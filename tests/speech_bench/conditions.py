"""The conditions under which is measured."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

NoiseKind = Literal["room", "compressor", "engine", "wrench", "radio", "babble"]
Effect = Literal["none", "echo", "clip", "headset"]

#: Noises of which a condition takes one after the other.
SHOP: tuple[NoiseKind, ...] = ("compressor", "engine", "wrench", "radio", "babble")


@dataclass(frozen=True, slots=True)
class Condition:
    """How the sound reaches the tool.

    Attributes:
        name: of the condition.
        snr: speech level over noise level, dB.
        noises: of which the noise is, in turn.
        effect: what the room or the microphone adds.
    """

    name: str
    snr: float
    noises: tuple[NoiseKind, ...] = ("room",)
    effect: Effect = "none"


CONDITIONS = {
    condition.name: condition
    for condition in (
        Condition("quiet", 40),
        Condition("20dB", 20, SHOP),
        Condition("10dB", 10, SHOP),
        Condition("5dB", 5, SHOP),
        Condition("0dB", 0, SHOP),
        Condition("echo", 40, effect="echo"),
        Condition("clipped", 30, effect="clip"),
        Condition("headset", 30, effect="headset"),
    )
}
