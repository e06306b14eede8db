"""Utterances are cut at pauses, with times on the audio clock."""

from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.sound.audio import RATE, Audio, load
from handsfree.sound.endpoint import FRAME, SOON, Endpointer, utterances

DIGITS = Path("/usr/share/asterisk/sounds/en_US_f_Allison/digits")
needs_digits = pytest.mark.skipif(
    not DIGITS.is_dir(), reason="the Debian package asterisk-core-sounds-en-wav is not installed"
)


def loud(frame):
    """A detector that takes all sound for speech."""
    return float(np.abs(frame).max() > 0.1)


def stream(*parts):
    """Sound from (seconds, is speech) pairs."""
    return np.concatenate(
        [np.full(round(s * RATE / FRAME) * FRAME, 0.5 * speech, np.float32) for s, speech in parts]
    )


def cut(samples, **options):
    endpointer = Endpointer(detector=loud, **options)
    return [*endpointer.feed(samples), *endpointer.flush()]


def test_two_utterances_with_what_is_around_them():
    samples = stream((1.024, False), (0.512, True), (2.048, False), (1.024, True), (2.048, False))
    first, second = cut(samples, before=0.32, after=0.384)
    assert (first.start, first.end) == pytest.approx((0.704, 1.92))
    assert (second.start, second.end) == pytest.approx((3.264, 4.992))
    for found in (first, second):
        start, end = round(found.start * RATE), round(found.end * RATE)
        assert np.array_equal(found.samples, samples[start:end])


def test_a_pause_within_a_number_does_not_end_it():
    gap = (0.8, False)
    samples = stream((0.5, True), gap, (0.5, True), gap, (0.5, True), (1.5, False))
    assert len(cut(samples)) == 1
    assert len(cut(samples, pause=0.5)) == 3


def test_a_click_is_no_utterance():
    assert cut(stream((1, False), (0.032, True), (2, False))) == []


def test_the_end_of_the_stream_ends_the_utterance():
    (found,) = cut(stream((1, False), (0.5, True)))
    assert found.end == pytest.approx(stream((1, False), (0.5, True)).size / RATE)


def test_endless_speech_is_cut_and_nothing_of_it_is_lost():
    samples = stream((10, True))
    found = cut(samples, longest=3.0)
    assert len(found) == 4
    assert np.array_equal(np.concatenate([u.samples for u in found]), samples)
    assert all(a.end == b.start for a, b in pairwise(found))


def test_speaking_tells_that_an_utterance_is_open():
    endpointer = Endpointer(detector=loud)
    endpointer.feed(stream((0.5, True)))
    assert endpointer.speaking
    endpointer.feed(stream((2, False)))
    assert not endpointer.speaking


@settings(max_examples=50, deadline=None)
@given(
    st.lists(st.tuples(st.floats(0.05, 2), st.booleans()), min_size=1, max_size=6),
    st.lists(st.integers(1, 5000), min_size=1, max_size=5),
)
def test_the_size_of_the_blocks_does_not_matter(parts, sizes):
    samples = stream(*parts)
    endpointer = Endpointer(detector=loud)
    found, at, turn = [], 0, 0
    while at < len(samples):
        size = sizes[turn % len(sizes)]
        found += endpointer.feed(samples[at : at + size])
        at, turn = at + size, turn + 1
    found += endpointer.flush()
    whole = cut(samples)
    assert [(u.start, u.end) for u in found] == [(u.start, u.end) for u in whole]
    assert all(np.array_equal(a.samples, b.samples) for a, b in zip(found, whole, strict=True))
    ends = [0.0, *(t for u in whole for t in (u.start, u.end))]
    assert ends == sorted(ends)


def test_memory_does_not_grow_while_nothing_is_said():
    endpointer = Endpointer(detector=loud)
    for _ in range(100):
        endpointer.feed(np.zeros(RATE, np.float32))
    assert len(endpointer._kept) < RATE


@pytest.mark.parametrize("level", [0.0, 1e-4, 1e-2, 0.1])
def test_silence_and_steady_noise_hold_no_speech(level):
    noise = np.random.default_rng(1).standard_normal(10 * RATE) * level
    assert utterances(Audio(noise.astype(np.float32))) == []


