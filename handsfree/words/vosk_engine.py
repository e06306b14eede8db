"""Vosk: a Kaldi recogniser, restricted to the words of the moment."""

from __future__ import annotations

import json
import os
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np
from platformdirs import user_data_path

from handsfree.errors import Missing
from handsfree.grammar import Automaton
from handsfree.heard import Calibration
from handsfree.sound.audio import RATE, Samples
from handsfree.words.recogniser import Recognition, recognition

ALTERNATIVES = 10
#: Stands for what is outside the grammar.
UNKNOWN_WORD = "[unk]"
MODEL_VARIABLE = "HANDSFREE_VOSK_MODEL"


def find_model() -> Path:
    """Folder of the English model: from HANDSFREE_VOSK_MODEL, or the user's data folder.

    Raises:
        Missing: there is none.
    """
    if named := os.environ.get(MODEL_VARIABLE):
        return Path(named)
    kept = user_data_path("handsfree") / "models" / "vosk-en-us"
    if kept.is_dir():
        return kept
    raise Missing(
        "no English Vosk model is there",
        where=str(kept),
        remedy=f"Put one there, name it with --model, or set {MODEL_VARIABLE}.",
    )


class VoskRecogniser:
    """A Vosk model from a folder.

    Args:
        model: the folder.

    Raises:
        Missing: vosk is not installed, or the folder holds no model.
    """

    name = "vosk"
    numbers_trusted = True
    pace = 0.0
    calibration = Calibration()

    def __init__(self, model: Path) -> None:
        try:
            import vosk
        except ImportError as error:
            raise Missing("vosk is not installed", remedy="pip install vosk") from error
        vosk.SetLogLevel(-1)
        if not model.is_dir():
            raise Missing("there is no Vosk model", where=str(model), remedy="Name its folder.")
        try:
            self._model: Any = vosk.Model(str(model))
        except Exception as error:  # vosk raises bare Exception
            raise Missing(f"no Vosk model: {error}", where=str(model)) from error
        self._vosk: Any = vosk

    def knows(self, word: str) -> bool:
        """Whether the model has a pronunciation of `word`."""
        return bool(self._model.vosk_model_find_word(word) >= 0)

    def missing_words(self, grammar: Automaton) -> set[str]:
        """Words of the grammar that the model does not know."""
        return {word for word in grammar.vocabulary if not self.knows(word)}

    def stream(self, grammar: Automaton) -> VoskStream:
        """A recogniser that takes sound as it comes."""
        words = sorted(grammar.vocabulary - self.missing_words(grammar))
        recogniser = self._vosk.KaldiRecognizer(
            self._model, RATE, json.dumps([*words, UNKNOWN_WORD], ensure_ascii=False)
        )
        recogniser.SetMaxAlternatives(ALTERNATIVES)
        return VoskStream(recogniser)

    def recognise(self, samples: Samples, grammar: Automaton, hint: str = "") -> Recognition:
        """See `Recogniser.recognise`."""
        stream = self.stream(grammar)
        stream.feed(samples)
        return stream.finish()


class VoskStream:
    """One utterance as it is spoken."""

    def __init__(self, recogniser: Any) -> None:
        self._recogniser = recogniser

    def feed(self, samples: Samples) -> str:
        """Take the next samples; returns the words so far."""
        pcm = (np.clip(samples, -1, 1) * 32767).astype(np.int16)
        self._recogniser.AcceptWaveform(pcm.tobytes())
        return str(json.loads(self._recogniser.PartialResult()).get("partial", ""))

    def finish(self) -> Recognition:
        """The n-best of all that was fed."""
        found = json.loads(self._recogniser.FinalResult())
        return _recognition(found.get("alternatives", []))


def _recognition(alternatives: Iterable[dict[str, Any]]) -> Recognition:
    scores: dict[str, float] = {}
    for alternative in alternatives:
        text = " ".join(w for w in str(alternative["text"]).split() if w != UNKNOWN_WORD)
        scores.setdefault(text, float(alternative["confidence"]))
    return recognition(scores, ALTERNATIVES)
