"""What is fitted on the tuning split: the calibration of an engine's belief.

Run after the bench has heard the split: `python -m tests.speech_bench --fit`.  It prints the
coefficients to be written into the engine, and what they would change.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray
from rich.console import Console
from scipy.optimize import minimize
from scipy.special import expit, logit

from handsfree.heard import Heard
from handsfree.meaning import interpret

from .hearing import Listener
from .outcome import first_turn
from .phrases import dialogue, scene
from .sweep import thresholds
from .trials import Trial

Array = NDArray[np.float64]

#: Weight of the squared coefficients, so that a small sample gives no large ones.
_RIDGE = 1e-4


def fit(trials: Sequence[Trial], listener: Listener, console: Console) -> None:
    """Print the logistic regression of being right on belief and score."""
    cases = [case for trial in trials for case in _cases(trial, listener)]
    if not cases:
        console.print("nothing was heard yet")
        return
    belief, score, right = np.array(cases, float).T
    features = np.stack([np.ones_like(belief), logit(np.clip(belief, 1e-6, 0.9995)), score], 1)
    weights = regression(features, right)
    before, after = (_loss(chance, right) for chance in (belief, expit(features @ weights)))
    offset, odds, scores = weights
    found = f"Calibration({offset=:.2f}, {odds=:.2f}, score={scores:.2f})"
    console.print(f"{len(cases)} cases: {found}")
    console.print(f"loss of the belief as it is {before:.3f}, calibrated {after:.3f} nats")


def regression(features: Array, right: Array) -> Array:
    """Coefficients of a logistic regression: (cases, n) and (cases,) to (n,)."""

    def loss(weights: Array) -> float:
        return _loss(expit(features @ weights), right) + _RIDGE * float(weights @ weights)

    return np.asarray(minimize(loss, np.zeros(features.shape[1])).x)


def _cases(trial: Trial, listener: Listener) -> Iterator[tuple[float, float, bool]]:
    """Belief, best score, and whether it is right, where nothing but the probability decides.

    That is a value which would be logged if the engine were believed; what is asked about for
    another reason (a rival that is close, a wire) tells nothing of when to believe it.
    """
    phrase, session = trial.phrase, scene(trial.phrase)
    ears = list(listener.listen(trial, phrase.text, 0))
    if len(ears) != 1 or not phrase.is_value:
        return
    with thresholds({"SURE_VALUE": 0.0, "SURE_ONE_WORD": 0.0}):
        did, _ = first_turn(trial, listener)
    if did in ("right", "silent wrong"):
        desk = dialogue(phrase.plan).desk
        heard = ears[0].hear(desk, session).heard
        plain = Heard(heard.hypotheses)
        found = interpret(plain, desk.spoken, desk.focus(session), session.moment)
        yield found.share, heard.hypotheses[0].score, did == "right"


def _loss(chance: Array, right: Array) -> float:
    """Cross entropy in nats a case."""
    chance = np.clip(chance, 1e-6, 1 - 1e-6)
    return float(-np.mean(right * np.log(chance) + (1 - right) * np.log(1 - chance)))
