"""Devices: any rate and channel count in, sound out without a gap, with PortAudio a stand-in."""

from __future__ import annotations

import sys
import types
from itertools import islice
from typing import Any

import numpy as np
import pytest
import soxr
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.errors import Missing
from handsfree.sound.audio import RATE, level
from handsfree.sound.blocks import BACKLOG, BLOCK, Blocks
from handsfree.sound.card import Card
from handsfree.sound.microphone import Microphone
from handsfree.sound.speaker import Speaker


class PortAudio(types.ModuleType):
    """Stands in for sounddevice; keeps the streams that were opened."""

    class PortAudioError(Exception):
        pass

    class Stream:
        def __init__(self, **how: Any) -> None:
            self.how = how
            self.callback = how["callback"]

        def start(self) -> None:
            pass

    def __init__(self, rate: int = 48_000, channels: int = 2, takes: Any = None) -> None:
        super().__init__("sounddevice")
        self.rate, self.channels = rate, channels
        self.takes = takes or (lambda _how: True)
        self.opened: list[PortAudio.Stream] = []

    def query_devices(self, device: str | None = None, kind: str | None = None) -> Any:
        found = {
            "name": "headset",
            "default_samplerate": float(self.rate),
            "max_input_channels": self.channels,
        }
        if kind is None:
            return [found, {"name": "loudspeaker", "max_input_channels": 0}]
        if device not in (None, "headset"):
            raise ValueError(f"No {kind} device matching {device!r}")
        return found

    def _open(self, **how: Any) -> Stream:
        if not self.takes(how):
            raise self.PortAudioError("Invalid sample rate")
        self.opened.append(self.Stream(**how))
        return self.opened[-1]

    InputStream = OutputStream = _open


class Time:
    def __init__(self, now: float = 0.0) -> None:
        self.inputBufferAdcTime = self.outputBufferDacTime = self.currentTime = now


class Status:
    def __init__(self, overflow: bool = False) -> None:
        self.input_overflow = overflow


@pytest.fixture
def portaudio(monkeypatch: pytest.MonkeyPatch) -> PortAudio:
    module = PortAudio()
    monkeypatch.setitem(sys.modules, "sounddevice", module)
    return module


@given(
    rate=st.sampled_from([8_000, 11_025, 16_000, 22_050, 44_100, 48_000, 96_000]),
    sizes=st.lists(st.integers(1, 5_000), min_size=1, max_size=30),
)
@settings(deadline=None)
def test_pieces_of_any_size_are_the_same_sound(rate: int, sizes: list[int]) -> None:
    """As soxr makes it of the whole, to the length of its filter."""
    whole = np.random.default_rng(len(sizes)).normal(0, 0.1, sum(sizes)).astype(np.float32)
    maker, pieces = Blocks(rate), np.split(whole, np.cumsum(sizes)[:-1])
    made = [block for piece in pieces for block in maker.feed(piece)]
    assert all(block.shape == (BLOCK,) for block in made)
    expected = soxr.resample(whole, rate, RATE, quality="HQ")
    got = np.concatenate([*made, np.zeros(0, np.float32)])
    assert len(expected) - len(got) < BLOCK + 0.12 * RATE  # 8 kHz: 115 ms; 44.1 kHz: 40 ms
    assert np.allclose(got, expected[: len(got)], atol=1e-4)


def test_channels_are_mixed() -> None:
    stereo = np.tile(np.array([[0.5, -0.1]], np.float32), (BLOCK, 1))
    (block,) = Blocks(RATE).feed(stereo)
    assert block == pytest.approx(0.2)


@pytest.mark.parametrize("rate", [44_100, 48_000])
def test_an_hour_of_pieces_is_an_hour(rate: int) -> None:
    """The device's clock counts, however its sound is cut up."""
    maker, minute = Blocks(rate), np.zeros(rate * 60, np.float32)
    made = sum(1 for _ in range(60) for _ in maker.feed(minute))
    assert made * BLOCK / RATE == pytest.approx(3600, abs=0.1)


