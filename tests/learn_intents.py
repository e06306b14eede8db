"""Learn what people want by the sentences that they say: writes grammars/en/intents.npz.

`python -m tests.learn_intents` learns from all lessons: the open phrasings (tests/data/phrasings),
the tuning split of what is said outside (tests/speech_bench/outside.py), and the sentences of
tests/data/intents, made up by writers who had seen nothing of the project but a brief; "frames" was
made by a script, and "denied" and "wishes_in_short" by whoever worked on it, who had seen what was
misunderstood.  What is kept aside is not learnt from.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import yaml
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.special import logsumexp

from handsfree.dialogue import Session
from handsfree.dialogue.desk import Desk
from handsfree.encoder import encoder
from handsfree.languages import data_folder
from handsfree.meaning.intent import CORRECT, GO, NO_INTENT, NOTE, VAGUE, VALUE, VALUES, Sentence
from tests.phrasings import FILES, FOLDER, Phrasing, dialogue, phrasings, scene
from tests.speech_bench.outside import outside
from tests.speech_bench.phrases import dialogue as about

Array = NDArray[np.float64]

#: How much large weights cost, against the likelihood of the lessons.
PRICE = 0.05

_SENTENCES = {
    "state": {"battery": "battery voltage", "short to supply": "short to power"},
    "answer": {"first": "the first", "second": "the second"},
    "command": {
        "strike": "strike that", "last": "what was the last one", "repeat": "say again",
        "skip": "skip this", "back": "go back", "expected": "what should it be",
        "why": "why this test", "probe": "where do i probe", "left": "how many left",
        "where": "where are we", "repaired": "repair done", "softer": "quieter",
        "unknown": "i don't know", "faster": "speak faster",
        "correct": CORRECT, "go": GO,
    },
}  # fmt: skip
_KINDS = {
    "reading": VALUE,
    "readings": VALUES,
    "over limit": "over limit",
    "note": NOTE,
    "ask": VAGUE,
    "silence": NO_INTENT,
}


def intent(one: Phrasing) -> str:
    """What is wanted by a phrasing, by the name of the intent."""
    value = str(one.wanted.get("value"))
    if one.means == "refuse":
        why = one.wanted.get("why")
        return VALUE if why in ("wrong unit", "impossible value") else NO_INTENT
    if one.means in _KINDS:
        return _KINDS[one.means]
    return _SENTENCES.get(one.means, {}).get(value, value)


_ENCODE = encoder()


@dataclass(frozen=True)
class Lesson:
    """A sentence where it is said, and what is wanted by it."""

    text: str
    sentence: Sentence
    intent: str

    @property
    def seen(self) -> Array:
        """What the classifier sees of it: the encoded sentence, the cues and a constant."""
        assert _ENCODE, "the encoder is not installed"
        return np.concatenate([_ENCODE(self.text), self.sentence.cues, [1.0]])


def of_phrasing(one: Phrasing) -> Lesson:
    """A phrasing as a lesson."""
    return Lesson(one.said, said_at(one.said, dialogue().desk, scene(one)), intent(one))


def said_at(text: str, desk: Desk, session: Session) -> Sentence:
    """A text as a sentence where a dialogue stands."""
    step, moment = desk.focus(session), session.moment
    return Sentence.of(text, desk.spoken, desk.spoken.parser(step, moment), step, moment)


def learn(seen: Array, wanted: Sequence[str]) -> tuple[list[str], Array]:
    """The names of the intents and the weights of a multinomial logistic regression.

    Args:
        seen: what is seen of each lesson, shape (lessons, parts, cues and a constant).
        wanted: the intent of each.
    """
    names = sorted(set(wanted))
    right = np.array([[name == one for name in names] for one in wanted], dtype=float)
    shape = seen.shape[1], len(names)

    def cost(flat: Array) -> tuple[float, Array]:
        weights = flat.reshape(shape)
        logits = seen @ weights
        logits -= logsumexp(logits, axis=1, keepdims=True)
        free = weights.copy()
        free[-1] = 0
        slope = seen.T @ (np.exp(logits) - right) + 2 * PRICE * free
        return -(right * logits).sum() + PRICE * (free**2).sum(), slope.ravel()

    found = minimize(cost, np.zeros(shape[0] * shape[1]), jac=True, method="L-BFGS-B",
                     options={"maxiter": 400})  # fmt: skip
    return names, found.x.reshape(shape)


def lessons() -> Iterator[Lesson]:
    """All that is learnt from."""
    for name in FILES:
        yield from (of_phrasing(one) for one in phrasings(name) if not one.aside)
    for path in sorted((FOLDER / "intents").glob("*.yaml")):
        for told in yaml.safe_load(path.read_text(encoding="utf-8")):
            yield of_phrasing(Phrasing(told["said"], told["at"], told["means"], told))
    for one in outside("tune"):
        desk = about(one.plan).desk
        if session := one.scene(desk.plan):
            yield Lesson(one.text, said_at(one.text, desk, session), NO_INTENT)


def write(names: Sequence[str], weights: Array, path: Path) -> None:
    """Keep what was learnt."""
    np.savez_compressed(path, names=np.array(names), weights=weights.astype(np.float16))


def main() -> None:
    """Learn."""
    parser = argparse.ArgumentParser(prog="python -m tests.learn_intents", description=__doc__)
    parser.parse_args()
    taken = list(lessons())
    names, weights = learn(np.array([one.seen for one in taken]), [one.intent for one in taken])
    path = data_folder("grammars") / "en" / "intents.npz"
    write(names, weights, path)
    print(f"{len(taken)} lessons, {len(names)} intents: {path}")


if __name__ == "__main__":
    main()
