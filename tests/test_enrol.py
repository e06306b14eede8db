"""Enrolment: a minute of known lines, what it teaches of one voice, and whom it is used for."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from scipy.stats import gamma
from typer.testing import CliRunner

from handsfree.cli.app import app
from handsfree.dialogue import Dialogue, Session
from handsfree.dialogue.enrolled import Confusion, LineHeard, learnt
from handsfree.dialogue.voice_record import CARRIED_ON, PRIOR_WRONG, VoiceRecord
from handsfree.errors import BadInput, Missing
from handsfree.grammar.text import parse_text
from handsfree.heard import Heard, Hypothesis
from handsfree.job.acquaintance import (
    Acquaintance,
    acquaintance,
    forget,
    keep_acquaintance,
    known_before,
    voice_file,
)
from handsfree.job.enrolling import enrolment_lines, how_far_trusted, understood_text
from handsfree.languages import load_language
from handsfree.log import open_job
from handsfree.meaning import Ambiguous, Reading
from handsfree.plan import load_plan
from handsfree.sound.audio import RATE
from handsfree.sound.blocks import BLOCK, Block
from handsfree.sound.card import Lost
from handsfree.words import Transcriber

#: What the engines made of a Tamil accent made in the phonemes, heard on the speech bench: final
#: stops get a vowel in it (Swan and Smith, "Learner English", from memory), and "point" becomes
#: "point two".
HEARD = {
    "fifteen point seven": "fifteen point two seven",
    "fifty point one": "fifty point two one",
    "eight three nine": "eight two three nine",
    "seventeen ohms": "seventeen volts",
}


def lines(heard: dict[str, str], likely: float = 0.9) -> list[LineHeard]:
    return [LineHeard(said, heard.get(said, said), likely) for said in enrolment_lines()]


@pytest.fixture(scope="module")
def talk() -> Dialogue:
    return Dialogue(load_plan("thermistor-2wire").plan, load_language("en"))


def test_the_lines_are_values_and_hold_every_digit_more_than_once(talk: Dialogue) -> None:
    grammar = talk.desk.spoken.automaton(talk.desk.plan.step("pin_1_to_2"))
    assert len(enrolment_lines()) == 20
    assert all(parse_text(grammar, line) for line in enrolment_lines())
    said = " ".join(enrolment_lines()).split()
    digits = ["oh", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "point"]
    assert all(said.count(word) >= 2 for word in digits)


def test_doubt_is_the_mean_of_the_gamma_distribution() -> None:
    """Misheard over expected, as Clayton and Kaldor (1987) smooth ratios; the mean by SciPy."""
    speaker = learnt("whisper", lines(HEARD, likely=0.9)).record
    expected = 20 * 0.1
    posterior = gamma(PRIOR_WRONG + len(HEARD), scale=1 / (PRIOR_WRONG + expected))
    assert speaker.factor == pytest.approx(posterior.mean())


def test_who_is_heard_well_gets_no_more_trust_than_others() -> None:
    assert learnt("whisper", lines({}, likely=0.7)).record.probability(0.9) == pytest.approx(0.9)


def test_words_that_were_misheard_are_known_with_what_stood_before_them() -> None:
    found = {(c.said, c.heard): c.times for c in learnt("whisper", lines(HEARD)).confusions}
    assert found == {("point", "point two"): 2}  # what was misheard once may be chance


def test_a_word_that_was_mostly_said_when_it_was_heard_is_hardly_doubted() -> None:
    assert Confusion("ohms", "volts", 1, 9).weight < math.log(0.25)  # less than a rival's share
    assert Confusion("point", "point two", 2, 0).weight > 0


def test_what_may_have_been_said_is_asked_about(talk: Dialogue) -> None:
    step = talk.desk.plan.step("pin_1_to_2")
    session = Session(step=step.id, condition=step.condition, phase=step.phase)
    grammar = talk.desk.spoken.automaton(step, session.moment)
    enrolled = learnt("text", lines(HEARD))
    heard = enrolled.corrected(
        Heard((Hypothesis("ten point two five"),)), lambda text: bool(parse_text(grammar, text))
    )
    found = talk.understand(session, heard).meaning
    assert isinstance(found, Ambiguous)
    numbers = {float(c.number) for c in found.candidates if isinstance(c, Reading) and c.number}
    assert numbers == {10.25, 10.5}


def test_another_word_for_the_same_is_no_mistake(talk: Dialogue) -> None:
    step = talk.desk.plan.step("pin_1_to_2")
    session = Session(step=step.id, condition=step.condition, phase=step.phase)
    assert understood_text(talk, session, "seventy ohms", "seventy ohm") == "seventy ohms"
    assert understood_text(talk, session, "seventy ohms", "seventy volts") == "seventy volts"


def test_what_the_grammar_has_not_is_not_put_beside() -> None:
    heard = Heard((Hypothesis("point two"),))
    assert learnt("text", lines(HEARD)).corrected(heard, lambda _: False) == heard


def test_the_end_tells_what_will_be_asked() -> None:
    told = " ".join(how_far_trusted(learnt("whisper", lines(HEARD))))
    assert "16 of 20" in told
    assert "“point” was taken for “point two”" in told
    assert "asked sooner" in told
    assert "as well as" in " ".join(how_far_trusted(learnt("whisper", lines({}))))


def test_a_voice_is_kept_for_its_owner_and_for_that_person_alone(home: Path) -> None:
    path = keep_acquaintance(Acquaintance("Ilya", VoiceRecord(5, 2), "whisper", (*lines(HEARD),)))
    assert path.stat().st_mode & 0o077 == 0
    assert acquaintance("Ilya").enrolled == learnt("whisper", lines(HEARD))
    assert acquaintance("Maren") == Acquaintance("Maren")
    assert forget("Ilya")
    assert acquaintance("Ilya") == Acquaintance("Ilya")
    assert not forget("Ilya")


@pytest.mark.parametrize("name", ["", "../x", "a/b", ".hidden"])
def test_a_name_that_is_no_file(name: str, home: Path) -> None:
    with pytest.raises(BadInput):
        voice_file(name)


@pytest.mark.parametrize("text", ["{", '{"lines": 3}', '{"record": {"right": "x"}}', "[]"])
def test_a_damaged_voice_is_named_with_what_to_do(text: str, home: Path) -> None:
    keep_acquaintance(Acquaintance("Ilya"))
    voice_file("Ilya").write_text(text, encoding="utf-8")
    with pytest.raises(BadInput, match="damaged"):
        acquaintance("Ilya")


def test_lines_of_another_engine_say_nothing(home: Path) -> None:
    known = Acquaintance("Ilya", VoiceRecord(0, 3), "whisper", (*lines(HEARD),))
    assert known_before(known, "vosk", home / "job") == VoiceRecord(0, 3)
    assert known_before(known, "whisper", home / "job").wrong == 3 + len(HEARD)


def test_a_cold_passes() -> None:
    many = VoiceRecord(3 * CARRIED_ON, CARRIED_ON).faded
    assert many.right + many.wrong == CARRIED_ON
    assert many.wrong == CARRIED_ON / 4


def hearing(heard: dict[str, str], monkeypatch: pytest.MonkeyPatch) -> None:
    """An engine that hears the lines in their order so."""
    texts = iter([heard.get(line, line) for line in enrolment_lines()])

    def hear(self: Transcriber, utterance: Any, *_: object) -> Heard:
        return Heard((Hypothesis(next(texts)),), engine="whisper")

    monkeypatch.setattr(Transcriber, "__init__", lambda self, *_, **__: None)
    monkeypatch.setattr(Transcriber, "name", "whisper")
    monkeypatch.setattr(Transcriber, "hear", hear)


def spoken(folder: Path, count: int) -> list[str]:
    """So many files that the voice activity detector takes for speech."""
    words = Path(__file__).parents[1] / "demo_audio" / "low-beam" / "05-joe.flac"
    samples, rate = soundfile.read(words, dtype="float32")
    files = [folder / f"{n:02}.wav" for n in range(count)]
    for n, file in enumerate(files):  # each another sound: what was heard once is not heard again
        soundfile.write(file, np.asarray(samples) * (1 - n / 100), rate)
    return [part for file in files for part in ("--audio", str(file))]


def test_it_is_read_in_pieces_and_deleted(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    hearing(HEARD, monkeypatch)
    first = CliRunner().invoke(app, ["enrol", "Ilya", *spoken(home, 8)])
    assert first.exit_code == 0, first.output
    assert "12 lines are left" in first.output
    rest = CliRunner().invoke(app, ["enrol", "Ilya", *spoken(home, 12), "--json"])
    told = json.loads(rest.output)
    assert (told["lines"], told["right"]) == (20, 16)
    gone = CliRunner().invoke(app, ["enrol", "Ilya", "--delete"])
    assert gone.exit_code == 0
    assert not voice_file("Ilya").exists()


def test_it_is_read_into_the_microphone(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Three utterances, then the microphone is unplugged: what was read is kept."""
    hearing(HEARD, monkeypatch)
    words = Path(__file__).parents[1] / "demo_audio" / "low-beam" / "05-joe.flac"
    samples, _ = soundfile.read(words, dtype="float32")
    sound = np.concatenate([samples, np.zeros(2 * RATE, np.float32)] * 3)

    class Unplugged:
        def __init__(self, *_: object, **__: object) -> None:
            self.closed = False

        def messages(self) -> Iterator[Block | Lost]:
            for at in range(0, len(sound) - BLOCK, BLOCK):
                yield Block(sound[at : at + BLOCK])
            yield Lost("the microphone is gone")

        def close(self) -> None:
            self.closed = True

    monkeypatch.setattr("handsfree.cli.enrol.Card", Unplugged)
    result = CliRunner().invoke(app, ["enrol", "Ilya"])
    assert isinstance(result.exception, Missing)
    assert len(acquaintance("Ilya").lines) == 3
    assert "four five six" in result.output


