"""Some of the shipped plans: for tests that take long, and would longer with every plan more."""

from __future__ import annotations

import random

from handsfree.plan import shipped

COUNT = 10
SEED = 26
ALWAYS = ("airbag-supply", "headlamp-levelling", "thermistor-2wire")
"""One without a circuit, one with a motor and a sweep, one with temperatures."""


def sample() -> tuple[str, ...]:
    """Names of ten plans, by a seed: the same in every run until a plan is added."""
    others = [name for name in shipped() if name not in ALWAYS]
    return *ALWAYS, *sorted(random.Random(SEED).sample(others, COUNT - len(ALWAYS)))
