"""The dialogue as a technician would meet it, typed instead of spoken."""

from __future__ import annotations

from dataclasses import dataclass, field

import pytest

from handsfree.dialogue import Dialogue, Session
from handsfree.dialogue.moving import open_step
from handsfree.events import (
    Asked,
    Event,
    JobFinished,
    Noted,
    ReadingStruck,
    ReadingTaken,
    Spoke,
    StepOpened,
    UtteranceHeard,
    VerdictReached,
)
from handsfree.grammar import Language
from handsfree.heard import Heard, Hypothesis
from handsfree.languages import load_language
from handsfree.plan import Plan, load_plan


@dataclass
class Talk:
    """Speaks to a dialogue and keeps what comes back."""

    dialogue: Dialogue
    session: Session = field(default_factory=Session)
    events: tuple[Event, ...] = ()

    def start(self) -> Talk:
        response = self.dialogue.start()
        self.session, self.events = response.session, response.events
        return self

    def hear(self, heard: Heard | str) -> str:
        """Say something; returns what is said back."""
        heard = Heard.of_text(heard) if isinstance(heard, str) else heard
        response = self.dialogue.respond(self.session, heard)
        self.session, self.events = response.session, response.events
        return " ".join(e.text for e in self.events if isinstance(e, Spoke | Asked))

    def did(self, kind: type[Event]) -> list[Event]:
        return [e for e in self.events if isinstance(e, kind)]


@pytest.fixture
def talk(flap: Plan, english: Language) -> Talk:
    return Talk(Dialogue(flap, english)).start()


def to_winding(talk: Talk) -> None:
    """Answer every step before the motor winding."""
    for text in (
        "twelve point six volts",
        "point oh two",
        "four point nine eight",
        "point six",
        "point six",
        "battery voltage",
        "ground",
        "ground",
        "battery voltage",
    ):
        talk.hear(text)
    assert talk.session.step == "motor_winding"


def test_it_begins_with_title_cautions_and_the_first_step(talk: Talk) -> None:
    (said,) = talk.did(Spoke)
    assert isinstance(said, Spoke)
    assert said.text.startswith("Flap actuator, five wires.")
    assert "Keep fingers out of the linkage." in said.text
    assert "Expect twelve volts to thirteen volts" in said.text
    assert talk.did(StepOpened) == [
        StepOpened("battery_voltage", "at_rest", phase="test", setups=())
    ]


def test_a_caution_that_condition_and_step_share_is_told_once() -> None:
    dialogue = Dialogue(load_plan("window-motor").plan, load_language("en"))
    step = dialogue.desk.plan.step("rises")
    said = open_step(dialogue.desk, Session(), step, "next").events[-1]
    assert isinstance(said, Spoke)
    assert said.text.count("Hands out of the door.") == 1
    assert "The glass moves." in said.text


def test_a_value_is_recorded_before_it_is_read_back_with_the_next_step(talk: Talk) -> None:
    said = talk.hear("twelve point six volts")
    assert [type(e) for e in talk.events] == [UtteranceHeard, ReadingTaken, StepOpened, Spoke]
    assert said.startswith("twelve point six volts, in range. Next: Black with")


def test_wire_value_verdict_and_next_step_are_said(talk: Talk) -> None:
    talk.hear("twelve six")
    assert "black with yellow stripe, zero point zero two volts, in range." in talk.hear(
        "black with yellow stripe point oh two volts"
    )


def test_a_failing_value_tells_the_distance(talk: Talk) -> None:
    assert "low by two volts" in talk.hear("ten volts")


def test_wrong_unit_is_refused_with_what_is_expected(talk: Talk) -> None:
    to_winding(talk)
    said = talk.hear("four volts")
    assert said.startswith("four volts is not what is measured here. I need ohms. Expect twenty")
    assert not talk.did(ReadingTaken)


def test_an_absurd_value_is_asked_back_and_not_logged(talk: Talk) -> None:
    said = talk.hear("twelve hundred volts")
    assert said == ("one two zero zero volts cannot be on this circuit. What does the meter show?")
    assert not talk.did(ReadingTaken)
    assert "in range" in talk.hear("twelve point two volts")


def test_two_readings_with_different_verdicts_are_asked(talk: Talk) -> None:
    to_winding(talk)
    talk.hear("thirty one ohms")
    assert talk.hear("four nine") == "Is it forty nine kilohms, or four point nine kilohms?"
    assert not talk.did(ReadingTaken)
    assert "four point nine kilohms, in range" in talk.hear("the second")


def test_the_question_can_be_answered_with_the_value(talk: Talk) -> None:
    to_winding(talk)
    talk.hear("thirty one ohms")
    talk.hear("four nine")
    assert "four point nine kilohms, in range" in talk.hear("four point nine")


def test_a_question_is_put_in_other_words_and_then_dropped(talk: Talk) -> None:
    to_winding(talk)
    talk.hear("thirty one ohms")
    first = talk.hear("four nine")
    second, third = talk.hear("blah five"), talk.hear("blah five")
    assert first != second
    assert [first, second, third].count(first) <= 2
    assert talk.hear("blah five").startswith("I leave that out.")
    assert talk.session.question is None