@needs_digits
@pytest.mark.parametrize("gap", [0.3, 0.4, 0.5])
@pytest.mark.parametrize("digits", ["426", "683", "808", "917"])
def test_digits_of_a_human_voice_with_pauses_between_stay_one_utterance(gap, digits):
    silence = np.zeros(int(gap * RATE), np.float32)
    parts = [part for d in digits for part in (load(DIGITS / f"{d}.wav").samples, silence)]
    edge = np.zeros(int(1.5 * RATE), np.float32)
    speech = np.concatenate(parts[:-1])
    (found,) = utterances(Audio(np.concatenate([edge, speech, edge])))
    assert found.start <= 1.5 + 0.1
    assert found.end >= 1.5 + len(speech) / RATE - 0.2


@needs_digits
def test_a_file_that_begins_and_ends_with_speech_is_one_utterance():
    found = [utterances(load(path)) for path in sorted(DIGITS.glob("[0-9].wav"))]
    assert [len(u) for u in found] == [1] * 10


def test_the_utterance_is_foreseen_before_the_pause_is_over():
    samples = stream((1, False), (0.5, True), (0.6, False), (0.5, True), (1.2, False))
    endpointer = Endpointer(detector=loud)
    foreseen, found = [], []
    for at in range(0, len(samples), FRAME):
        found += endpointer.feed(samples[at : at + FRAME])
        if endpointer.ending and endpointer.ending.end not in [f.end for f in foreseen]:
            foreseen.append(endpointer.ending)
    (whole,) = found
    assert [f.start for f in foreseen] == [whole.start] * 2
    assert foreseen[0].end < foreseen[1].end == whole.end  # more was said after the first
    assert np.array_equal(foreseen[1].samples, whole.samples)


def hum(seconds, amplitude, seed=1):
    """Steady noise, too faint for `loud`."""
    noise = np.random.default_rng(seed).standard_normal(round(seconds * RATE / FRAME) * FRAME)
    return (noise * amplitude).astype(np.float32)


def told(endpointer, samples):
    """What is perhaps the end, after each frame."""
    found = []
    for at in range(0, len(samples), FRAME):
        endpointer.feed(samples[at : at + FRAME])
        found.append(endpointer.perhaps)
    return found


@pytest.mark.parametrize("noise", [0.0, 1e-3, 1e-2])
def test_a_tenth_of_a_second_of_hush_may_be_the_end(noise):
    parts = hum(1.024, noise), stream((0.512, True)), hum(0.224, noise, 2)
    endpointer = Endpointer(detector=loud, after=0.224, soon=True)
    found = told(endpointer, np.concatenate(parts))
    soon = len(found) - len(parts[2]) // FRAME + SOON - 1
    assert not any(found[:soon])
    assert all(found[soon:])
    early, ending = found[soon], endpointer.ending
    assert (early.start, early.end) == (ending.start, ending.end)
    assert np.array_equal(early.sounding, ending.sounding)
    assert len(early.sounding) < len(ending.samples) == len(early.samples)


def test_what_stands_out_after_the_speech_belongs_to_it():
    """The burst of the last sound of "eight" comes after a closure that is silent."""
    burst = np.full(FRAME, 0.05, np.float32)
    after = np.concatenate(
        [np.zeros(4 * FRAME, np.float32), burst, np.zeros(2 * FRAME, np.float32)]
    )
    samples = np.concatenate([hum(1.024, 1e-3), stream((0.512, True)), after])
    endpointer = Endpointer(detector=loud, after=7 * FRAME / RATE, soon=True)
    found = told(endpointer, samples)
    assert [u is not None for u in found[-7:]] == [False, False, True, True, False, False, False]
    ending = endpointer.ending
    assert ending.hush == pytest.approx(2 * FRAME / RATE)
    assert 0.05 in ending.sounding


def test_files_are_heard_with_all_that_follows_the_speech():
    assert all(u.hush == 0 for u in cut(stream((1, False), (0.5, True), (2, False))))
