"""The speech bench measures what it says: levels, rooms, splits, outcomes and intervals."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

import numpy as np
import pytest
from scipy.special import expit
from speech_bench import __main__ as bench
from speech_bench import noise, rooms, trials
from speech_bench.conditions import CONDITIONS
from speech_bench.fit import regression
from speech_bench.hearing import Listened, Records, cut
from speech_bench.human import absent
from speech_bench.levels import active_level, at_level, decibels, noise_at
from speech_bench.outcome import Outcome, outcome
from speech_bench.phrases import BLOCK, Phrase, _all, scene, split_of
from speech_bench.score import calibration_error, causes, hourly, reliability, share
from speech_bench.score import word_error_rate as wer
from speech_bench.trials import SPEECH_LEVEL, Stream, under
from speech_bench.voices import VOICES

from handsfree.dialogue import Session
from handsfree.dialogue.desk import Desk
from handsfree.heard import Heard, Hypothesis
from handsfree.sound.audio import RATE, Samples


def tone(hertz: float, seconds: float, amplitude: float = 1.0) -> Samples:
    time = np.arange(int(seconds * RATE)) / RATE
    return np.asarray(amplitude * np.sin(2 * np.pi * hertz * time), np.float32)


def power(samples: Samples) -> float:
    return decibels(float(np.mean(np.asarray(samples, np.float64) ** 2)))


# --- levels ----------------------------------------------------------------------------------


def test_a_steady_tone_is_active_all_the_time() -> None:
    # A sine of amplitude 1 has half the power of a full-scale square wave: -3.01 dB.
    assert active_level(tone(1000, 20)) == pytest.approx(-3.01, abs=0.1)


def test_pauses_do_not_lower_the_active_level() -> None:
    # ITU-T P.56: the level is over the time speech is present, so long pauses change nothing.
    talk = np.concatenate([tone(500, 3, 0.1), np.zeros(12 * RATE, np.float32)])
    burst = power(tone(500, 3, 0.1))
    assert power(talk) == pytest.approx(burst - 6.99, abs=0.05)  # a fifth of the time
    assert active_level(talk) == pytest.approx(burst, abs=0.5)


def test_scaling_speech_and_noise() -> None:
    assert active_level(at_level(tone(300, 2, 0.02), -26)) == pytest.approx(-26, abs=0.05)
    hiss = np.random.default_rng(1).standard_normal(RATE).astype(np.float32)
    assert power(noise_at(hiss, -36)) == pytest.approx(-36, abs=0.01)


@pytest.mark.parametrize("name", ["20dB", "10dB", "5dB", "0dB"])
def test_the_mix_has_its_signal_to_noise_ratio(name: str) -> None:
    where = CONDITIONS[name]
    speech = tone(400, 2, 0.3)
    mixed = under(where, speech, "engine", 5, "tune")
    before = mixed.samples[: int(0.6 * RATE)]  # noise alone
    assert SPEECH_LEVEL - power(before) == pytest.approx(where.snr, abs=2.5)
    assert mixed.spoken == pytest.approx(trials.BEFORE + 2)


# --- noise and rooms -------------------------------------------------------------------------


@pytest.mark.parametrize("kind", [k for k in noise.KINDS if k != "babble"])
def test_noise_comes_from_its_seed(kind: noise.NoiseKind) -> None:
    one, again, other = (noise.make(kind, seed, 2, "tune") for seed in (1, 1, 2))
    held_out = noise.make(kind, 1, 2, "held-out")
    assert len(one) == 2 * RATE
    assert np.array_equal(one, again)
    assert power(one) == pytest.approx(-20, abs=0.01)
    assert not np.allclose(one, other)
    assert not np.allclose(one, held_out)


def test_an_idling_engine_has_the_pitch_of_its_firing() -> None:
    # Four strokes, four cylinders: two firings a turn; 680 to 950 turns a minute.
    sound = noise.make("engine", 3, 8, "tune")
    spectrum = np.abs(np.fft.rfft(sound * np.hanning(len(sound))))
    pitch = np.fft.rfftfreq(len(sound), 1 / RATE)
    harmonics = [spectrum[(pitch > 2 * f - 0.5) & (pitch < 2 * f + 0.5)].max()
                 for f in np.arange(20, 36, 0.25)]  # fmt: skip
    assert 2 * 680 / 60 - 1 < np.arange(20, 36, 0.25)[int(np.argmax(harmonics))] < 2 * 950 / 60 + 1


@pytest.mark.parametrize("rt60", [0.3, 0.6])
def test_the_room_decays_as_asked(rt60: float) -> None:
    # Schroeder's backward integration (1965), evaluated from -5 to -35 dB as in ISO 3382.
    response = rooms.impulse_response(np.random.default_rng(1), rt60, direct=-20)
    decay = np.cumsum(response[:0:-1].astype(np.float64) ** 2)[::-1]
    level = 10 * np.log10(decay / decay[0])
    from_, to = np.argmax(level < -5), np.argmax(level < -35)
    assert 2 * (to - from_) / RATE == pytest.approx(rt60, rel=0.1)


def test_the_headset_has_the_band_of_a_telephone() -> None:
    def through(hertz: float) -> float:
        sound = tone(hertz, 1, 0.3)
        return power(rooms.narrow_band(sound)[2000:-2000]) - power(sound)

    assert through(1000) == pytest.approx(0, abs=0.5)
    assert through(100) < -20
    assert through(5000) < -30


def test_clipping_flattens_the_peaks() -> None:
    clipped = rooms.clip(tone(200, 1, 0.5), share=0.25)
    assert np.mean(np.abs(clipped) > 0.98) == pytest.approx(0.25, abs=0.03)


# --- phrases, splits, trials -----------------------------------------------------------------


@pytest.fixture(scope="module")
def held_out() -> list[Phrase]:
    return list(islice(_all("held-out"), 2 * len(BLOCK)))


def test_every_beginning_of_the_phrases_holds_all_kinds(held_out: list[Phrase]) -> None:
    for start in (0, len(BLOCK)):
        kinds = [phrase.kind for phrase in held_out[start : start + len(BLOCK)]]
        assert sorted(kinds) == sorted(BLOCK)


def test_no_text_and_no_speaker_is_in_both_splits(held_out: list[Phrase]) -> None:
    assert {split_of(phrase.text) for phrase in held_out} == {"held-out"}
    speakers = {s: {v.speaker for v in VOICES if v.split == s} for s in ("tune", "held-out")}
    assert not speakers["tune"] & speakers["held-out"]
    assert len(VOICES) >= 8


def test_voices_come_in_equal_shares() -> None:
    for block in range(3):
        names = {trials.in_turn(VOICES, n, "x").name for n in range(block * 8, block * 8 + 8)}
        assert len(names) == 8


@pytest.mark.parametrize("tuning", [["--sweep"], ["--set", "SURE_VALUE=0.5"]])
def test_nothing_is_tuned_on_the_held_out_split(
    tuning: list[str], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "argv", ["bench", "--final", *tuning])
    with pytest.raises(SystemExit):
        bench._options()
    assert "held-out" in capsys.readouterr().err


def test_what_is_absent_is_said() -> None:
    assert all("skipped" in line for line in absent())


def test_a_scene_is_in_the_midst_of_a_job(held_out: list[Phrase]) -> None:
    moments = {"confirm": "answering", "which": "answering", "paused": "asleep"}
    for phrase in held_out:
        stands = scene(phrase)
        assert stands.moment == moments.get(phrase.before, "listening")
        assert (stands.last is not None) == (phrase.before == "taken")


# --- hearing and outcomes --------------------------------------------------------------------


@dataclass
class Told:
    """A trial and a listener whose engine hears what it is told."""

    phrase: Phrase
    mishear: str | None = None
    condition: str = "quiet"
    voice: str = "nobody"
    noise: str = "none"

    def listen(self, _trial: object, text: str, take: int) -> Iterator[Told]:
        self.text = self.mishear if self.mishear is not None and not take else text
        if text != self.phrase.text:
            self.text = text
        yield self

    def hear(self, _desk: Desk, _session: Session) -> Listened:
        hypotheses = (Hypothesis(self.text),) if self.text else ()
        return Listened(Heard(hypotheses, end=1.0), closed=2.0, spoken=1.2, wall=1.1, cpu=0.1)


def result(phrase: Phrase, mishear: str | None = None) -> Outcome:
    told = Told(phrase, mishear)
    return outcome(told, told)  # type: ignore[arg-type]


def test_what_is_heard_exactly_is_right(held_out: list[Phrase]) -> None:
    for phrase in held_out:
        found = result(phrase)
        assert found.after_one, (phrase, found)
        assert not found.silent_wrong
        assert found.beyond[0] == pytest.approx(0.1)
        assert found.delays[0] == pytest.approx(0.9)


def test_another_value_is_a_silent_wrong_commit(held_out: list[Phrase]) -> None:
    phrase = next(p for p in held_out if p.kind == "reading" and p.text.endswith("volts"))
    found = result(phrase, "one point two three volts")
    assert (found.silent_wrong, found.at_once, found.asked) == (True, False, False)
    assert found.did == "silent wrong"


def test_nothing_heard_is_asked_and_said_again(held_out: list[Phrase]) -> None:
    phrase = next(p for p in held_out if p.kind == "over")
    found = result(phrase, "")
    assert (found.asked, found.at_once, found.after_one) == (True, False, True)


def test_a_command_instead_of_a_value_is_another_act(held_out: list[Phrase]) -> None:
    phrase = next(p for p in held_out if p.kind == "reading")
    found = result(phrase, "skip this")
    assert (found.other_act, found.silent_wrong, found.after_one) == (True, False, False)


def test_a_value_instead_of_a_command_is_counted(held_out: list[Phrase]) -> None:
    for phrase in held_out:
        if phrase.kind == "command" and "volt" in phrase.plan:
            assert not result(phrase, "one point two volts").at_once


def test_records_survive_and_a_torn_line_is_passed_over(tmp_path: Path) -> None:
    assert Records(tmp_path).get("a", lambda: [1, 2]) == [1, 2]
    torn = next(tmp_path.glob("*.jsonl"))
    torn.write_text(torn.read_text() + '{"key": "half')
    assert Records(tmp_path).get("a", lambda: pytest.fail("made again")) == [1, 2]


def test_silence_has_no_utterance() -> None:
    assert cut(Stream(np.zeros(2 * RATE, np.float32), 0)) == []


# --- figures ---------------------------------------------------------------------------------


def test_the_bootstrap_agrees_with_the_normal_approximation() -> None:
    # Wald: 0.8 ± 1.96 sqrt(0.8 * 0.2 / 400) = 0.8 ± 0.0392.
    figure = share([True] * 320 + [False] * 80)
    assert figure is not None
    assert figure.value == 0.8
    assert figure.low == pytest.approx(0.7608, abs=0.006)
    assert figure.high == pytest.approx(0.8392, abs=0.006)


def test_no_event_still_has_an_interval() -> None:
    # Clopper and Pearson (1934): none of 100 gives 0 to 1 - 0.025 ** (1 / 100) = 3.62 %.
    figure = share([False] * 100)
    assert figure is not None
    assert (figure.low, figure.high) == (0.0, pytest.approx(1 - 0.025**0.01))
    assert share([]) is None


def test_rates_an_hour() -> None:
    # Garwood (1936): 0 events 0 to 3.689, 1 event 0.0253 to 5.572.
    none, one = hourly(0, 3600), hourly(1, 3600)
    assert none is not None
    assert one is not None
    assert (none.low, none.high) == (0.0, pytest.approx(3.689, abs=1e-3))
    assert (one.low, one.high) == (pytest.approx(0.0253, abs=1e-4), pytest.approx(5.572, abs=1e-3))
    half = hourly(1, 1800)
    assert half is not None
    assert half.value == 2


def test_word_error_rate() -> None:
    pairs = [("four point nine", "four nine"), ("ground", "ground"), ("over limit", "")]
    figure = wer(pairs)
    assert figure is not None
    assert figure.value == pytest.approx((1 + 0 + 2) / 6)
    assert figure.low <= figure.value <= figure.high


def outcomes_of(*pairs: tuple[float, bool]) -> list[Outcome]:
    empty = ("quiet", "v", "n", "reading", "two fifty", "p", "s", True)
    return [Outcome(*empty, heard="two fifteen", share=s, first_right=r) for s, r in pairs]


def test_reliability_by_hand() -> None:
    bins = reliability(outcomes_of((0.95, True), (0.93, False), (0.35, False), (1.0, True)))
    assert [b["cases"] for b in bins] == [1, 3]
    assert bins[1]["right"] == pytest.approx(2 / 3)
    wanted = (1 * 0.35 + 3 * abs(2.88 / 3 - 2 / 3)) / 4
    assert calibration_error(bins) == pytest.approx(wanted)


def test_causes_name_the_words() -> None:
    assert causes(outcomes_of((0.9, False), (0.8, False))) == [("fifty → fifteen", 2)]


def test_the_fit_is_a_logistic_regression() -> None:
    """Coefficients come back from cases that were drawn with them."""
    rng = np.random.default_rng(3)
    features = np.stack([np.ones(20_000), rng.normal(0, 2, 20_000)], 1)
    right = (rng.random(20_000) < expit(features @ [1.0, 0.6])).astype(float)
    assert regression(features, right) == pytest.approx([1.0, 0.6], abs=0.08)
