"""What was not said is never logged, heard with four voices: denied, wanted, vague, talk.

The voices are flite's and, where it is installed, piper's; the engine is the one that ships.
"""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from speech_bench.voices import VOICES, Manner, Voice, speak

from handsfree.dialogue import Dialogue, Session
from handsfree.events import Asked, JobFinished, ReadingTaken, UtteranceHeard
from handsfree.languages import load_language
from handsfree.meaning import Aside, Command, Reading, State, Unclear
from handsfree.plan import load_plan
from handsfree.sound.audio import RATE
from handsfree.sound.endpoint import Utterance
from handsfree.words import Transcriber

pytestmark = pytest.mark.skipif(shutil.which("flite") is None, reason="flite is not installed")

PLAN = Path(__file__).parent / "data" / "plans" / "phrasings.yaml"
FLITE = ("flite-rms", "flite-slt", "flite-awb", "flite-kal")
USED = [voice for voice in VOICES if voice.name in FLITE]

#: Said at a step, and what it may come to.
NOTHING = [
    ("no five volts", "voltage"),
    ("not five volts", "voltage"),
    ("it should be five volts", "voltage"),
    ("is it five volts", "voltage"),
    ("about four volts", "voltage"),
    ("no power", "state"),
    ("okay", "voltage"),
    ("house", "voltage"),
]


@pytest.fixture(scope="module")
def ears() -> Transcriber:
    return Transcriber("whisper+moonshine")


@pytest.fixture(scope="module")
def talk() -> Dialogue:
    return Dialogue(load_plan(str(PLAN)).plan, load_language("en"))


def heard(talk: Dialogue, ears: Transcriber, voice: Voice, text: str, at: str):
    samples = speak(voice, text, Manner())
    step = talk.desk.plan.step(at)
    session = Session(step=step.id, condition=step.condition)
    grammar = talk.desk.spoken.automaton(step, session.moment)
    seconds = len(samples) / RATE
    utterance = Utterance(samples, 0.0, seconds, seconds)
    return talk.respond(session, ears.hear(utterance, grammar, talk.desk.wording.hint))


@pytest.mark.parametrize("voice", USED, ids=lambda voice: voice.name)
@pytest.mark.parametrize(("text", "at"), NOTHING)
def test_what_is_no_reading_is_not_logged(talk, ears, voice, text, at):
    response = heard(talk, ears, voice, text, at)
    assert not any(isinstance(event, ReadingTaken) for event in response.events)
    assert not any(isinstance(e, Asked) and e.candidates for e in response.events)
    assert response.understood is None or isinstance(response.understood.meaning, Aside | Unclear)


@pytest.mark.parametrize("voice", USED, ids=lambda voice: voice.name)
@pytest.mark.parametrize("text", ["infinite", "infinity", "no reading", "open line", "it's open"])
def test_over_limit_in_other_words_ends_no_job(talk, ears, voice, text):
    response = heard(talk, ears, voice, text, "resistance")
    assert not any(isinstance(event, JobFinished) for event in response.events)
    match response.understood.meaning if response.understood else None:
        case Command(name=name):
            pytest.fail(f"obeyed as {name}")
        case Reading(value=value):
            assert value is None
        case State(state=state):
            assert state == "open"


@pytest.mark.parametrize("voice", USED, ids=lambda voice: voice.name)
@pytest.mark.parametrize(("text", "name"), [("help", "help"), ("undo that", "strike")])
def test_what_a_mechanic_asks_for_logs_nothing(talk, ears, voice, text, name):
    response = heard(talk, ears, voice, text, "voltage")
    assert not any(isinstance(event, ReadingTaken) for event in response.events)
    (said,) = [event for event in response.events if isinstance(event, UtteranceHeard)]
    if isinstance(said.understood.meaning, Command):
        assert said.understood.meaning.name == name