def test_unclear_speech_is_never_answered_often_in_the_same_words(talk: Talk) -> None:
    answers = [talk.hear("blah five") for _ in range(6)]
    assert answers[0] == "Say again?"
    assert all(answers.count(answer) <= 2 for answer in answers if answer)
    assert answers[-1] == ""


def test_the_last_value_is_corrected_and_nothing_is_deleted(talk: Talk) -> None:
    talk.hear("twelve point six volts")
    said = talk.hear("correction twelve point three")
    assert said.startswith("Corrected. twelve point three volts, in range. Back to: Black")
    (first, second) = talk.session.entries
    assert (first.stands, second.stands, second.supersedes) == (False, True, 1)
    assert talk.session.step == "sensor_ground"


def test_a_correction_may_come_in_two_breaths(talk: Talk) -> None:
    talk.hear("twelve point six volts")
    assert talk.hear("correct that").startswith("What is the right value")
    assert talk.hear("twelve point four volts").startswith("Corrected. twelve point four volts")
    assert talk.session.standing["battery_voltage"].number == 2


def test_the_last_value_is_struck_and_its_step_is_open_again(talk: Talk) -> None:
    talk.hear("twelve point six volts")
    said = talk.hear("strike that")
    assert said.startswith("Struck: battery voltage, twelve point six volts. ")
    assert talk.did(ReadingStruck)
    assert talk.session.step == "battery_voltage"
    assert talk.session.standing == {}
    assert talk.hear("strike that") == "There is no value to strike."


def test_correct_without_a_value(talk: Talk) -> None:
    assert talk.hear("correct that") == "There is no value to correct."


def test_a_repaired_name_is_said(talk: Talk) -> None:
    talk.hear("twelve six")
    talk.hear("point oh two")
    said = talk.hear("violent four point nine eight volts")
    assert said.startswith("I took violent as violet. violet, four point nine eight volts")


def test_a_number_is_never_repaired(talk: Talk) -> None:
    assert "Say again" in talk.hear("violet fourtene point nine volts")
    assert not talk.did(ReadingTaken)


def test_another_wire_goes_to_its_own_step_and_comes_back(talk: Talk) -> None:
    talk.hear("twelve six")
    said = talk.hear("violet four point nine five volts")
    assert "violet, four point nine five volts, in range. Back to: Black with" in said
    assert talk.session.step == "sensor_ground"


def test_a_wire_with_no_step_under_this_condition_is_refused(talk: Talk) -> None:
    assert talk.hear("violet four point nine volts").startswith("No open test is on violet.")


def test_conditions(talk: Talk) -> None:
    assert talk.hear("everything off").startswith("everything off is set.")
    assert "Next: White with green stripe, full cold." in talk.hear("full cold")
    assert talk.session.step == "feedback_cold"
    assert talk.hear("both ends off").startswith("Next:")


def test_questions_about_the_step(talk: Talk) -> None:
    assert talk.hear("what is expected") == "Expect twelve volts to thirteen volts."
    assert talk.hear("how do i probe it").startswith("Red lead: battery positive post.")
    assert talk.hear("why this test") == "Every voltage below is judged against a healthy battery."
    assert talk.hear("where are we").startswith("Step 1 of")
    assert talk.hear("say again").startswith("Again: Battery posts")


def test_skip_next_and_back(talk: Talk) -> None:
    assert talk.hear("go back") == "There is no earlier step."
    assert talk.hear("skip").startswith("Skipped. Next: Black")
    assert talk.session.outcomes == {"battery_voltage": "skipped"}
    talk.hear("next")
    assert talk.session.step == "reference"
    talk.hear("go back")
    assert talk.session.step == "sensor_ground"


def test_taking_a_step_again_supersedes(talk: Talk) -> None:
    talk.hear("twelve six")
    talk.hear("go back")
    talk.hear("twelve four")
    assert [e.stands for e in talk.session.entries] == [False, True]


def test_pause_and_resume(talk: Talk) -> None:
    assert talk.hear("hold on") == "Paused. Say resume when you are ready."
    assert talk.hear("twelve point six volts") == ""
    assert talk.session.entries == ()
    assert talk.hear("wake up").startswith("Listening.")
    assert "in range" in talk.hear("twelve point six volts")


def test_a_note_keeps_its_text_as_unverified(talk: Talk) -> None:
    assert talk.hear("note the seal is torn") == "Noted."
    assert talk.did(Noted) == [Noted("the seal is torn")]


def test_a_number_where_no_unit_is_measured(talk: Talk) -> None:
    to_winding(talk)
    for text in ("over limit", "five k", "one point two k"):
        talk.hear(text)
    assert talk.session.step == "shaft_turns"
    assert talk.hear("twelve six") == "Say it turns or only noise or nothing."


