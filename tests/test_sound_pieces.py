"""What is heard first and how: tones, pieces of a text, and the settings that are remembered."""

from __future__ import annotations

from pathlib import Path
from typing import get_args

import numpy as np
import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st

from handsfree.live import settings
from handsfree.live.settings import FASTEST, LOUDEST, SLOWEST, SOFTEST, Settings
from handsfree.sound import pieces, tones
from handsfree.sound.pieces import Pieces, split
from handsfree.sound.tones import TONE_RATE, Tone, tone
from handsfree.sound.voice import Voice, Waveform

NAMES: tuple[Tone, ...] = get_args(Tone)


def notes(name: Tone) -> list[float]:
    """The pitch of each note, by its spectrum."""
    samples = tone(name)
    loud = np.convolve(np.abs(samples), np.ones(480) / 480, "same") > 0.02
    edges = np.flatnonzero(np.diff(np.concatenate([[0], loud.astype(int), [0]])))
    found = []
    for start, end in zip(edges[::2], edges[1::2], strict=True):
        spectrum = np.abs(np.fft.rfft(samples[start:end], TONE_RATE))
        found.append(float(np.argmax(spectrum)))
    return found


def test_tones_differ_in_number_and_direction() -> None:
    (one,) = notes("in_range")
    first, second = notes("out_of_range")
    rising = notes("asked")
    assert second < first < one
    assert len(rising) == 3
    assert rising == sorted(rising)
    assert all(400 < pitch < 1200 for pitch in [one, first, second, *rising])


@pytest.mark.parametrize("name", NAMES)
def test_tones_are_short_and_do_not_click(name: Tone) -> None:
    samples = tone(name)
    assert len(samples) / TONE_RATE < 0.4
    assert np.max(np.abs(samples)) <= tones.PEAK
    assert abs(samples[0]) < 1e-3
    assert abs(samples[-1]) < 1e-3


def test_tones_can_be_listened_to(tmp_path: Path) -> None:
    tones.write(str(tmp_path))
    for name in NAMES:
        samples, rate = soundfile.read(tmp_path / f"{name}.flac", dtype="float32")
        assert rate == TONE_RATE
        assert np.allclose(samples, tone(name), atol=1e-4)


def test_the_first_sentence_is_cut_at_its_commas() -> None:
    text = "violet, 4.98 volts, in range. Next: black, ignition on. Expect zero."
    *clauses, second, third = split(text)
    assert clauses == ["violet,", "4.98 volts,", "in range."]
    assert (second, third) == ("Next: black, ignition on.", "Expect zero.")
    assert split("Next: black with yellow stripe.") == ["Next:", "black with yellow stripe."]
    assert split("") == split("  ") == []


@given(st.text(alphabet="ab ,.:?", max_size=60))
def test_no_word_is_lost(text: str) -> None:
    assert " ".join(split(text)).split() == text.split()


class Singer:
    """A voice that counts; a second of sound for each word, with silence around it."""

    def __init__(self) -> None:
        self.made: list[tuple[str, float]] = []

    def __call__(self, text: str, speed: float) -> Waveform:
        self.made.append((text, speed))
        return np.pad(np.full(1000 * len(text.split()), 0.5, np.float32), 300), 1000


@pytest.fixture
def singer() -> Singer:
    return Singer()


def test_a_piece_is_given_before_the_next_is_made(singer: Singer) -> None:
    said = Pieces(Voice("singer", singer)).say("violet, five volts, in range.")
    samples, rate = next(said)
    assert singer.made == [("violet,", 1.0)]
    assert (len(samples), rate) == (1000 + 60, 1000)  # trimmed, and a short pause
    assert samples[:1000] == pytest.approx(0.5, abs=1e-4)
    assert not samples[1000:].any()
    assert len(list(said)) == 2


def test_what_was_said_is_not_made_again(singer: Singer) -> None:
    kept = Pieces(Voice("singer", singer))
    kept.prepare("violet,")
    first = list(kept.say("violet, in range."))
    again = list(kept.say("violet, in range."))
    assert [text for text, _ in singer.made] == ["violet,", "in range."]
    assert all(np.array_equal(a[0], b[0]) for a, b in zip(first, again, strict=True))
    list(kept.say("violet,", speed=1.5))
    assert singer.made[-1] == ("violet,", 1.5)


def test_what_is_kept_is_bounded(singer: Singer, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pieces, "KEPT", 20_000)  # ten seconds of this voice
    kept = Pieces(Voice("singer", singer))
    for number in range(30):
        kept.prepare(f"word{number}")
    made = len(singer.made)
    for number in range(20, 30):
        kept.prepare(f"word{number}")
    assert len(singer.made) == made
    kept.prepare("word0")
    assert len(singer.made) == made + 1


@given(st.lists(st.sampled_from(["louder", "softer", "faster", "slower", "repeat"])))
def test_settings_stay_within_bounds(commands: list[str]) -> None:
    now = Settings()
    for command in commands:
        now = now.changed(command)
    assert SOFTEST <= now.volume <= LOUDEST
    assert SLOWEST <= now.speed <= FASTEST
    assert 0 < now.gain <= 1


def test_settings_are_remembered(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "config" / "live.json"
    monkeypatch.setattr(settings, "settings_file", lambda: path)
    assert settings.remembered() == Settings()
    chosen = Settings("headset", None, volume=40, speed=130)
    settings.remember(chosen)
    assert settings.remembered() == chosen
    for broken in ("", "[]", '{"volume": "loud"}', '{"volume": 900}', "\x00"):
        path.write_text(broken)
        assert settings.remembered() == Settings()
    monkeypatch.setattr(settings, "settings_file", lambda: Path("/proc/none/live.json"))
    settings.remember(chosen)  # cannot be, and is no reason to stop
