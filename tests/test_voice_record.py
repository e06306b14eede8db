"""A speaker who is misheard is asked sooner; who is heard well gets no more trust than others."""

import pytest
from scipy.stats import beta

from handsfree.dialogue import Dialogue, Session
from handsfree.dialogue.voice_record import PRIOR_RIGHT, PRIOR_WRONG, VoiceRecord
from handsfree.events import ReadingTaken
from handsfree.heard import Calibration, Heard, Hypothesis
from handsfree.languages import load_language
from handsfree.plan import load_plan


def test_the_share_of_misheard_values_is_that_of_the_beta_distribution():
    speaker = VoiceRecord(right=6, wrong=3)
    mean = beta(PRIOR_WRONG + 3, PRIOR_RIGHT + 6).mean()  # SciPy
    prior = beta(PRIOR_WRONG, PRIOR_RIGHT).mean()
    assert speaker.factor == pytest.approx(mean / (1 - mean) * (1 - prior) / prior)


def test_doubt_rises_with_what_is_denied_and_falls_with_what_is_confirmed():
    new = VoiceRecord()
    misheard = new.heard(right=False)
    again = misheard.heard(right=True)
    assert misheard.probability(0.9) < again.probability(0.9) < new.probability(0.9)
    assert new.probability(0.9) == pytest.approx(0.9)


def test_nobody_is_trusted_more_than_anybody():
    assert VoiceRecord(right=500).probability(0.7) == pytest.approx(0.7)
    assert VoiceRecord(wrong=9).probability(1.0) == 1.0


@pytest.fixture
def talk():
    plan = load_plan("thermistor-2wire").plan
    return Dialogue(plan, load_language("en"))


def say(talk: Dialogue, session: Session, text: str, share: float):
    """Heard with this probability."""
    scores = Hypothesis(text, 0.0), Hypothesis("repeat", _behind(share))
    heard = Heard(scores, calibration=Calibration())
    return talk.respond(session, heard)


def _behind(share: float) -> float:
    import math

    return math.log((1 - share) / share)


def takes(response) -> bool:
    return any(isinstance(event, ReadingTaken) for event in response.events)


def test_after_corrections_the_same_certainty_is_asked_about(talk):
    session = talk.start().session
    first = say(talk, session, "two point five volts", 0.93)
    assert takes(first)
    session = first.session
    for value in ("two point six volts", "two point four volts", "two point three volts"):
        session = say(talk, session, f"correction {value}", 0.999).session
    assert session.speaker.wrong == 3
    assert not takes(say(talk, session, "two point five volts", 0.93))


def test_a_job_that_is_taken_up_again_knows_its_speaker(talk):
    opened = talk.start()
    taken = say(talk, opened.session, "two point five volts", 0.99)
    struck = say(talk, taken.session, "strike that", 0.99)
    again = Session.of([*opened.events, *taken.events, *struck.events])
    assert again.speaker == struck.session.speaker == VoiceRecord(wrong=1)
