"""Belief becomes probability: as measured, never out of bounds, never turned round."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import expit, logit, softmax

from handsfree.dialogue import Dialogue, Session
from handsfree.events import Asked, ReadingTaken
from handsfree.grammar import Language
from handsfree.heard import Calibration, Heard, Hypothesis
from handsfree.meaning import Ambiguous
from handsfree.plan import Plan

SHARE = st.floats(0, 1)
#: Of Whisper tiny.en as it comes: a model whose scores tell much.
MEASURED = Calibration(offset=1.87, odds=0.58, score=0.19)


@given(st.floats(1e-6, 1 - 1e-6), st.floats(-30, 0))
def test_it_is_a_logistic_regression(share: float, score: float) -> None:
    """By SciPy's logit and expit."""
    z = MEASURED.offset + MEASURED.odds * logit(share) + MEASURED.score * score
    assert MEASURED.probability(share, score) == pytest.approx(float(expit(z)))


@given(SHARE, SHARE, st.floats(-30, 0))
def test_more_belief_is_never_less_likely(one: float, other: float, score: float) -> None:
    low, high = sorted((one, other))
    assert 0 <= MEASURED.probability(low, score) <= MEASURED.probability(high, score) <= 1


@given(SHARE)
def test_without_a_calibration_belief_is_probability(share: float) -> None:
    assert Calibration().probability(share, -3.0) == pytest.approx(share)


def heard(*texts: tuple[str, float]) -> Heard:
    said = tuple(Hypothesis(text, float(score)) for text, score in texts)
    return Heard(said, calibration=MEASURED)


def test_what_fits_the_sound_badly_is_confirmed(english: Language, flap: Plan) -> None:
    """It stands out among its rivals, and is still asked about: numbers and states alike."""
    talk = Dialogue(flap, english)
    for step, text in (("reference", "four point nine eight volts"), ("hot_drive_heating", "dead")):
        where = Session(step=step, condition=flap.step(step).condition, phase="test")
        good = talk.respond(where, heard((text, -1), ("next", -8))).events
        bad = talk.respond(where, heard((text, -16), ("next", -20))).events
        assert any(isinstance(effect, ReadingTaken) for effect in good)
        assert any(isinstance(effect, Asked) for effect in bad)
        assert not any(isinstance(effect, ReadingTaken) for effect in bad)


@pytest.mark.parametrize(
    ("one", "other", "alike"),
    [
        ("two fifteen", "two fifty", True),
        ("two fifteen", "two sixteen", False),
        ("two fifteen", "two fifteen volts", False),
        ("six eight", "eight six", True),
        ("six", "six", False),
    ],
)
def test_words_that_sound_alike(english: Language, one: str, other: str, alike: bool) -> None:
    assert english.sound_alike(one, other) == english.sound_alike(other, one) == alike


@pytest.mark.parametrize("rival", ["fifty", "twenty"])
def test_a_teen_is_asked_about_sooner(english: Language, flap: Plan, rival: str) -> None:
    talk = Dialogue(flap, english)
    where = Session(step="motor_winding", condition="ignition_off", phase="test")
    said = heard((f"one {rival} ohms", np.log(0.12)), ("one fifteen ohms", 0.0))
    meaning = talk.understand(where, said).meaning
    assert isinstance(meaning, Ambiguous) == (rival == "fifty")


@given(st.lists(st.floats(-1e4, 1e4), max_size=12))
def test_shares_are_the_softmax_of_the_scores(scores: list[float]) -> None:
    """By SciPy's softmax."""
    shares = Heard(tuple(Hypothesis("", score) for score in scores)).shares
    assert shares == pytest.approx(softmax(scores).tolist() if scores else [])
