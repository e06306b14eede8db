"""Moonshine, held to the grammar of the moment.

A small encoder and decoder for speech of any length (Jeffries et al. 2024, "Moonshine: Speech
Recognition for Live Transcription and Voice Commands"), run by ONNX Runtime.  As with Whisper
the text is searched for among the sentences of the grammar, token by token, with the model's
own probabilities.

Shapes: B rows of a batch, N new tokens, T tokens so far, S positions of sound, V the
vocabulary, L layers of H heads.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from importlib.util import find_spec
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

from handsfree.errors import Missing
from handsfree.grammar import Automaton
from handsfree.heard import Calibration
from handsfree.pinned import check_pinned
from handsfree.sound.audio import RATE, Samples
from handsfree.words.ear import Ear, token_grammars
from handsfree.words.recogniser import Recognition, always
from handsfree.words.search import LogProbabilities, log_probabilities
from handsfree.words.spelling import Spelling, Tokens
from handsfree.words.weights import Tensor

#: SHA-256 of the files of Moonshine tiny, English, in moonshine-voice 0.0.73.
MOONSHINE_SHA256 = {
    "encoder_model.ort": "94e90a4654fc45cdfedb77c4c08e1739f48862998e58fada384b25118134f221",
    "decoder_model_merged.ort": "cf524c4862d36e9e5ab032eddc73637efd822d70e868ac575cf1a46e1e4708a0",
    "tokenizer.bin": "6884b35fd6377d4c4d32336a0bc152f36b64d1e45b6503683cdc238250a8472d",
}
#: How to get it.
INSTALL = "pip install moonshine-voice==0.0.73"
#: Tokens that begin and end a text, the first of a byte, of a text and behind all texts.
BEGIN, END, BYTES, WORDS, SPECIAL = 1, 2, 3, 259, 32000
#: How a blank is written in a token.
BLANK = "▁"
#: Seconds of silence put around the utterance, and the shortest sound that is taken.
AROUND, SHORTEST = 0.1, 0.3


def packaged_moonshine() -> Path:
    """Folder of the tiny English model from the package moonshine-voice.

    Raises:
        Missing: the package is not installed, or its weights are not the pinned ones.
    """
    package = find_spec("moonshine_voice")  # found, not imported: it opens libraries of its own
    if package is None or package.origin is None:
        raise Missing("the Moonshine weights are not installed", remedy=INSTALL)
    folder = Path(package.origin).parent / "assets" / "tiny-en"
    check_pinned("Moonshine", folder, MOONSHINE_SHA256, INSTALL)
    return folder


class MoonshineRecogniser:
    """An English Moonshine on the processor.

    Args:
        model: folder with encoder_model.ort, decoder_model_merged.ort and tokenizer.bin.

    Raises:
        Missing: ONNX Runtime is not installed, or the folder holds no such model.
    """

    name = "moonshine"
    numbers_trusted = True
    pace = 1.0
    calibration = Calibration(offset=3.08, odds=0.22, score=0.3)
    """Of the tiny model, fitted on the tuning split of the speech bench."""

    def __init__(self, model: Path) -> None:
        try:
            self._networks = Networks(model)
            self._spelling = spelling(model / "tokenizer.bin")
        except ImportError as error:
            remedy = "pip install onnxruntime"
            raise Missing("ONNX Runtime is not installed", remedy=remedy) from error
        except (OSError, RuntimeError, ValueError) as error:
            raise Missing(
                f"no Moonshine model can be loaded: {error}",
                where=str(model),
                remedy="Name a folder with encoder_model.ort and tokenizer.bin.",
            ) from error
        self.wanted: Callable[[], bool] = always
        self._grammars = token_grammars(self._spelling)

    def recognise(self, samples: Samples, grammar: Automaton, hint: str = "") -> Recognition:
        """See `Recogniser.recognise`; Moonshine takes no hint."""
        return self.listen(samples).search(grammar).recognition()

    def listen(self, samples: Samples) -> Ear:
        """Take in an utterance: float32, shape (n,), 16 kHz mono, -1 to 1."""
        short = max(int(SHORTEST * RATE) - len(samples), 0)
        around = int(AROUND * RATE)
        sound = self._networks.listen(np.pad(samples, (around, around + short)))
        scores, told = self._networks.step([[BEGIN]], sound)
        take_in = Rows(self._networks, sound, told).take_in
        return Ear(scores[0, -1], take_in, self._spelling, self._grammars, wanted=self.wanted)


@dataclass(slots=True)
class EncodedSound:
    """An utterance: one row, which the network broadcasts to all rows of a batch.

    Attributes:
        samples: of which it was made.
        encoded: by the encoder, shape (1, S, width).
        keys: the decoder's keys and values of it, (1, H, S, width / H) each, once there are.
    """

    samples: int
    encoded: Tensor
    keys: list[Tensor]


class Networks:
    """Encoder and decoder.

    Args:
        folder: of the model.
    """

    def __init__(self, folder: Path) -> None:
        import onnxruntime

        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = 1
        options.log_severity_level = 4
        options.enable_cpu_mem_arena = False

        def network(name: str) -> Any:
            path = folder / name
            if not path.exists():
                raise OSError(f"there is no {name}")
            return onnxruntime.InferenceSession(
                str(path), options, providers=["CPUExecutionProvider"]
            )

        self._encoder = network("encoder_model.ort")
        self._decoder = network("decoder_model_merged.ort")
        past = {i.name: i.shape for i in self._decoder.get_inputs() if "past" in i.name}
        self._said = [name for name in past if ".decoder." in name]
        self._keys = [name for name in past if ".encoder." in name]
        self._shape = next(iter(past.values()))
        given = [output.name for output in self._decoder.get_outputs()[1:]]
        self._given = [name.replace("present", "past_key_values") for name in given]

    def listen(self, samples: Samples) -> EncodedSound:
        """Encode samples of shape (n,)."""
        sound = samples[np.newaxis].astype(np.float32)
        mask = np.ones(sound.shape, np.int64)
        (encoded,) = self._encoder.run(None, {"input_values": sound, "attention_mask": mask})
        return EncodedSound(sound.shape[1], encoded, [])

    def step(
        self, tokens: Sequence[Sequence[int]], sound: EncodedSound, said: Sequence[Tensor] = ()
    ) -> tuple[Tensor, list[Tensor]]:
        """Take in tokens (B, N); log probabilities of what follows each of them.

        Args:
            tokens: of each row.
            sound: the same for all rows.
            said: keys and values of the tokens so far, (B, H, T, width / H) each.

        Returns:
            Natural logarithms, shape (B, N, V), and `said` with the tokens in it.
        """
        nothing = np.zeros((len(tokens), self._shape[1], 0, self._shape[3]), np.float32)
        heard = sound.keys or [nothing] * len(self._keys)
        logits, *given = self._decoder.run(
            None,
            {
                "encoder_attention_mask": np.ones((1, sound.samples), np.int64),
                "input_ids": np.asarray(tokens, np.int64),
                "encoder_hidden_states": sound.encoded,
                "use_cache_branch": np.array([bool(said)]),
                **dict(zip(self._said, said or [nothing] * len(self._said), strict=True)),
                **dict(zip(self._keys, heard, strict=True)),
            },
        )
        present = dict(zip(self._given, given, strict=True))
        if not sound.keys:
            sound.keys = [present[name] for name in self._keys]
        return log_probabilities(logits), [present[name] for name in self._said]


class Rows:
    """Beginnings of a text that the decoder has taken in, each as a row of a batch.

    Args:
        networks: that take them in.
        sound: of which they are a text.
        said: keys and values of `BEGIN`.
    """

    def __init__(self, networks: Networks, sound: EncodedSound, said: Sequence[Tensor]) -> None:
        self._networks, self._sound = networks, sound
        self._rows: dict[Tokens, tuple[Sequence[Tensor], int]] = {(): (said, 0)}

    def take_in(self, beginnings: Sequence[Tokens]) -> Sequence[LogProbabilities]:
        """See `TakeIn`."""
        shorter = {tokens[:-1] for tokens in beginnings}
        whole = [tokens for tokens in beginnings if tokens not in shorter]
        known = min(map(len, beginnings)) - 1  # all that are not longer are known
        longest = max(map(len, whole)) - known
        before = [self._rows[tokens[:known]] for tokens in whole]
        picked = [
            np.stack([said[array][row][:, : known + 1] for said, row in before])
            for array in range(len(before[0][0]))
        ]
        new = [(*tokens[known:], *[END] * longest)[:longest] for tokens in whole]
        scores, said = self._networks.step(new, self._sound, picked)
        after: dict[Tokens, LogProbabilities] = {}
        for row, tokens in enumerate(whole):
            for n in range(known, len(tokens)):
                self._rows[tokens[: n + 1]] = said, row
                after[tokens[: n + 1]] = scores[row, n - known]
        return [after[tokens] for tokens in beginnings]


def spelling(path: Path) -> Spelling:
    """Moonshine's tokens.

    The file holds every token as its length, in one byte or in two from 128 up, and its
    bytes.  Texts are split as SentencePiece does it (byte pair encoding, Sennrich et al.
    2016): of all neighbours the pair with the lowest number joins first.

    Raises:
        OSError: the file cannot be read.
        ValueError: it holds no such tokens.
    """
    tokens = _tokens(path.read_bytes())
    if len(tokens) < SPECIAL:
        raise ValueError(f"{path.name} holds {len(tokens)} tokens")
    number = {tokens[n].decode(): n for n in range(WORDS, SPECIAL)}

    def encode(text: str) -> Tokens:
        pieces = list(text.replace(" ", BLANK))
        while joined := [
            (number[both], i)
            for i, (a, b) in enumerate(pairwise(pieces))
            if (both := a + b) in number
        ]:
            _, at = min(joined)
            pieces[at : at + 2] = [pieces[at] + pieces[at + 1]]
        split = [[number[p]] if p in number else [BYTES + b for b in p.encode()] for p in pieces]
        return tuple(token for part in split for token in part)

    def decode(said: Tokens) -> str:
        known = b"".join(tokens[t] for t in said if BYTES <= t < SPECIAL)
        return known.decode(errors="replace").replace(BLANK, " ")

    return Spelling(encode, decode, end=END, written=range(BYTES, SPECIAL))


def _tokens(data: bytes) -> list[bytes]:
    found, at = [], 0
    while at < len(data):
        size, at = data[at], at + 1
        if size >= 128 and at < len(data):
            size, at = size - 128 + 128 * data[at], at + 1
        found.append(data[at : at + size])
        at += size
    return found
