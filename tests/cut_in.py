"""How soon speech over the read-back is noticed, and whether it is understood, without a headset.

    python -m tests.cut_in 100 [--tune]

A voice says a phrase of the speech bench while the tool reads back, both equally loud at the
microphone, each through a room of its own; what is played comes back after 60 to 200 ms.  Then the
tool alone, as often: nobody must be heard.  About 2 s a try.
"""

from __future__ import annotations

import sys
from collections import Counter, deque
from collections.abc import Iterable
from dataclasses import dataclass, replace
from importlib.util import find_spec

import numpy as np
from scipy.signal import fftconvolve

from handsfree.events import ReadingTaken
from handsfree.live.turns import CutIn, Turns
from handsfree.sound.audio import RATE, Samples, level
from handsfree.sound.blocks import BLOCK, Block
from handsfree.sound.echo import Canceller
from handsfree.sound.endpoint import Endpointer, Utterance, silero
from handsfree.words import Transcriber

from .speech_bench import rooms
from .speech_bench.conditions import CONDITIONS
from .speech_bench.levels import at_level
from .speech_bench.phrases import Phrase, Split, dialogue, same, scene, value_of
from .speech_bench.trials import Spoken, trials
from .speech_bench.voices import VOICES, Manner, Voice, installed, speak

STOPS = 2
"""Blocks after the cut in which the speaker still plays, and the microphone still hears it."""
SOON = 0.15
"""Seconds after the beginning of his speech by which the tool is to be silent."""
LEVEL = -26.0
NOISE = -70.0


def room(rng: np.random.Generator) -> Samples:
    """From the speaker on a bench to a microphone near it: 0.2 to 0.5 s of reverberation."""
    return rooms.impulse_response(rng, rng.uniform(0.2, 0.5), rng.uniform(0, 6))


def read_back(number: int) -> Samples:
    """What the tool says: a value, the next step, and what to expect there."""
    joe = next(voice for voice in VOICES if voice.engine == "piper")
    desk = dialogue("flap-actuator-5wire").desk
    step = desk.plan.steps[number % len(desk.plan.steps)]
    following = desk.wording.brief_prompt(step, None)
    text = f"Violet, four point nine eight volts, in range. Next: {following}"
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

    def hear(self, voice: Samples, near: Samples) -> Heard:
        """The tool says this, if it is not cut off, while that is said near the microphone."""
        size = (max(len(voice), len(near)) + 2 * RATE) // BLOCK * BLOCK
        near = np.pad(near, (0, size - len(near)))
        near = near + self.rng.normal(0, 10 ** (NOISE / 20), size).astype(np.float32)
        back = np.zeros(size + BLOCK + len(self.way))
        left, heard = deque(np.split(voice, range(BLOCK, len(voice), BLOCK))), Heard([])
        silent = deque([False] * STOPS)
        for at in range(0, size, BLOCK):
            out = np.zeros(BLOCK, np.float32)
            speaking = bool(left)
            if not silent.popleft() and left:
                said = left.popleft()
                out[: len(said)] = said
            back[at : at + BLOCK + len(self.way) - 1] += fftconvolve(out, self.way)
            sound = np.asarray(back[at : at + BLOCK] + near[at : at + BLOCK], np.float32)
            block = Block(sound, speaking=speaking, played=level(out), reference=out)
            taken = self.turns.take(block, speech=self.endpointer.speaking)
            heard.utterances += self.endpointer.feed(taken)
            heard.waits += self.turns.waits and not silent[-1]
            silent.append(self.turns.waits or heard.cut is not None)
            if heard.silent is None and silent[-1]:
                heard.silent = at + BLOCK
            if self.turns.cut and heard.cut is None:
                heard.cut = at + BLOCK
                heard.silent = heard.silent or at + BLOCK
                silent[-1] = True
            elif not silent[-1]:
                heard.silent = None
            if heard.cut is not None and at >= heard.cut + STOPS * BLOCK:
                left.clear()
        return heard