def test_more_utterances_than_lines_are_refused(
    home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    hearing({}, monkeypatch)
    result = CliRunner().invoke(app, ["enrol", "Ilya", *spoken(home, 21)])
    assert isinstance(result.exception, BadInput)
    assert "21 utterances for 20 lines" in str(result.exception)


def test_what_became_of_his_values_is_known_in_the_next_job(
    home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    said = iter(["twelve point five volts", "correction twelve point three volts", "finish", "yes"])

    def hear(self: Transcriber, *_: object) -> Heard:
        return Heard((Hypothesis(next(said)),), engine="whisper")

    monkeypatch.setattr(
        Transcriber, "__init__", lambda self, *_, **__: setattr(self, "enrolled", None)
    )
    monkeypatch.setattr(Transcriber, "name", "whisper")
    monkeypatch.setattr(Transcriber, "hear", hear)
    job = ["dictate", "thermistor-2wire", "--job", "van", "--voice", "off", *spoken(home, 4)]
    result = CliRunner().invoke(app, [*job, "--person", "Ilya"])
    assert result.exit_code == 0, result.output
    assert acquaintance("Ilya").record.wrong == 1
    assert not voice_file("Maren").exists()
    known = acquaintance("Ilya")
    assert known_before(known, "whisper", home / "another").wrong == 1
    assert known_before(known, "whisper", home / "van").wrong == 0  # the job itself tells it


def test_a_job_that_is_open_is_no_hindrance(home: Path) -> None:
    with open_job(Path("van"), b"title: x\n", title="x"):
        pass
    known = Acquaintance("Ilya", VoiceRecord(4, 1))
    assert known_before(known, "whisper", Path("van")) == VoiceRecord(4, 1)
