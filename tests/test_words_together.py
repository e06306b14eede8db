"""Two models judge together: every text is scored by both, and their logarithms are added."""

from collections.abc import Iterable

import numpy as np
import pytest
from jsgf_grammar import grammar

from handsfree.grammar import Automaton
from handsfree.sound.audio import RATE
from handsfree.words.ear import OUTSIDE, Wordings
from handsfree.words.together import Together, combined

SOUND = np.zeros(RATE, np.float32)


class FakeEar:
    """Finds some texts, and knows the score of others."""

    def __init__(self, found: Wordings, known: dict[str, float]) -> None:
        self.found, self.known = found, known
        self.asked: list[str] = []
        self.likely = -np.inf

    def search(self, of: Automaton, likely: float = -np.inf) -> Wordings:
        self.likely = likely
        return self.found

    def score(self, texts: Iterable[str]) -> dict[str, float]:
        self.asked += texts
        return {text: (self.found.scores | self.known)[text] for text in self.asked}


class FakeModel:
    def __init__(self, ear: FakeEar) -> None:
        self.ear = ear

    def listen(self, samples, hint=""):
        return self.ear

    def quietly(self):
        from contextlib import nullcontext

        return nullcontext()


def together(one: FakeEar, two: FakeEar) -> Together:
    return Together(FakeModel(one), FakeModel(two))  # type: ignore[arg-type]


def test_what_one_has_found_the_other_is_asked_about():
    one = FakeEar(Wordings({"six": -1.0, "sixty": -3.0}), {"fix": -9.0, "eight": -4.0})
    two = FakeEar(Wordings({"six": -0.5, "eight": -1.0}, {"fix": -2.0}), {"sixty": -8.0})
    first, second = together(one, two).both(SOUND, grammar("six | sixty | eight"))
    assert one.asked == ["six", "eight", "fix"]
    assert one.likely == -1.0, "the likeliest sentence of those that were asked about"
    assert two.asked == ["sixty"]
    assert first == Wordings({"six": -1.0, "sixty": -3.0, "eight": -4.0}, {"fix": -9.0})
    assert second == Wordings({"six": -0.5, "eight": -1.0, "sixty": -8.0}, {"fix": -2.0})


def test_a_sentence_that_one_has_heard_freely_is_still_a_sentence():
    one = FakeEar(Wordings({"six": -2.0}, {"sixty": -1.0}), {})
    two = FakeEar(Wordings({"six": -2.0, "sixty": -1.0}), {})
    first, second = together(one, two).both(SOUND, grammar("six | sixty"))
    assert not first.outside
    assert not second.outside


def test_the_logarithms_are_added_with_their_weights():
    one = Wordings({"three three one": -1.0, "three three three one": -1.2}, {"free": -3.0})
    two = Wordings({"three three one": -0.5, "three three three one": -9.0}, {"free": -5.0})
    sum_of_both = combined((one, two), (0.7, 0.5), (100, 100))
    assert sum_of_both.sentences["three three one"] == pytest.approx(-0.7 - 0.25)
    found = sum_of_both.recognition()
    assert found.hypotheses[0].text == "three three one"
    scores = {h.text: h.score for h in found.hypotheses}
    assert scores["free"] == pytest.approx(-2.1 - 2.5 - OUTSIDE)


def test_one_model_alone_never_rules_a_text_out():
    one = Wordings({"six": -1.0, "eight": -3.0})
    two = Wordings({"six": -90.0, "eight": -1.0})
    found = combined((one, two), (1.0, 1.0), (5.0, 2.0)).sentences
    assert found["eight"] - found["six"] == pytest.approx(2.0 - 2.0, abs=0.3)


def test_what_fits_neither_has_a_low_score():
    """The calibration looks at the score of the best: it must say how well that fits."""
    near = combined((Wordings({"six": -0.1}), Wordings({"six": -0.2}))).sentences["six"]
    far = combined((Wordings({"six": -8.0}), Wordings({"six": -20.0}))).sentences["six"]
    assert far < near - 5


def test_where_whisper_hears_no_speech_nothing_is_understood():
    one = FakeEar(Wordings(outside={"": 0.0}), {})
    two = FakeEar(Wordings({"one": -4.0}), {})
    one.known["one"] = -30.0
    assert together(one, two).recognise(SOUND, grammar("one")).hypotheses == ()
    assert not two.asked


def test_silence_that_both_believe_in_is_nothing_understood():
    one = FakeEar(Wordings({"one": -5.0}, {"": -1.0}), {})
    two = FakeEar(Wordings({"one": -6.0}, {"": -0.5}), {})
    assert together(one, two).recognise(SOUND, grammar("one")).hypotheses == ()
