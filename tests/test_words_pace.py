"""What does not fit the time is believed less, and what fits is not judged by it."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.heard import Hypothesis
from handsfree.words import Recognition, in_time
from handsfree.words.pace import fit

#: Words a minute of conversation (Tauroza & Allison 1990, "Speech rates in British English",
#: from memory) and of somebody who dictates (common practice, no published source).
NORMAL, DICTATED = 170, 110
NUMBER = "four point nine eight volts"


@pytest.mark.parametrize("rate", [NORMAL, DICTATED])
def test_a_number_at_a_usual_rate_is_not_judged(rate: float) -> None:
    assert fit(NUMBER, voiced=len(NUMBER.split()) * 60 / rate) == pytest.approx(0, abs=0.5)


def test_twice_as_much_as_was_said_is_doubted() -> None:
    once = "six three eight"
    found = Recognition((Hypothesis(f"{once} {once}", -0.7), Hypothesis(once, -0.9)), 0.5)
    assert in_time(found, voiced=1.2).hypotheses[0].text == once


def test_a_long_speech_is_not_one_word() -> None:
    found = Recognition((Hypothesis("zero", -0.5), Hypothesis(NUMBER, -3.0)), 0.9)
    assert in_time(found, voiced=2.2).hypotheses[0].text == NUMBER


def test_what_cannot_have_been_said_in_that_time_is_no_hypothesis() -> None:
    """Half a minute of talk is no "wake up", and a click is no whole number."""
    found = Recognition((Hypothesis("wake up", -3.0),), 1.0)
    assert in_time(found, voiced=13.0, weight=0.0).hypotheses == ()
    assert in_time(found, voiced=0.6, weight=0.0).hypotheses == found.hypotheses
    found = Recognition((Hypothesis(NUMBER, -3.0),), 1.0)
    assert in_time(found, voiced=0.2, weight=0.0).hypotheses == ()


def test_no_hypothesis_is_lost_but_for_its_time() -> None:
    """An engine may give twenty."""
    twenty = tuple(Hypothesis(f"point {word}", -1.0) for word in map(chr, range(97, 117)))
    assert len(in_time(Recognition(twenty, 0.5), voiced=0.8, weight=0.0).hypotheses) == 20


@given(st.text("abc ", max_size=60), st.floats(0, 20))
def test_time_never_speaks_for_a_wording(text: str, voiced: float) -> None:
    assert fit(text, voiced) <= 0


def test_hangul_counts_by_its_letters() -> None:
    """A syllable block holds two letters or three, as Unicode decomposes it (UAX 15)."""
    assert fit("삼백이십", 0.3) < fit("abcd", 0.3)
