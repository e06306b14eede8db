"""An engine that crashes, hangs or eats memory costs one utterance, and is started again."""

from __future__ import annotations

import gc
import os
import signal
import threading
import time
from collections.abc import Iterator
from functools import partial
from pathlib import Path

import pytest
from by_hand import by_hand

from handsfree.dialogue import Dialogue
from handsfree.errors import Missing
from handsfree.events import Logged
from handsfree.grammar import Automaton
from handsfree.heard import Heard
from handsfree.job import Job
from handsfree.languages import load_language
from handsfree.log import JobRecord, open_job, read, verify
from handsfree.report import report_file
from handsfree.sound.audio import load
from handsfree.sound.recordings import Captured
from handsfree.words import Transcriber, apart
from handsfree.words.apart import Apart
from tests import frail_engines
from tests.frail_engines import Frail, utterance

TEXTS = (
    "crash", "kill", "hang", "eat", "raise", "leave", "states", "print",
    "ponder", "warm", "twelve point six volts", "point oh two", "pause", "wake up",
)  # fmt: skip
GRAMMAR = Automaton((), {})


@pytest.fixture(scope="module")
def frail() -> Iterator[Apart]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(apart, "ANSWERS_WITHIN", 1.0)
        yield Apart(partial(Frail, *TEXTS))


def said(engine: Apart, text: str, grammar: Automaton = GRAMMAR) -> tuple[str, str]:
    """What the engine hears, and why it heard nothing."""
    found = engine.recognise(utterance(TEXTS.index(text)).samples, grammar)
    return next((h.text for h in found.hypotheses), ""), found.broke


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("crash", "was ended by SIGSEGV"),
        ("kill", "was ended by SIGKILL"),  # as by Linux where memory is short
        ("hang", "did not answer for 4 s"),
        ("eat", "ran out of memory"),
        ("raise", "failed: RuntimeError: no such layer"),
        ("leave", "ended with exit code 0"),
    ],
)
def test_it_says_how_it_broke_and_hears_the_next(frail: Apart, text: str, why: str) -> None:
    assert said(frail, text) == ("", f"the recogniser {why}")
    assert said(frail, "point oh two") == ("point oh two", "")


def test_it_is_started_again_where_it_ended_between_two_utterances(frail: Apart) -> None:
    frail._process.kill()
    assert said(frail, "point oh two") == ("", "the recogniser was ended by SIGKILL")
    assert said(frail, "point oh two") == ("point oh two", "")


def test_one_that_stands_still_before_it_reads_is_given_up(frail: Apart) -> None:
    """A grammar is more than a pipe holds."""
    frail._process.send_signal(signal.SIGSTOP)
    large = Automaton(((),) * 10**6, {})
    assert said(frail, "states", large) == ("", "the recogniser did not answer for 4 s")


def test_each_utterance_is_heard_by_its_own_grammar(frail: Apart) -> None:
    grammars = [Automaton(((),) * states, {}) for states in range(12)]
    for grammar in [*grammars, *grammars[::-1], grammars[3], grammars[3]]:
        assert said(frail, "states", grammar) == (str(grammar.states), "")
    said(frail, "leave", grammars[3])
    assert said(frail, "states", grammars[3]) == ("3", "")


def test_a_grammar_may_be_given_before_it_is_needed(frail: Apart) -> None:
    said(frail, "states")
    grammar = Automaton(((),) * 77, {})
    frail.prepare(grammar)
    frail.prepare(grammar)
    assert [kept is grammar for kept in frail._grammars].count(True) == 1
    assert said(frail, "states", grammar) == ("77", "")


def test_it_is_warm_before_its_first_grammar(frail: Apart) -> None:
    assert said(frail, "warm") == ("1", "")
    assert said(frail, "warm", Automaton(((),), {})) == ("1", "")


def test_one_that_is_being_started_again_is_given_no_grammar(frail: Apart) -> None:
    said(frail, "leave")
    frail.prepare(GRAMMAR)
    assert frail._grammars == [None] * len(frail._grammars)
    assert said(frail, "states") == ("0", "")


def test_a_guess_is_given_up_and_the_next_is_heard(frail: Apart) -> None:
    said(frail, "states")
    sound = utterance(TEXTS.index("ponder")).samples
    timer = threading.Timer(0.3, frail.give_up)
    timer.start()
    assert frail.guess(sound, GRAMMAR) is None
    frail.give_up()  # there is none
    found = frail.guess(utterance(TEXTS.index("point oh two")).samples, GRAMMAR)
    assert found is not None
    assert found.hypotheses[0].text == "point oh two"


def test_what_is_no_guess_is_not_given_up(frail: Apart) -> None:
    """It hangs, as far as it knows, until its time is over."""
    said(frail, "states")
    timer = threading.Timer(0.3, frail.give_up)
    timer.start()
    assert said(frail, "ponder") == ("", "the recogniser did not answer for 4 s")
    assert said(frail, "point oh two") == ("point oh two", "")


