"""Peak memory of the product while it hears: run in a process of its own.

python -m tests.speech_bench.memory ENGINE [MODEL]
"""

from __future__ import annotations

import resource
import sys
from pathlib import Path

import numpy as np

from handsfree.dialogue import Dialogue
from handsfree.languages import load_language
from handsfree.plan import load_plan
from handsfree.sound.audio import RATE
from handsfree.sound.endpoint import Utterance, silero
from handsfree.words import Transcriber


def main() -> None:
    """Hear three utterances at every step of a plan's first ten; print the peak in megabytes."""
    engine, *model = sys.argv[1:]
    plan = load_plan("flap-actuator-5wire").plan
    desk = Dialogue(plan, load_language(plan.language)).desk
    ears, detect = Transcriber(engine, Path(model[0]) if model else None), silero()
    rng = np.random.default_rng(1)
    for step in plan.steps[:10]:
        sound = (0.1 * rng.standard_normal(3 * RATE)).astype(np.float32)
        detect(sound[:512])
        ears.hear(Utterance(sound, 0, 3), desk.spoken.automaton(step), desk.wording.hint)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss  # kilobytes; bytes on macOS
    print(peak / (1024**2 if sys.platform == "darwin" else 1024))


if __name__ == "__main__":
    main()
