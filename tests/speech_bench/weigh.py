"""Fit how much each of two models counts: `python -m tests.speech_bench.weigh --limit 100`.

It hears the tuning split with whisper+moonshine, keeps what each model makes of every text,
and finds the weights, doubts and pace of `handsfree.words.together` under which what was meant
is likeliest.  The calibration is fitted after that, with `--fit` of the bench.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
from collections import defaultdict
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from rich.console import Console
from rich.progress import track
from scipy.optimize import minimize
from scipy.special import logsumexp

from handsfree.heard import Heard
from handsfree.meaning import Unclear, interpret
from handsfree.sound.audio import RATE
from handsfree.words import open_engine
from handsfree.words.ear import OUTSIDE
from handsfree.words.pace import fit as fits_time
from handsfree.words.together import DOUBTS, WEIGHTS, Together, held_within

from .conditions import CONDITIONS
from .hearing import cut
from .human import human_trials
from .outcome import first_right
from .phrases import dialogue, scene
from .trials import Trial, trials

Array = NDArray[np.float64]

#: No single utterance counts for more, in nats: one that nothing can put right.
_MOST = 8.0

_engine: Together | None = None


@dataclass(frozen=True, slots=True)
class Case:
    """An utterance of the tuning split.

    Attributes:
        condition: of its trial.
        texts: shape (texts, 4): log likelihood by Whisper and by Moonshine, how well the words
            fit the time, and what is taken off a text outside the grammar.
        right: shape (texts,), which of them mean what was meant.
    """

    condition: str
    texts: Array
    right: NDArray[np.bool_]


def _start() -> None:
    global _engine
    engine = open_engine("whisper+moonshine")
    assert isinstance(engine, Together)
    _engine = engine


def _case(trial: Trial) -> Case | None:
    """What both make of a trial; None if it was not cut out as one utterance."""
    assert _engine is not None
    phrase, session = trial.phrase, scene(trial.phrase)
    desk = dialogue(phrase.plan).desk
    step = desk.focus(session)
    stream = trial.say(phrase.text, 0)
    cuts = cut(stream)
    if len(cuts) != 1:
        return None
    ((start, end, _, _, voiced),) = cuts
    samples = stream.samples[round(start * RATE) : round(end * RATE)]
    grammar = desk.spoken.automaton(step, session.moment)
    one, two = _engine.both(samples, grammar, desk.wording.hint)
    rows, right = [], []
    for mine, its, off in (
        (one.sentences, two.sentences, 0.0),
        (one.outside, two.outside, OUTSIDE),
    ):
        for text, score in mine.items():
            meaning = interpret(Heard.of_text(text), desk.spoken, step, session.moment).meaning
            known = bool(text) and not isinstance(meaning, Unclear)
            rows.append((score, its[text], fits_time(text, voiced), -off if text else 0.0))
            right.append(known and first_right(phrase, meaning))
    return Case(trial.condition, np.array(rows), np.array(right))


def scores(texts: Array, weights: Sequence[float]) -> Array:
    """Score of each text under two weights, two doubts and the weight of the pace."""
    one, two, doubt, other_doubt, pace = weights
    total = pace * texts[:, 2] + texts[:, 3]
    for said, weight, most in ((texts[:, 0], one, doubt), (texts[:, 1], two, other_doubt)):
        total = total + held_within(said, weight, most)
    return np.asarray(total)


def loss(cases: Sequence[Case], weights: Sequence[float]) -> float:
    """How unlikely what was meant is, in nats an utterance in which it was found at all."""
    if min(weights) < 0:
        return _MOST
    found = []
    for case in cases:
        if case.right.any():
            all_of_them = scores(case.texts, weights)
            missed = logsumexp(all_of_them) - logsumexp(all_of_them[case.right])
            found.append(min(float(missed), _MOST))
    return float(np.mean(found))


def main() -> None:
    """Hear, fit and print."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.speech_bench.weigh",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--limit", type=int, default=100, help="phrases of each condition")
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1, help="processes")
    options = parser.parse_args()
    console = Console()
    tasks: list[Trial] = [
        trial
        for name in ("quiet", "20dB", "10dB", "5dB")
        for trial in trials("tune", CONDITIONS[name], options.limit)
    ]
    tasks += human_trials("tune", options.limit)
    fork = multiprocessing.get_context("fork" if hasattr(os, "fork") else "spawn")
    with ProcessPoolExecutor(options.jobs, mp_context=fork, initializer=_start) as pool:
        heard = track(pool.map(_case, tasks, chunksize=4), total=len(tasks), console=console)
        cases = [case for case in heard if case is not None and len(case.texts)]
    begin = [*WEIGHTS, *DOUBTS, Together.pace]
    best = minimize(lambda weights: loss(cases, weights), begin, method="Nelder-Mead").x
    console.print(f"loss as it is {loss(cases, begin):.4f}, fitted {loss(cases, best):.4f} nats")
    one, two, doubt, other_doubt, pace = best
    console.print(f"WEIGHTS = ({one:.2f}, {two:.2f})  DOUBTS = ({doubt:.1f}, {other_doubt:.1f})")
    console.print(f"pace = {pace:.2f}")
    by_condition: dict[str, list[tuple[bool, bool]]] = defaultdict(list)
    for case in cases:
        first = bool(case.right[scores(case.texts, best).argmax()])
        by_condition[case.condition].append((bool(case.right.any()), first))
    for name, some in by_condition.items():
        there, first_of_all = np.mean(some, axis=0)
        console.print(f"{name}: found {there:.1%}, first {first_of_all:.1%} of {len(some)}")


if __name__ == "__main__":
    main()