def test_a_device_that_can_is_recorded_as_it_is_wanted(portaudio: PortAudio) -> None:
    microphone = Microphone("headset")
    (stream,) = portaudio.opened
    assert (stream.how["samplerate"], stream.how["channels"]) == (RATE, 1)
    sound = np.linspace(-1, 1, BLOCK, dtype=np.float32)
    stream.callback(sound[:, None], BLOCK, Time(), Status())
    block = next(microphone.blocks())
    assert np.array_equal(block.samples, sound)
    assert (block.lost, block.speaking, block.played) == (0, False, 0.0)


@pytest.mark.parametrize("channels", [1, 2, 4])
def test_a_device_that_cannot_is_recorded_as_it_is(portaudio: PortAudio, channels: int) -> None:
    portaudio.channels = channels
    portaudio.takes = lambda how: how["samplerate"] == 48_000 and how["channels"] == channels
    microphone = Microphone()
    assert (microphone.rate, microphone.channels) == (48_000, channels)
    time = np.arange(48_000) / 48_000
    sine = np.tile(np.sin(2 * np.pi * 440 * time)[:, None], channels).astype(np.float32)
    portaudio.opened[-1].callback(sine, len(sine), Time(), Status())
    heard = np.concatenate([b.samples for b in islice(microphone.blocks(), 30)])
    spectrum = np.abs(np.fft.rfft(heard * np.hanning(len(heard))))
    assert np.argmax(spectrum) * RATE / len(heard) == pytest.approx(440, abs=2)
    assert level(heard[BLOCK:]) == pytest.approx(1 / np.sqrt(2), rel=0.01)


def test_what_the_device_dropped_is_counted(portaudio: PortAudio) -> None:
    microphone = Microphone()
    take = portaudio.opened[-1].callback
    piece = np.zeros((BLOCK, 1), np.float32)
    take(piece, BLOCK, Time(10.0), Status())
    take(piece, BLOCK, Time(10.0 + 3 * BLOCK / RATE), Status(overflow=True))
    assert [b.lost for b in islice(microphone.blocks(), 2)] == [0, 2 * BLOCK]


def test_a_reader_that_sleeps_loses_what_is_counted(portaudio: PortAudio) -> None:
    microphone = Microphone()
    take = portaudio.opened[-1].callback
    piece = np.zeros((BLOCK, 1), np.float32)
    fit = int(BACKLOG * RATE / BLOCK) + 1
    for _ in range(fit + 10):
        take(piece, BLOCK, Time(), Status())
    blocks = microphone.blocks()
    assert sum(b.lost for b in islice(blocks, fit)) == 0
    take(piece, BLOCK, Time(), Status())
    assert next(blocks).lost == 10 * BLOCK


def test_the_remedy_names_the_microphones_there_are(portaudio: PortAudio) -> None:
    with pytest.raises(Missing, match="no microphone") as error:
        Microphone("parrot")
    assert "There are: headset." in str(error.value)


class Loud:
    """A speaker whose output is taken by hand."""

    def __init__(self, portaudio: PortAudio) -> None:
        self.said: list[int] = []
        self.speaker = Speaker(None, self.said.append)
        self._fill = portaudio.opened[-1].callback
        self._now = 0.0

    def take(self, frames: int, latency: float = 0.0) -> np.ndarray:
        out = np.full((frames, 1), np.nan, np.float32)
        time = Time(self._now)
        time.outputBufferDacTime += latency
        self._fill(out, frames, time, Status())
        self._now += frames / self.speaker.rate
        return out[:, 0]


@pytest.fixture
def loud(portaudio: PortAudio) -> Loud:
    return Loud(portaudio)


def test_pieces_are_played_without_a_gap(loud: Loud) -> None:
    sound = np.arange(1, 1001, dtype=np.float32) / 1000
    loud.speaker.play(1, sound[:300], 48_000)
    loud.speaker.play(1, sound[300:], 48_000)
    loud.speaker.end(1)
    got = np.concatenate([loud.take(128) for _ in range(8)])
    assert np.array_equal(got[:1000], sound)
    assert not got[1000:].any()


