"""PocketSphinx: small and quick, good for commands; its model comes in its wheel.

The search is built from the automaton of the moment, state by state.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from handsfree.errors import Missing
from handsfree.grammar import ANY, NUMERAL, Automaton
from handsfree.sound.audio import RATE, Samples
from handsfree.words.recogniser import Recognition, ranked

N_BEST = 20
_GRAMMAR = "moment"


class PocketsphinxRecogniser:
    """PocketSphinx with the grammar of the moment.

    Args:
        model: folder of an acoustic model, or None for the one in the wheel.
        pronunciations: word to its phones, for words that its dictionary lacks.

    Raises:
        Missing: pocketsphinx is not installed, or the model cannot be loaded.
    """

    name = "pocketsphinx"
    numbers_trusted = False

    def __init__(
        self, model: Path | None, pronunciations: Mapping[str, tuple[str, ...]] | None = None
    ) -> None:
        try:
            from pocketsphinx import Decoder
        except ImportError as error:
            remedy = "pip install pocketsphinx"
            raise Missing("pocketsphinx is not installed", remedy=remedy) from error
        settings: dict[str, Any] = {"lm": None, "loglevel": "FATAL", "samprate": float(RATE)}
        if model is not None:
            settings["hmm"] = str(model)
        try:
            self._decoder: Any = Decoder(**settings)
        except RuntimeError as error:
            raise Missing(f"no model can be loaded: {error}", where=str(model)) from error
        for word, spoken in (pronunciations or {}).items():
            for number, phones in enumerate(spoken, 1):
                name = word if number == 1 else f"{word}({number})"
                if self._decoder.lookup_word(name) is None:
                    self._decoder.add_word(name, phones, update=False)
        self._loaded: Automaton | None = None

    def missing_words(self, grammar: Automaton) -> set[str]:
        """Words of the grammar that have no pronunciation."""
        return {w for w in grammar.vocabulary if self._decoder.lookup_word(w) is None}

    def recognise(self, samples: Samples, grammar: Automaton, hint: str = "") -> Recognition:
        """See `Recogniser.recognise`."""
        self._load(grammar)
        decoder = self._decoder
        decoder.start_utt()
        pcm = (np.clip(samples, -1, 1) * 32767).astype(np.int16)
        decoder.process_raw(pcm.tobytes(), full_utt=True)
        decoder.end_utt()
        best = decoder.hyp()
        if best is None or not best.hypstr:
            return Recognition(())
        scale = math.log(decoder.get_logmath().get_base())
        scores = {best.hypstr: float(best.score) * scale}
        for entry in decoder.nbest():
            if entry is None or len(scores) >= N_BEST:
                break
            if entry.hypstr:
                scores.setdefault(entry.hypstr, float(entry.score) * scale)
        return Recognition(ranked(scores, N_BEST), math.exp(min(0.0, best.prob * scale)))

    def _load(self, grammar: Automaton) -> None:
        if grammar is self._loaded:
            return
        known = {word for word in grammar.vocabulary if self._decoder.lookup_word(word)}
        final = grammar.states
        moves: list[tuple[Any, ...]] = [(state, final, 1.0) for state in grammar.finals]
        for state in range(grammar.states):
            for arc in grammar.arcs(state):
                if arc.word in known:
                    moves.append((state, arc.target, arc.weight, arc.word))
                elif arc.word in (ANY, NUMERAL):
                    moves.append((state, arc.target, 1.0))
        search = self._decoder.create_fsg(_GRAMMAR, grammar.start, final, moves)
        self._decoder.add_fsg(_GRAMMAR, search)
        self._decoder.activate_search(_GRAMMAR)
        self._loaded = grammar
