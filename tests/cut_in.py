"""How soon speech over the read-back is noticed, and whether it is understood, without a headset.

    python -m tests.cut_in 100 [--tune]

A voice says a phrase of the speech bench while the tool reads back, both equally loud at the
microphone, each through a room of its own; what is played comes back after 60 to 200 ms.  Then the
tool alone, as often: nobody must be heard.  About 2 s a try.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy.signal import fftconvolve

from handsfree.events import ReadingTaken
from handsfree.live.turns import CutIn, Turns
from handsfree.sound.audio import RATE, Samples
from handsfree.sound.blocks import BLOCK, Block, level
from handsfree.sound.echo import Canceller
from handsfree.sound.endpoint import Endpointer, Utterance, silero
from handsfree.words import Transcriber

from .speech_bench import rooms
from .speech_bench.conditions import CONDITIONS
from .speech_bench.levels import at_level
from .speech_bench.phrases import Phrase, Split, dialogue, phrases, same, scene, value_of
from .speech_bench.trials import Spoken, trials
from .speech_bench.voices import VOICES, Manner, speak

STOPS = 2
"""Blocks after the cut in which the speaker still plays, and the microphone still hears it."""
LEVEL = -26.0
NOISE = -70.0


@dataclass(frozen=True)
class Try:
    """What came of one.

    Attributes:
        late: seconds from the beginning of his speech to the cut; None if there was none.
        did: what the first thing heard came to: right, asked, wrong, or nothing.
    """

    late: float | None
    did: str


def room(rng: np.random.Generator) -> Samples:
    """From the speaker on a bench to a microphone near it: 0.2 to 0.5 s of reverberation."""
    return rooms.impulse_response(rng, rng.uniform(0.2, 0.5), rng.uniform(0, 6))


def read_back(number: int) -> Samples:
    """What the tool says: a value, the next step, and what to expect there."""
    joe = next(voice for voice in VOICES if voice.engine == "piper")
    desk = dialogue("flap-actuator-5wire").desk
    step = desk.plan.steps[number % len(desk.plan.steps)]
    text = f"Violet, four point nine eight volts, in range. Next: {desk.wording.brief_prompt(step, None)}"
    return at_level(speak(joe, text, Manner()), LEVEL)


class Bench:
    """A microphone beside a loudspeaker; what is heard is made block by block.

    Args:
        seed: of the rooms, the way and the noise.
    """

    def __init__(self, seed: int) -> None:
        self.rng = np.random.default_rng(seed)
        self.way = np.zeros(int(self.rng.uniform(0.06, 0.2) * RATE), np.float32)
        self.way = np.concatenate([self.way, room(self.rng)])
        self.there = room(self.rng)
        self.turns = Turns(cut_in=CutIn(silero(), Canceller()))
        self.endpointer = Endpointer()

    def hear(self, played: Samples, near: Samples) -> tuple[int | None, list[Utterance]]:
        """The tool plays this, if it is not cut off, while this is said near the microphone.

        Returns:
            The sample at which it was cut off, if it was; and what was heard until the end.
        """
        size = max(len(played), len(near)) // BLOCK * BLOCK + 2 * RATE // BLOCK * BLOCK
        played = np.pad(played, (0, size - len(played)))
        near = np.pad(near, (0, size - len(near)))
        near = near + self.rng.normal(0, 10 ** (NOISE / 20), size).astype(np.float32)
        back = fftconvolve(played, self.way)[:size]
        cut, found = None, []
        last = np.flatnonzero(played)[-1] if played.any() else 0
        for at in range(0, size, BLOCK):
            if cut is not None and at == cut + STOPS * BLOCK:
                played[at:] = 0
                back = fftconvolve(played, self.way)[:size]
                last = at
            out = played[at : at + BLOCK]
            sound = np.asarray(back[at : at + BLOCK] + near[at : at + BLOCK], np.float32)
            block = Block(sound, speaking=at < last, played=level(out), reference=out)
            found += self.endpointer.feed(self.turns.take(block, speech=self.endpointer.speaking))
            if self.turns.cut and cut is None:
                cut = at + BLOCK
        return cut, found


def one(trial: Spoken, ears: Transcriber, number: int) -> tuple[Try, int]:
    """He speaks over the read-back; and how often the tool alone cut itself off or was heard."""
    bench = Bench(number)
    cut, found = bench.hear(read_back(number), np.zeros(0, np.float32))
    alone = len(found) + (cut is not None)
    played = read_back(number + 1)
    phrase = speak(trial.voice_used, trial.phrase.text, trial.manner)
    phrase = fftconvolve(phrase, bench.there)[: len(phrase) + RATE // 4].astype(np.float32)
    phrase = at_level(phrase, LEVEL)
    begins = int(bench.rng.uniform(1.0, max(len(played) / RATE - 1.0, 1.5)) * RATE)
    loud = np.flatnonzero(np.abs(phrase) > 0.02 * np.abs(phrase).max())[0]
    cut, found = bench.hear(played, np.pad(phrase, (begins, 0)))
    late = None if cut is None else (cut - begins - loud) / RATE
    return Try(late, understood(trial.phrase, ears, found)), alone


def understood(phrase: Phrase, ears: Transcriber, found: list[Utterance]) -> str:
    """What the dialogue makes of what was heard."""
    talk, session = dialogue(phrase.plan), scene(phrase)
    taken = []
    for utterance in found:
        desk = talk.desk
        grammar = desk.spoken.automaton(desk.focus(session), session.moment)
        response = talk.respond(session, ears.hear(utterance, grammar, desk.wording.hint))
        session = response.session
        taken += [event.entry.take for event in response.events if isinstance(event, ReadingTaken)]
    if taken:
        return "right" if all(same(take, value_of(phrase)) for take in taken) else "wrong"
    return "asked" if session.question else "nothing"


def tries(count: int, split: Split) -> Iterator[tuple[Try, int]]:
    """One after another; the tool's own voice is nobody's here."""
    ears = Transcriber("auto")
    some = (t for t in trials(split, CONDITIONS["quiet"]) if t.phrase.kind == "reading")
    others = (t for t in some if t.voice_used.engine != "piper" and t.phrase.before == "nothing")
    for number, trial in zip(range(count), others, strict=False):
        found, alone = one(trial, ears, number)
        if found.did != "right" or found.late is None or found.late > 0.15 or alone:
            late = "not" if found.late is None else f"{found.late:.2f} s"
            print(f"{trial.voice}: {trial.phrase.text!r}: cut {late}, {found.did}, alone {alone}")
        yield found, alone


def main(count: int, split: Split) -> None:
    """Measure."""
    found, alone = zip(*tries(count, split), strict=True)
    late = [one.late for one in found if one.late is not None]
    did = Counter(one.did for one in found)
    p50, p95 = np.percentile(late, [50, 95])
    before = sum(value < 0 for value in late)
    print(f"{len(found)} tries: {len(late)} cut off, p50 {p50:.3f} s, p95 {p95:.3f} s")
    print(f"{before} before he spoke; {', '.join(f'{n} {what}' for what, n in did.most_common())}")
    print(f"the tool alone, as often: {sum(alone)} times heard or cut off")


if __name__ == "__main__":
    main(int(sys.argv[1]), "tune" if "--tune" in sys.argv else "held-out")