def test_the_end_is_told_when_it_has_been_heard(loud: Loud) -> None:
    loud.speaker.play(7, np.ones(4800, np.float32), 48_000)
    loud.speaker.end(7)
    assert loud.speaker.meanwhile()[0]
    for _ in range(2):
        loud.take(2400, latency=0.1)
    assert loud.said == []
    assert loud.speaker.meanwhile() == (True, 1.0)
    for _ in range(4):  # a tenth of a second of latency, and the buffer that holds the end
        loud.take(2400, latency=0.1)
    assert loud.said == [7]
    assert loud.speaker.meanwhile() == (False, 0.0)


def test_stopping_drops_what_is_left_and_does_not_click(loud: Loud) -> None:
    loud.speaker.play(1, np.ones(48_000, np.float32), 48_000)
    loud.take(480)
    loud.speaker.stop(1)
    loud.speaker.play(1, np.ones(48_000, np.float32), 48_000)  # was on its way
    loud.speaker.end(1)
    got = loud.take(4800)
    assert np.max(np.abs(np.diff(got))) < 0.01
    assert got[-1] == 0
    assert not loud.take(4800).any()
    assert loud.said == [1]
    loud.speaker.play(2, np.ones(480, np.float32), 48_000)
    assert loud.take(480).all()


def test_a_breath_that_waits_goes_on_where_it_was(loud: Loud) -> None:
    sound = np.linspace(0.5, 1, 48_000, dtype=np.float32)
    loud.speaker.play(1, sound, 48_000)
    loud.speaker.end(1)
    assert np.array_equal(loud.take(4800), sound[:4800])
    loud.speaker.wait(1, True)
    assert np.max(np.abs(np.diff(fallen := loud.take(4800)))) < 0.01
    assert fallen[-1] == 0
    assert not loud.take(4800).any()
    assert loud.speaker.meanwhile() == (True, 0.0)
    loud.speaker.wait(1, False)
    again = loud.take(4800)
    assert np.max(np.abs(np.diff(again))) < 0.01
    assert np.array_equal(again[480:], sound[5280:9600])
    loud.speaker.wait(1, True)
    loud.take(4800)
    loud.speaker.stop(1)
    assert not loud.take(4800).any()
    assert loud.said == [1]


def test_what_is_played_is_told_beside_what_is_heard(portaudio: PortAudio) -> None:
    """As it was given, at the microphone's rate, and never far behind."""
    loud = Loud(portaudio)
    microphone = Microphone(speaker=loud.speaker)
    take = portaudio.opened[-1].callback
    tone = np.sin(np.arange(48_000) / 48_000 * 2 * np.pi * 440).astype(np.float32)
    loud.speaker.play(1, tone, 48_000)
    blocks, told = microphone.blocks(), []
    for _ in range(40):
        loud.take(BLOCK * 3)
        take(np.zeros((BLOCK, 1), np.float32), BLOCK, Time(), Status())
        told.append(next(blocks).reference)
    got = np.concatenate(told)
    spectrum = np.abs(np.fft.rfft(got[: RATE // 2] * np.hanning(RATE // 2)))
    assert np.argmax(spectrum) * 2 == pytest.approx(440, abs=4)
    assert np.argmax(np.abs(got) > 0.1) < BLOCK
    assert np.max(np.abs(got[RATE + BLOCK :])) < 1e-3


def test_a_breath_waits_for_pieces_that_are_still_made(loud: Loud) -> None:
    loud.speaker.play(1, np.ones(100, np.float32), 48_000)
    loud.take(4800)
    assert loud.said == []
    assert loud.speaker.meanwhile()[0]


def test_a_card_without_that_microphone_says_so() -> None:
    """A real process, and a real PortAudio if there is one."""
    with pytest.raises(Missing) as error:
        list(Card("no such microphone", audible=False).messages())
    assert error.value.exit_code == 4
