"""What stands is what was measured: verdicts, guesses and commands that are not taken on trust."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from by_hand import by_hand
from test_dialogue import Talk, to_winding

from handsfree.dialogue import Dialogue
from handsfree.dialogue.commanding import obey
from handsfree.events import (
    Asked,
    Guessed,
    JobFinished,
    ReadingStruck,
    ReadingTaken,
    Spoke,
    StepOpened,
    VerdictReached,
    VerdictWithdrawn,
)
from handsfree.grammar import Language
from handsfree.heard import Heard, Hypothesis
from handsfree.job import Job
from handsfree.log import JobRecord, open_job
from handsfree.meaning import Command, Unclear
from handsfree.plan import Plan


@pytest.fixture(scope="module")
def journeyman(flap: Plan, english: Language) -> Dialogue:
    return Dialogue(flap, english)


@pytest.fixture(scope="module")
def teacher(flap: Plan, english: Language) -> Dialogue:
    return Dialogue(flap, english, apprentice=True)


@pytest.fixture
def talk(journeyman: Dialogue) -> Talk:
    return Talk(journeyman).start()


@pytest.fixture
def apprentice(teacher: Dialogue) -> Talk:
    return Talk(teacher).start()


def part(talk: Talk) -> str | None:
    return talk.session.finding.part if talk.session.finding else None


def verdicts(talk: Talk) -> list[tuple[str | None, bool]]:
    return [
        (event.finding.part, False)
        if isinstance(event, VerdictReached) and event.finding
        else (None, isinstance(event, VerdictWithdrawn))
        for event in talk.events
        if isinstance(event, VerdictReached | VerdictWithdrawn)
    ]


# The verdict


def test_a_struck_reading_takes_its_verdict_with_it(talk: Talk) -> None:
    talk.hear("nine volts")
    assert (talk.session.phase, part(talk)) == ("verdict", "battery")
    said = talk.hear("strike that")
    assert "The verdict is withdrawn. Again: Battery posts" in said
    assert [type(e) for e in talk.events[1:4]] == [ReadingStruck, VerdictWithdrawn, StepOpened]
    assert verdicts(talk) == [(None, True)]
    assert (talk.session.phase, talk.session.step) == ("test", "battery_voltage")
    assert part(talk) is None
    talk.hear("twelve six")
    assert talk.session.step == "sensor_ground"


def test_a_correction_opens_the_tests_that_the_verdict_had_ended(talk: Talk) -> None:
    talk.hear("nine volts")
    said = talk.hear("correction twelve six")
    assert said.startswith("Corrected. twelve point six volts, in range. The verdict is withdrawn.")
    assert verdicts(talk) == [(None, True)]
    assert (talk.session.phase, talk.session.step) == ("test", "sensor_ground")


def test_a_correction_keeps_its_value_where_the_next_step_shows_none(talk: Talk) -> None:
    """At a step without numbers the bare word, a hundred times less likely, must not win."""
    for text in ("twelve six", "point oh two", "five volts", "point six", "four point four"):
        talk.hear(text)
    assert talk.session.step == "hot_drive_heating"
    heard = (Hypothesis("correction four point two", -1.2), Hypothesis("correction", -7.0))
    assert talk.hear(Heard(heard)).startswith("Corrected. white with green stripe, four point two")


def test_a_correction_that_changes_nothing_lets_the_verdict_stand(talk: Talk) -> None:
    talk.hear("nine volts")
    assert "The verdict stands. Verdict: battery" in talk.hear("correction nine point five")
    assert verdicts(talk) == [("battery", False)]


def to_verdict(talk: Talk) -> None:
    to_winding(talk)
    for text in ("over limit", "five k", "one point two k", "nothing"):
        talk.hear(text)
    talk.hear("yes")
    assert part(talk) == "actuator motor, open winding"


def test_a_correction_may_change_the_verdict(talk: Talk) -> None:
    to_verdict(talk)
    said = talk.hear("correction no")
    assert said.startswith("Corrected. no, not as expected. The verdict")
    assert len(verdicts(talk)) == 1


def test_after_the_repair_a_struck_test_is_open_again(talk: Talk) -> None:
    to_verdict(talk)
    talk.hear("repair done")
    assert talk.session.phase == "after_repair"
    assert "The verdict is withdrawn." in talk.hear("strike that")
    assert (talk.session.phase, talk.session.step) == ("test", "flap_moves")
    assert part(talk) is None


def test_going_back_after_the_verdict_withdraws_it(talk: Talk) -> None:
    talk.hear("twelve six")
    to_verdict_by = ("go back", "nine volts")
    for text in to_verdict_by:
        talk.hear(text)
    assert talk.session.phase == "verdict"
    talk.hear("go to violet")
    assert (talk.session.phase, talk.session.step) == ("test", "reference")
    assert verdicts(talk) == [(None, True)]


def test_a_correction_that_sends_elsewhere_is_followed(talk: Talk) -> None:
    """Low at the battery ends the tests, also if it is corrected to that a step later."""
    talk.hear("twelve six")
    said = talk.hear("correction nine volts")
    assert "Verdict: battery" in said
    assert talk.session.phase == "verdict"


def test_what_was_corrected_is_no_evidence_but_what_was_measured_again_is(talk: Talk) -> None:
    for text in ("twelve six", "correction twelve four", "go back", "twelve five"):
        talk.hear(text)
    assert [entry.number for entry in talk.session.measured] == [2, 3]
    talk.hear("strike that")
    assert talk.session.measured == ()


def test_a_log_tells_of_the_withdrawn_verdict(tmp_path: Path, english: Language) -> None:
    loaded = by_hand("flap-actuator-5wire")
    with open_job(tmp_path / "job", loaded.text.encode(), title=loaded.plan.title) as log:
        job = Job(Dialogue(loaded.plan, english), log, lambda _: None, lambda _: None)
        job.begin()
        job.hear(Heard.of_text("nine volts"))
        finding = job.session.finding
        assert finding
        assert JobRecord.read(tmp_path / "job").session.finding == finding
        job.hear(Heard.of_text("strike that"))
        kinds = [line.kind for line in log.lines]
    assert kinds[-4:] == ["struck", "withdrawn", "step", "said"]
    restored = JobRecord.read(tmp_path / "job").session
    assert (restored.phase, restored.step, restored.finding) == ("test", "battery_voltage", None)


# The apprentice's guess


@pytest.mark.parametrize("noise", ["blah five", "violet blah", "so i said two to him"])
def test_a_guess_that_is_not_understood_is_asked_for_again(apprentice: Talk, noise: str) -> None:
    said = [apprentice.hear(noise) for _ in range(6)]
    assert said[0] == "Say again? What do you expect?"
    assert "Expect twelve" not in " ".join(said)
    assert all(said.count(text) <= 2 for text in said if text)
    assert apprentice.hear("twelve volts").startswith("Right.")
    assert not apprentice.did(ReadingTaken)


@pytest.mark.parametrize("noise", ["mumble mumble", "", "so i said to him", "um"])
def test_a_guess_stays_open_in_silence_while_others_talk(apprentice: Talk, noise: str) -> None:
    assert [apprentice.hear(noise) for _ in range(6)] == [""] * 6
    assert apprentice.hear("twelve volts").startswith("Right.")
    assert not apprentice.did(ReadingTaken)


@pytest.mark.parametrize(
    "text",
    [
        "why this test",
        "how do i probe it",
        "where are we",
        "say again",
        "louder",
        "yes",
        "note the seal is torn",
        "correct that",
        "finish",
        "ignition on",
        "go to violet",
        "go back",
        "strike that",
        "repair done",
    ],
)
def test_a_guess_stays_open_whatever_is_asked_in_between(apprentice: Talk, text: str) -> None:
    said = apprentice.hear(text)
    if text == "finish":
        said = apprentice.hear("no")
    step = apprentice.session.step
    assert "Expect twelve" not in said
    if not text.startswith("note"):
        asked = said.endswith("What do you expect?") or "There is no" in said
        assert asked or (text == "yes" and not said)  # nothing was asked that yes answers
    apprentice.hear("five volts")
    assert [type(e) for e in apprentice.events][1:2] == [Guessed]
    assert apprentice.session.entries == ()
    assert apprentice.session.step == step


def test_a_guess_stays_open_over_a_pause_and_a_correction(apprentice: Talk) -> None:
    for text in ("twelve volts", "twelve point six volts", "hold on", "wake up"):
        said = apprentice.hear(text)
    assert said.endswith("What do you expect?")
    said = apprentice.hear("correction twelve point three")
    assert said.endswith("What do you expect?")
    apprentice.hear("zero volts")
    assert [type(e) for e in apprentice.events][1:2] == [Guessed]
    assert len(apprentice.session.standing) == 1


def test_a_job_that_goes_on_asks_the_guess_first(flap: Plan, apprentice: Talk) -> None:
    response = apprentice.dialogue.resume(apprentice.session)
    (said,) = response.events
    assert "What do you expect?" in repr(said)


# Commands

#: What else can be said, each with another meaning.
OTHERS = ("everything off", "ignition on", "maximum heat", "middle setting", "heating up",
          "cooling down", "actuator removed", "both ends off")  # fmt: skip


def heard(text: str, belief: float) -> Heard:
    """An utterance of which the engine believes this much; the rest is spread over others."""
    rest = math.log((1 - belief) / len(OTHERS))
    said = (Hypothesis(text, math.log(belief)), *(Hypothesis(other, rest) for other in OTHERS))
    return Heard(tuple(sorted(said, key=lambda h: -h.score)))


@pytest.mark.parametrize(
    "text",
    ["finish", "strike that", "skip", "next", "go back", "go to violet", "repair done",
     "correct that", "set full cold"],
)  # fmt: skip
def test_an_unsure_command_that_changes_something_is_not_obeyed(talk: Talk, text: str) -> None:
    talk.hear("twelve six")
    before = talk.session
    response = talk.dialogue.respond(before, heard(text, 0.4))
    assert isinstance(response.understood and response.understood.meaning, Unclear)
    assert [type(e) for e in response.events[1:]] == [Asked]
    assert response.session.entries == before.entries
    assert response.session.step == before.step
    sure = talk.dialogue.respond(before, heard(text, 0.6))
    assert not isinstance(sure.understood and sure.understood.meaning, Unclear)


@pytest.mark.parametrize("text", ["say again", "why this test", "where are we", "louder"])
def test_a_harmless_command_has_a_lower_bound(talk: Talk, text: str) -> None:
    assert talk.hear(heard(text, 0.4)) != "Say again?"
    assert talk.hear(heard(text, 0.2)) == "Say again?"


def test_an_unsure_wake_word_is_passed_over_in_silence(talk: Talk) -> None:
    talk.hear("hold on")
    assert talk.hear(heard("wake up", 0.2)) == ""
    assert talk.session.paused


def test_the_end_is_asked_once(talk: Talk) -> None:
    assert talk.hear("finish") == "Finish the job? Say yes or no."
    assert talk.hear("no").startswith("Again: Battery posts")
    assert talk.session.question is None
    talk.hear("finish")
    assert "in range" in talk.hear("twelve point six volts")
    assert talk.hear("yes") == ""
    assert talk.session.phase == "test"
    talk.hear("finish")
    assert talk.hear("blah five") == "Say again?"
    assert not talk.hear("yes").startswith("Finished")
    talk.hear("finish")
    assert talk.hear(heard("yes", 0.4)) == "Say again?"
    talk.hear("finish")
    talk.hear("yes")
    assert talk.did(JobFinished)


def test_a_value_after_finish_is_still_confirmed_if_it_is_unsure(talk: Talk) -> None:
    talk.hear("finish")
    assert talk.hear(heard("twelve point six volts", 0.5)).endswith("Right?")


def test_a_query_leaves_the_question_open(talk: Talk) -> None:
    to_winding(talk)
    talk.hear("thirty one ohms")
    talk.hear("four nine")
    said = talk.hear("why this test")
    assert said.endswith("Is it forty nine kilohms, or four point nine kilohms?")
    assert "four point nine kilohms, in range" in talk.hear("the second")


def test_nothing_dangles_where_no_step_is_open(talk: Talk) -> None:
    talk.hear("nine volts")
    said = [talk.hear("blah five") for _ in range(5)]
    assert said[:2] == ["Say again?", "When the repair is done, say repair done. "
                        "To stop here, say finish."]  # fmt: skip
    assert all(said.count(text) <= 2 for text in said if text)


# What can be asked


def ask(talk: Talk, name: str) -> str:
    """The answer to a command, whatever it is called in a language."""
    step = talk.dialogue.desk.step(talk.session)
    assert step is None or step.id == talk.session.step
    turn = obey(talk.dialogue.desk, talk.session, Command(name), unsure=False)
    assert turn.session == talk.session
    return " ".join(e.text for e in turn.events if isinstance(e, Spoke | Asked))


def test_help_says_what_can_be_said_here(talk: Talk, apprentice: Talk) -> None:
    also = "or say repeat, skip, go back, or strike that."
    assert ask(talk, "help") == f"Say the value in volts, {also}"
    talk.hear("heating up")
    said = ask(talk, "help")
    assert said.startswith("Say battery voltage or ground or open or pulsing or dead, or say")
    assert ask(apprentice, "help").startswith("Say what you expect, or say I don't know.")


def test_help_while_a_question_is_open_puts_it_again(talk: Talk) -> None:
    talk.hear(heard("twelve point six volts", 0.5))
    assert ask(talk, "help").endswith("twelve point six volts. Right?")


def test_the_last_value_is_told(talk: Talk) -> None:
    assert ask(talk, "last") == "No value is taken yet."
    for text in ("twelve six", "point oh two"):
        talk.hear(text)
    assert ask(talk, "last") == "Last: black with yellow stripe, zero point zero two volts."


def test_how_many_tests_are_left(talk: Talk) -> None:
    tests = sum(step.phase == "test" for step in talk.dialogue.desk.plan.steps)
    spell = talk.dialogue.desk.wording.integer
    assert ask(talk, "left") == f"At most {spell(tests)} tests are left."
    talk.hear("twelve six")
    assert ask(talk, "left") == f"At most {spell(tests - 1)} tests are left."