def test_what_an_engine_prints_is_no_answer(frail: Apart) -> None:
    assert said(frail, "print") == ("print", "")


def test_an_engine_that_is_not_there_is_told_as_ever(frail: Apart) -> None:
    with pytest.raises(Missing, match="no such model") as told:
        Apart(frail_engines.missing)
    assert told.value.remedy == "Take another."
    with pytest.raises(Missing, match="does not open: it ended with exit code 3"):
        Apart(frail_engines.dies)


def test_one_that_does_not_open_again_is_tried_at_each_utterance(
    frail: Apart, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patch:
        patch.setattr(frail, "_open_engine", frail_engines.missing)
        said(frail, "leave")
        for _ in range(2):
            why = "the recogniser does not open again: there is no such model"
            assert said(frail, "point oh two") == ("", why)
    assert said(frail, "point oh two")[1] == why  # this one was still begun without
    assert said(frail, "point oh two") == ("point oh two", "")


def test_its_process_ends_with_it(frail: Apart) -> None:
    other = Apart(Frail)
    process = other._process
    del other
    gc.collect()
    assert process.returncode == -signal.SIGKILL


def test_its_process_ends_with_the_program(frail: Apart) -> None:
    """Also with one that is killed: its input ends."""
    reading, writing = os.pipe()
    if (program := os.fork()) == 0:
        engine = Apart(Frail)
        os.write(writing, str(engine._process.pid).encode())
        os.kill(os.getpid(), signal.SIGKILL)
    os.close(writing)
    os.waitpid(program, 0)
    engine = Path("/proc") / os.read(reading, 100).decode()
    os.close(reading)
    for _ in range(200):
        if not engine.exists() or "(zombie)" in (engine / "status").read_text():
            return
        time.sleep(0.05)
    pytest.fail("it outlived the program")


@pytest.fixture
def transcriber(frail: Apart) -> Transcriber:
    ears = Transcriber.__new__(Transcriber)
    ears.recogniser = frail
    return ears


def test_what_was_said_is_kept_as_sound_and_said_to_be_so(
    transcriber: Transcriber, tmp_path: Path
) -> None:
    loaded, spoken = by_hand("flap-actuator-5wire"), list[str]()
    language = load_language()
    with open_job(tmp_path / "job", loaded.text.encode(), title=loaded.plan.title) as log:
        job = Job(Dialogue(loaded.plan, language), log, lambda _: None, spoken.append)
        job.begin()
        for at, text in enumerate(("twelve point six volts", "kill", "point oh two")):
            job.listen(transcriber, _captured(text, at))
    assert spoken[2] == language.prompts["recogniser_broke"]
    assert [e.figures for e in job.session.entries] == ["12.6 V", "0.02 V"]
    heard = [line for line in read(tmp_path / "job") if line.kind == "heard"]
    assert heard[1].fields["meaning"]["reason"] == "the recogniser was ended by SIGKILL"
    clip = load(tmp_path / "job" / str(heard[1].fields["clip"])).samples
    assert clip == pytest.approx(utterance(TEXTS.index("kill")).samples, abs=1e-4)
    assert verify(tmp_path / "job").ok
    assert JobRecord.read(tmp_path / "job").session == job.session
    report_file(tmp_path / "job", tmp_path / "report.html")
    assert language.prompts["recogniser_broke"] in (tmp_path / "report.html").read_text()


def test_an_open_question_stays_open(tmp_path: Path) -> None:
    loaded = by_hand("flap-actuator-5wire")
    dialogue = Dialogue(loaded.plan, load_language())
    session = dialogue.respond(dialogue.start().session, Heard.of_text("finish")).session
    assert session.question
    broke = dialogue.respond(session, Heard((), broke="the recogniser was ended by SIGKILL"))
    assert broke.session.question == session.question
    assert dialogue.respond(broke.session, Heard.of_text("yes")).session.phase == "finished"


def test_nothing_is_kept_in_a_pause(transcriber: Transcriber, tmp_path: Path) -> None:
    loaded, told = by_hand("flap-actuator-5wire"), list[Logged]()
    with open_job(tmp_path / "job", loaded.text.encode(), title=loaded.plan.title) as log:
        job = Job(Dialogue(loaded.plan, load_language()), log, told.append, lambda _: None)
        job.begin()
        job.listen(transcriber, _captured("pause", 0))
        before = len(told)
        job.listen(transcriber, _captured("kill", 1))
        assert len(told) == before
        job.listen(transcriber, _captured("wake up", 2))
        assert len(told) > before


def _captured(text: str, at: int) -> Captured:
    return Captured(utterance(TEXTS.index(text), start=at), "typed", "file")
