"""What no grammar has is told by how near it is to sentences that were learnt.

The sentences stand for classes of speech; the figures are of sets that nothing was learnt from
(tests/phrasings.py, tests/learn_intents.py).
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from phrasings import Phrasing, dialogue, scene

from handsfree import encoder as edge
from handsfree.dialogue import Dialogue, Session
from handsfree.encoder import ENCODER_SHA256, SIZE, encoder
from handsfree.errors import HandsfreeError
from handsfree.events import Asked, Noted, ReadingTaken, Spoke
from handsfree.heard import Heard
from handsfree.languages import load_language
from handsfree.meaning import Aside, Command, Observation, Reading, SetCondition, State
from handsfree.meaning.intent import CORRECT, GO, NO_INTENT, NOTE, VAGUE, VALUE, VALUES


def said(text: str, at: str = "voltage"):
    talk = dialogue()
    step = talk.desk.plan.step(at)
    session = Session(step=step.id, condition=step.condition)
    return talk.respond(session, Heard.of_text(text))


def meant(text: str, at: str = "voltage"):
    return said(text, at).understood.meaning


@pytest.mark.parametrize(
    ("text", "at", "expected"),
    [
        ("back up a step would you", "voltage", Command("back")),
        ("what sort of things can I say to you", "voltage", Command("help")),
        ("fixed the terminal, let's do this one again", "voltage", Command("repaired")),
        ("I have switched off everything", "kilohms", SetCondition("off")),
        ("finally got that bastard connector off", "kilohms", SetCondition("unplugged")),
        ("aw hell brown's shorted straight to ground", "state", State("short to ground", "2")),
        ("stiff as hell but it does go", "observation", Observation("stiff")),
    ],
)
def test_what_is_wanted_is_told_in_any_words(text, at, expected):
    assert meant(text, at) == expected


def test_a_value_in_a_story_is_asked_about_with_its_wire() -> None:
    response = said("so that's, hang on, can't see the bloody screen, okay, five point one volts")
    assert not any(isinstance(event, ReadingTaken) for event in response.events)
    assert any(isinstance(event, Asked) for event in response.events)
    found = meant("we got us four point nine volts on that violet")
    assert isinstance(found, Reading)
    assert (str(found.number), found.wire) == ("4.9", "5")


@pytest.mark.parametrize(
    "text",
    ["five volts yesterday", "that's four point five litres", "those tyres are forty quid a corner",
     "took me two hours", "far from seven point one volts", "violet tow point nine",
     "Dave can you pass me that before lunch", "he said and she said and so on"],
)  # fmt: skip
def test_what_is_no_reading_offers_none(text):
    assert isinstance(meant(text), Aside)


@pytest.mark.parametrize(
    "text",
    ["don't take that one back", "no don't skip it", "leave the last one as it is",
     "no no keep that one", "don't strike my last reading", "I never asked you to skip that",
     "please do not remove the value"],
)  # fmt: skip
def test_a_wish_that_is_denied_is_not_asked_about(text):
    response = said(text)
    assert isinstance(response.understood.meaning, Aside)
    assert not any(isinstance(one, Asked) and one.question for one in response.events)


@pytest.mark.parametrize(
    "text",
    ["you needn't say it again", "no need to tell me what it should be",
     "I don't need to know how many are left", "no call to be speaking any faster",
     "I know where the leads go you needn't tell me", "leave that last reading just how it was",
     "don't tell me what it should be"],
)  # fmt: skip
def test_what_is_needless_is_not_answered(text):
    response = said(text)
    assert isinstance(response.understood.meaning, Aside)
    assert not any(isinstance(event, Spoke) for event in response.events)


@pytest.mark.parametrize(
    ("text", "asked"),
    [("I don't know what it should be", "expected"), ("I didn't hear you say it again", "repeat")],
)
def test_a_question_beside_a_denial_is_answered(text, asked):
    assert meant(text) == Command(asked)


@pytest.mark.parametrize(
    ("text", "at", "value"),
    [("I read that wrong it's five point oh two volts", "voltage", 5.02),
     ("did I say fifty I meant fifteen ohms", "resistance", 15),
     ("the last number ought to be one hundred and two hertz", "frequency", 102),
     ("scratch the forty I gave you it's forty four percent", "duty", 44),
     ("you've put it down wrong I said four point four k not five point four", "kilohms", 4.4)],
)  # fmt: skip
def test_a_value_in_place_of_the_last_corrects_it(text, at, value):
    session = scene(Phrasing(text, at, "command", {"value": "correct"}))
    response = dialogue().respond(session, Heard.of_text(text))
    told = response.understood.meaning
    assert isinstance(told, Command)
    assert isinstance(told.take, Reading)
    assert (told.name, float(told.take.number)) == ("correct", value)
    assert any(isinstance(event, Asked) for event in response.events)


def test_only_going_on_is_understood_while_it_is_asleep() -> None:
    session = scene(Phrasing("", "voltage", "command", {"value": "resume"}))
    for text, wakes in [("right I'm back let's have it", True),
                        ("okay carry on from where you stopped", True),
                        ("don't carry on yet", False), ("that's a bad number bin it", False),
                        ("Dave come back over here", False)]:  # fmt: skip
        response = dialogue().respond(session, Heard.of_text(text))
        assert (response.session.paused, text) == (not wakes, text)


@pytest.mark.parametrize(
    ("text", "wish"),
    [("don't keep that one", "strike"), ("why don't we skip this one", "skip"),
     ("can't get at it so skip it", "skip"), ("that's not right bin it", "strike")],
)  # fmt: skip
def test_a_wish_beside_a_denial_is_asked_about(text, wish):
    assert meant(text) == Command(wish)


def test_talk_is_noted_nowhere() -> None:
    for text in ("did you say make a note water inside", "write your mother a letter"):
        assert not any(isinstance(event, Noted) for event in said(text).events)


def test_every_intent_is_a_sentence_of_the_grammar() -> None:
    intents = load_language("en").intents
    assert intents is not None
    named = set(intents.names) - {CORRECT, GO, NOTE, NO_INTENT, VAGUE, VALUE, VALUES}
    here = {name for name in named for at in ("voltage", "state", "observation", "following")
            if _read(name, at)}  # fmt: skip
    elsewhere = {"chafed", "clean", "clicks", "corroded", "hums", "loose", "runs", "wet", "resume"}
    assert named - here <= elsewhere  # in other plans, and while it is asleep
    assert intents.weights.shape[1] == len(intents.names)


@cache
def _plain() -> Dialogue:
    """About the bench of the phrasings, by its grammar alone."""
    return Dialogue(dialogue().desk.plan, replace(load_language("en"), intents=None))


def _read(name: str, at: str) -> bool:
    plain = _plain()
    step = plain.desk.plan.step(at)
    for question in (None, "which"):
        session = Session(step=step.id, condition=step.condition)
        if question:
            session = plain.respond(session, Heard.of_text("seven")).session
        meaning = plain.respond(session, Heard.of_text(name)).understood.meaning
        if not isinstance(meaning, Aside) or name in ("yes", "no", "the first", "the second"):
            return True
    return False


def test_without_the_model_all_is_as_the_grammar_has_it(monkeypatch) -> None:
    monkeypatch.setattr(edge, "find_spec", lambda name: None)
    assert encoder() is None


def test_a_model_that_is_another_is_refused(monkeypatch) -> None:
    monkeypatch.setitem(ENCODER_SHA256, "model.onnx", "0" * 64)
    encode = encoder()
    assert encode is not None
    with pytest.raises(HandsfreeError, match=r"model\.onnx"):
        encode("where are we")


def test_sentences_that_mean_the_same_are_near() -> None:
    """As the card of all-MiniLM-L6-v2 has it, from memory: by the cosine of their vectors."""
    encode = encoder()
    assert encode is not None
    one, like, other = map(
        encode, ("how many are left", "how many do we still have to do", "the ground is bad")
    )
    assert one.shape == (SIZE,)
    assert np.linalg.norm(one) == pytest.approx(1, abs=1e-5)
    assert one @ like > one @ other + 0.2