@dataclass
class Heard:
    """What became of it.

    Attributes:
        utterances: what was heard.
        silent: the sample at which the tool was told to be silent, and was so until it was cut off.
        cut: the sample at which it was cut off.
        waits: how often it was told to be silent.
    """

    utterances: list[Utterance]
    silent: int | None = None
    cut: int | None = None
    waits: int = 0


def one(
    trial: Spoken, number: int
) -> tuple[float | None, list[Utterance], tuple[int, int], list[Utterance]]:
    """He speaks over the read-back.

    Returns:
        Seconds from the beginning of his speech until the tool was told to be silent, if it was cut
        off; what was heard of him; how often the tool alone cut itself off or was heard, and
        how often it paused; what is heard of him while the tool is silent.
    """
    bench = Bench(number)
    alone = bench.hear(read_back(number), np.zeros(0, np.float32))
    voice = read_back(number + 1)
    phrase = speak(trial.voice_used, trial.phrase.text, trial.manner)
    phrase = fftconvolve(phrase, bench.there)[: len(phrase) + RATE // 4].astype(np.float32)
    phrase = at_level(phrase, LEVEL)
    begins = int(bench.rng.uniform(1.0, max(len(voice) / RATE - 1.0, 1.5)) * RATE)
    heard = bench.hear(voice, np.pad(phrase, (begins, 0)))
    late = None
    if heard.cut is not None and heard.silent is not None:
        late = (heard.silent - begins) / RATE - active_from(phrase)
    own = len(alone.utterances) + (alone.cut is not None), alone.waits
    plain = bench.hear(np.zeros(0, np.float32), np.pad(phrase, (RATE, 0)))
    return late, heard.utterances, own, plain.utterances


def active_from(phrase: Samples) -> float:
    """Seconds after which speech is active: at less than 15.9 dB below its level (ITU-T P.56)."""
    piece = RATE // 100
    levels = [level(phrase[at : at + piece]) for at in range(0, len(phrase), piece)]
    return float(np.argmax(np.array(levels) > 10 ** ((LEVEL - 15.9) / 20))) / 100


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


def able(voices: Iterable[Voice]) -> list[Voice]:
    """Those that can speak here, but the tool's own."""
    kokoro = find_spec("kokoro_onnx") is not None
    return [v for v in voices if v.engine != "piper" and (v.engine != "kokoro" or kokoro)]


def main(count: int, split: Split) -> None:
    """Measure."""
    ears = Transcriber("auto")
    voices = able(voice for voice in installed() if voice.split == split)
    print(f"voices: {', '.join(voice.name for voice in voices)}", flush=True)
    readings = [
        replace(trial, voice_used=voices[number % len(voices)])
        for number, trial in enumerate(trials(split, CONDITIONS["quiet"]))
        if trial.phrase.kind == "reading"
    ]
    late, did, plainly, own = [], Counter[str](), Counter[str](), 0
    pauses = 0
    for number, trial in enumerate(readings[:count]):
        after, utterances, alone, plain = one(trial, number)
        what = understood(trial.phrase, ears, utterances)
        else_ = understood(trial.phrase, ears, plain)
        did[what] += 1
        plainly[else_] += 1
        own += alone[0]
        pauses += alone[1]
        late += [after] if after is not None else []
        if what != else_ or after is None or after > SOON or alone[0]:
            when = "not" if after is None else f"{after:.3f} s"
            print(
                f"{trial.voice}: {trial.phrase.text!r}: {when}, {what} for {else_}, {alone} alone"
            )
    p50, p95 = np.percentile(late, [50, 95])
    print(f"{count} tries: {len(late)} cut off, told to be silent p50 {p50:.3f} s, p95 {p95:.3f} s")
    print(f"{sum(each < 0 for each in late)} of them before he spoke")
    print(f"understood: {dict(did)}; the same while the tool is silent: {dict(plainly)}")
    print(f"the tool alone, as often: {own} times heard or cut off, {pauses} pauses")


if __name__ == "__main__":
    main(int(sys.argv[1]), "tune" if "--tune" in sys.argv else "held-out")
