"""Sound files of any kind become mono at 16 kHz; what cannot be used is named."""

import os
from contextlib import suppress

import numpy as np
import pytest
import soundfile

from handsfree.errors import BadInput
from handsfree.sound.audio import RATE, load, resample

TONE = 440.0


def tone(rate, seconds=0.5, channels=1):
    t = np.arange(int(rate * seconds)) / rate
    return np.repeat(0.5 * np.sin(2 * np.pi * TONE * t)[:, None], channels, axis=1)


@pytest.mark.parametrize("rate", [8000, 11025, 16000, 22050, 44100, 48000, 96000])
@pytest.mark.parametrize(
    ("suffix", "subtype", "channels"),
    [
        ("wav", "PCM_U8", 1),
        ("wav", "PCM_16", 2),
        ("wav", "PCM_24", 6),
        ("wav", "FLOAT", 1),
        ("wav", "DOUBLE", 2),
        ("wav", "ULAW", 1),
        ("flac", "PCM_16", 2),
        ("flac", "PCM_24", 1),
    ],
)
def test_a_tone_survives_any_rate_and_format(tmp_path, rate, suffix, subtype, channels):
    path = tmp_path / f"tone.{suffix}"
    soundfile.write(path, tone(rate, channels=channels), rate, subtype=subtype)
    audio = load(path)
    assert audio.samples.dtype == np.float32
    assert audio.samples.ndim == 1
    assert audio.seconds == pytest.approx(0.5, abs=1 / 8000)
    middle = audio.samples[RATE // 10 : -RATE // 10]
    spectrum = np.abs(np.fft.rfft(middle * np.hanning(len(middle))))
    assert np.argmax(spectrum) * RATE / len(middle) == pytest.approx(TONE, abs=4)
    assert np.sqrt(np.mean(middle**2)) == pytest.approx(0.5 / np.sqrt(2), rel=0.02)


def test_channels_are_averaged(tmp_path):
    path = tmp_path / "two.wav"
    soundfile.write(path, np.array([[0.5, 0.25]] * 100), RATE, subtype="FLOAT")
    assert load(path).samples == pytest.approx(0.375)


def _wav(path, samples=None, **kwargs):
    soundfile.write(path, tone(RATE) if samples is None else samples, RATE, **kwargs)
    return path


def _cut(path):
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    return path


def _text(path):
    path.write_text("four point nine eight volts")
    return path


def _touch(path):
    path.touch()
    return path


def _folder(path):
    path.mkdir()
    return path


@pytest.mark.parametrize(
    ("name", "make", "what"),
    [
        ("gone.wav", lambda p: p, "No such file"),
        ("folder.wav", _folder, "directory"),
        ("empty.wav", _touch, "empty"),
        ("notes.wav", _text, "not a sound file"),
        ("none.wav", lambda p: _wav(p, np.zeros((0, 1))), "no sound"),
        ("cut.wav", lambda p: _cut(_wav(p)), "cut short"),
        ("cut.flac", lambda p: _cut(_wav(p)), "cut short|not a sound file"),
        ("nan.wav", lambda p: _wav(p, np.full(9, np.nan), subtype="FLOAT"), "not numbers"),
        ("inf.wav", lambda p: _wav(p, np.full(9, np.inf), subtype="FLOAT"), "not numbers"),
    ],
)
def test_what_cannot_be_used_is_named(tmp_path, name, make, what):
    path = tmp_path / name
    make(path)
    with pytest.raises(BadInput, match=what) as caught:
        load(path)
    assert caught.value.where == str(path)


def test_a_file_that_may_not_be_read_is_named(tmp_path, monkeypatch):
    path = _wav(tmp_path / "locked.wav")

    def refuse(*_args, **_kwargs):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("pathlib.Path.open", refuse)  # root may read everything
    with pytest.raises(BadInput, match="Permission denied"):
        load(path)


@pytest.mark.parametrize("told", [0, 0xFFFF_FFFF])
def test_a_recording_from_a_pipe_does_not_know_its_length(tmp_path, told):
    path = _wav(tmp_path / "piped.wav")
    data = bytearray(path.read_bytes())
    data[4:8] = data[40:44] = told.to_bytes(4, "little")
    path.write_bytes(data)
    if told:
        assert load(path).seconds == pytest.approx(0.5)
    else:
        with pytest.raises(BadInput, match="no sound"):
            load(path)


def test_what_is_understood_is_what_is_read(tmp_path):
    _text(tmp_path / "notes.wav")
    with pytest.raises(BadInput, match="not a sound file") as error:
        load(tmp_path / "notes.wav")
    named = (error.value.remedy or "").removesuffix(" are understood.").replace(" and ", ", ")
    for name in named.split(", "):
        path = tmp_path / f"tone.{name.lower()}"
        soundfile.write(path, np.zeros(16_000), 16_000, format=name)
        assert len(load(path).samples) >= 15_000
    assert {"MP3", "OGG"} <= set(named.split(", "))


def patched(path, place, value, size=4):
    data = bytearray(path.read_bytes())
    data[place : place + size] = value.to_bytes(size, "little")
    path.write_bytes(data)
    return path


@pytest.mark.parametrize("rate", [1, 3_999, 400_000, 2**31 - 1])
def test_a_rate_that_nobody_records_at_is_refused(tmp_path, rate):
    """At 1 Hz each sample of the file would become 16,000."""
    path = patched(_wav(tmp_path / "absurd.wav"), 24, rate)  # nSamplesPerSec of the format chunk
    with pytest.raises(BadInput, match=r"samples a second|not a sound file"):
        load(path)


def test_so_many_channels_are_refused(tmp_path):
    path = tmp_path / "many.wav"
    soundfile.write(path, np.zeros((4, 200)), RATE)
    with pytest.raises(BadInput, match="200 channels"):
        load(path)


def test_channels_that_have_no_mean_are_refused(tmp_path):
    path = tmp_path / "infinite.wav"
    soundfile.write(path, np.array([[np.inf, -np.inf]] * 100), RATE, subtype="FLOAT")
    with pytest.raises(BadInput, match="not numbers"):
        load(path)


def test_a_place_before_the_file_is_not_looked_for(tmp_path, capfd):
    """A header may point there; the file's own object wrote a traceback about it."""
    path = tmp_path / "before.aiff"
    soundfile.write(path, tone(RATE), RATE, subtype="PCM_16")
    patched(path, 35, 2**32 - 1)
    with suppress(BadInput):
        load(path)
    assert "Traceback" not in capfd.readouterr().err


def test_an_mp3_that_says_it_lasts_for_years_is_refused(tmp_path):
    path = tmp_path / "years.mp3"
    soundfile.write(path, tone(RATE, 2), RATE, format="MP3")
    data = path.read_bytes()
    (place,) = (data.index(tag) for tag in (b"Xing", b"Info") if tag in data)
    frames = place + 8  # after the tag and its flags, big-endian: number of frames
    path.write_bytes(data[:frames] + b"\xff\xff\xff\xf0" + data[frames + 4 :])
    assert soundfile.info(path).frames > 10**12  # it would be 17 TB
    with pytest.raises(BadInput, match="longer than 4 hours"):
        load(path)


def test_a_file_is_read_no_longer_than_it_may_be(tmp_path, monkeypatch):
    path = _wav(tmp_path / "half.wav")
    assert load(path).seconds == pytest.approx(0.5)
    monkeypatch.setattr("handsfree.sound.audio.LONGEST", 0.4)
    with pytest.raises(BadInput, match="longer than"):
        load(path)
    monkeypatch.setattr("handsfree.sound.audio._refuse_absurd", lambda *_: None)  # a header lies
    with pytest.raises(BadInput, match="longer than"):
        load(path)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="there are no pipes with a name here")
def test_a_pipe_is_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "pipe.wav")
    with pytest.raises(BadInput, match="a device or a pipe"):
        load(tmp_path / "pipe.wav")


@pytest.mark.parametrize("rate", [8000, 22050, 44100])
def test_sound_read_in_pieces_is_the_same_as_in_one(tmp_path, rate):
    path = tmp_path / "long.wav"
    samples = np.random.default_rng(0).uniform(-0.5, 0.5, 7 * rate + 11).astype(np.float32)
    soundfile.write(path, samples, rate, subtype="FLOAT")
    whole = resample(samples, rate)
    assert np.array_equal(load(path).samples, whole)
