"""PocketSphinx: small and quick, good for commands; its model comes in its wheel.

Its search graph is the grammar of the moment, state by state.
"""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from handsfree.errors import Missing
from handsfree.grammar import ANY, Automaton
from handsfree.heard import Calibration
from handsfree.sound.audio import RATE, Samples
from handsfree.words.acceptor import Acceptor, PerGrammar
from handsfree.words.recogniser import Recognition, recognition

N_BEST = 20
#: Acoustic scores are divided by this before they are compared, as in PocketSphinx's own
#: confidence (its setting `ascale`): frames overlap, so their likelihoods are no product.
ACOUSTIC_SCALE = 20.0
#: Probability that each further word costs: without it, breath becomes short digits.
WORD_INSERTION = 0.05
#: PocketSphinx keeps scores shifted down by ten bits (SENSCR_SHIFT).
_SHIFT = 1024.0


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
    pace = 0.0
    calibration = Calibration()

    def __init__(
        self, model: Path | None, pronunciations: Mapping[str, tuple[str, ...]] | None = None
    ) -> None:
        try:
            from pocketsphinx import Decoder
        except ImportError as error:
            remedy = "pip install pocketsphinx"
            raise Missing("pocketsphinx is not installed", remedy=remedy) from error
        settings: dict[str, Any] = {
            "lm": None,
            "loglevel": "FATAL",
            "samprate": float(RATE),
            "ascale": ACOUSTIC_SCALE,
            "wip": WORD_INSERTION,
        }
        if model is not None:
            settings["hmm"] = str(model)
        try:
            self._decoder: Any = Decoder(**settings)
        except RuntimeError as error:
            raise Missing(f"no model can be loaded: {error}", where=str(model)) from error
        for word, spoken in (pronunciations or {}).items():
            for phones in spoken:
                self._pronounce(word, phones)
        self._searches = PerGrammar(self._add_search, most=64)
        self._named = itertools.count()

    def _pronounce(self, word: str, phones: str) -> None:
        """Add a pronunciation to those that the dictionary has."""
        name, number = word, 1
        while (known := self._decoder.lookup_word(name)) is not None:
            if known == phones:
                return
            number += 1
            name = f"{word}({number})"
        self._decoder.add_word(name, phones, update=False)

    def missing_words(self, grammar: Automaton) -> set[str]:
        """Words of the grammar that have no pronunciation."""
        return {w for w in grammar.vocabulary if self._decoder.lookup_word(w) is None}

    def recognise(self, samples: Samples, grammar: Automaton, hint: str = "") -> Recognition:
        """See `Recogniser.recognise`."""
        decoder = self._decoder
        decoder.activate_search(self._searches[grammar])
        decoder.start_utt()
        pcm = (np.clip(samples, -1, 1) * 32767).astype(np.int16)
        decoder.process_raw(pcm.tobytes(), full_utt=True)
        decoder.end_utt()
        scores: dict[str, float] = {}
        for found in itertools.chain([decoder.hyp()], decoder.nbest()):
            if found is not None and found.hypstr and found.score > 0:
                score = math.log(found.score) * _SHIFT / ACOUSTIC_SCALE
                scores.setdefault(found.hypstr, score)
            if len(scores) == N_BEST:
                break
        return recognition(scores, N_BEST)

    def _add_search(self, grammar: Automaton) -> str:
        name = f"grammar {next(self._named)}"
        arcs, finals = Acceptor(grammar).transitions()
        missing = self.missing_words(grammar)
        end = 1 + max((target for _, _, target in arcs), default=0)
        moves: list[tuple[Any, ...]] = [(state, end, 1.0) for state in finals]
        ways = Counter(source for source, _, _ in arcs)
        # Free dictation is beyond it, so a note is heard up to its first word.
        moves += [
            (source, target, 1 / ways[source], word)
            for source, word, target in arcs
            if word != ANY and word not in missing
        ]
        self._decoder.add_fsg(name, self._decoder.create_fsg(name, 0, end, moves))
        return name
