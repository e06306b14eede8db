"""How many utterances are cut in two, and whether what is heard is the same.

    python -m tests.cut_in_two 100 [--final]

Phrases of the speech bench in quiet, in a stream as a microphone gives it.  The decision is there
at once, so that no slow machine saves a value from being cut.
"""

from __future__ import annotations

import sys

import numpy as np

from handsfree.live.hearing import FORESEEN
from handsfree.live.patience import Patience
from handsfree.meaning import interpret
from handsfree.sound.endpoint import FRAME, Endpointer
from handsfree.words import Transcriber

from .speech_bench.conditions import CONDITIONS
from .speech_bench.phrases import dialogue
from .speech_bench.trials import trials


def main(count: int, *, final: bool) -> None:
    """Measure."""
    ears = Transcriber("auto", apart=True)
    quiet = CONDITIONS["quiet"]
    heard_in = cut = same = 0
    waits = []
    for trial in trials("held-out" if final else "tune", quiet, count):
        desk = dialogue(trial.phrase.plan).desk
        step = desk.plan.step(trial.phrase.step)
        grammar, hint = desk.spoken.automaton(step), desk.wording.hint
        samples = trial.say(trial.phrase.text, 0).samples
        usual = Endpointer()
        whole = usual.feed(samples) + usual.flush()
        if len(whole) != 1:
            continue
        heard_in += 1
        endpointer, patience, asked, found = (
            Endpointer(after=FORESEEN, soon=True),
            Patience(),
            None,
            [],
        )
        first = None
        for at in range(0, len(samples), FRAME):
            found += endpointer.feed(samples[at : at + FRAME])
            ending = endpointer.ending
            if ending and (ending.end, ending.hush) != asked:
                asked = ending.end, ending.hush
                first = ears.hear(ending, grammar, hint)
                pause = patience.pause(first, grammar, ending.within)
                found += endpointer.wait(ending.end, pause)
        found += endpointer.flush()
        if len(found) > 1:
            cut += 1
            print(f"cut: {trial.phrase.text!r} by {trial.voice}")
            continue
        waits.append(pause)
        full = ears.hear(whole[0], grammar, hint)
        assert first is not None
        ours, theirs = (interpret(h, desk.spoken, step).meaning for h in (first, full))
        same += ours == theirs
        if ours != theirs:
            print(f"{trial.phrase.text!r} by {trial.voice}: {ours} for {theirs}")
        tally = f"{heard_in} utterances: {cut} cut in two, {same} understood as with the long pause"
        print(f"{tally}; pause {np.mean(waits):.2f} s in the mean", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]), final="--final" in sys.argv)