def test_the_whole_job_to_a_verified_repair(talk: Talk) -> None:
    to_winding(talk)
    for text in ("over limit", "five k", "one point two k", "nothing"):
        talk.hear(text)
    said = talk.hear("yes")
    (verdict,) = talk.did(VerdictReached)
    assert isinstance(verdict, VerdictReached)
    assert verdict.finding is not None
    assert verdict.finding.part == "actuator motor, open winding"
    assert "When the repair is done, say repair done." in said
    talk.hear("repair done")
    for text in ("point six one", "two point five", "four point four", "yes", "yes"):
        talk.hear(text)
    assert talk.hear("no").endswith("The job is verified.")
    assert talk.did(JobFinished) == [JobFinished("verified")]
    assert talk.hear("twelve six") == ""


def test_finishing_early_says_what_is_missing(talk: Talk) -> None:
    talk.hear("twelve six")
    assert talk.hear("finish") == "Finish the job? Say yes or no."
    assert not talk.did(JobFinished)
    talk.hear("yes")
    (end,) = talk.did(JobFinished)
    assert isinstance(end, JobFinished)
    assert end.status == "not verified"
    assert "sweep_cold" in end.missing


def test_a_failed_test_after_the_repair_is_not_verified(talk: Talk) -> None:
    to_winding(talk)
    for text in ("over limit", "five k", "one point two k", "it turns", "yes", "repair done"):
        talk.hear(text)
    for text in ("point six one", "two point five", "two point four", "yes", "yes"):
        talk.hear(text)
    assert talk.hear("no").endswith("Finished. Not verified: sweep hot did not pass.")


def test_repair_done_before_a_verdict(talk: Talk) -> None:
    assert talk.hear("repair done").startswith("There is no verdict yet.")


def test_an_engine_that_is_not_trusted_with_numbers_is_confirmed(talk: Talk) -> None:
    heard = Heard((Hypothesis("twelve point six volts"),), numbers_trusted=False)
    assert talk.hear(heard).endswith("twelve point six volts. Right?")
    assert not talk.did(ReadingTaken)
    assert talk.hear("no") == "Say it again."
    talk.hear(heard)
    assert "in range" in talk.hear("yes")


def test_two_hypotheses_that_differ_are_asked(talk: Talk) -> None:
    to_winding(talk)
    close = (Hypothesis("fifty ohms", -1.0), Hypothesis("fifteen ohms", -1.2))
    assert talk.hear(Heard(close)) == "Is it fifty ohms, or fifteen ohms?"
    assert "fifteen ohms, low by ten ohms" in talk.hear("fifteen ohms")


def test_a_clear_winner_is_not_asked(talk: Talk) -> None:
    to_winding(talk)
    clear = (Hypothesis("fifty ohms", -1.0), Hypothesis("fifteen ohms", -9.0))
    assert "in range" in talk.hear(Heard(clear))


def test_the_apprentice_is_asked_what_to_expect(flap: Plan, english: Language) -> None:
    talk = Talk(Dialogue(flap, english, apprentice=True)).start()
    (said,) = talk.did(Spoke)
    assert isinstance(said, Spoke)
    assert said.text.endswith("What do you expect?")
    assert "Expect twelve" not in said.text
    assert talk.hear("twelve point four volts").startswith("Right. Expect twelve volts")
    assert talk.session.entries == ()  # a guess is no reading
    assert talk.hear("twelve point six volts").endswith("What do you expect?")
    assert talk.hear("five volts").startswith("No. Expect minus zero point one")
    talk.hear("point oh two")
    assert talk.hear("i don't know").startswith("Expect four point eight volts")
    talk.hear("finish")
    assert talk.hear("yes").endswith(
        "You knew one of three. Practise: black with yellow stripe, violet."
    )
    lessons = [g.right for g in talk.session.guesses]
    assert lessons == [True, False, False]


def test_the_apprentice_may_guess_a_state_or_an_answer(flap: Plan, english: Language) -> None:
    talk = Talk(Dialogue(flap, english, apprentice=True)).start()
    talk.hear("no idea")
    talk.hear("heating up")
    assert talk.hear("battery voltage").startswith("Right.")
    assert "blue with red stripe, battery voltage, as expected" in talk.hear("battery voltage")


def test_the_apprentice_hears_how_and_why(flap: Plan, english: Language) -> None:
    talk = Talk(Dialogue(flap, english, apprentice=True)).start()
    (said,) = talk.did(Spoke)
    assert isinstance(said, Spoke)
    assert "Red lead: battery positive post." in said.text
    assert "Why: Every voltage below" in said.text


def test_no_ohmmeter_is_prompted_on_an_airbag_circuit(flap: Plan, english: Language) -> None:
    """The loader refuses such a plan; the dialogue would not prompt it either."""
    talk = Talk(Dialogue(flap.model_copy(update={"circuit_class": "airbag"}), english)).start()
    to_winding_prompts = [talk.hear(t) for t in ("twelve six", "point oh two", "five volts")]
    assert to_winding_prompts
    for text in ("point six", "point six", "battery voltage", "ground", "ground"):
        talk.hear(text)
    said = talk.hear("battery voltage")
    assert "I will not prompt a resistance test on this circuit." in said
    assert talk.session.step == "shaft_turns"
