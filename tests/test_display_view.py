"""The view: what is seen after each event of a session that was typed in."""

from __future__ import annotations

from dataclasses import replace

import pytest
from display_session import SAID, view, view_after, wording

from handsfree.display import Glance, begin, fold
from handsfree.display.colours import WIRE_COLOURS, rgb
from handsfree.events import (
    Asked,
    Event,
    MicrophoneChanged,
    SoundLevel,
    StepOpened,
    Unknown,
    UtteranceHeard,
    VerdictReached,
    VerdictWithdrawn,
)
from handsfree.grammar import Language
from handsfree.meaning import State, Unclear, Understood
from handsfree.plan import Finding, load_plan, shipped


def told(glance: Glance, event: Event) -> Glance:
    return fold(glance, event, wording())


def test_before_the_first_word() -> None:
    first = begin(wording().plan)
    assert first.title == "Flap actuator, five wires"
    assert first.value is None
    assert not first.wires


def test_the_step_its_wire_and_what_it_expects() -> None:
    seen = view_after("point oh two")
    (violet,) = seen.wires
    assert (violet.name, violet.pin, violet.function) == ("violet", "5", "five volt reference")
    assert (seen.number, seen.count) == (3, 18)
    assert (seen.condition, seen.expected) == ("ignition on", "4.8 to 5.2 V")


def test_the_last_value_is_of_the_wire_before() -> None:
    value = view_after("point oh two").value
    assert value
    assert [wire.name for wire in value.wires] == ["black with yellow stripe"]
    assert (value.shown, value.unit, value.verdict, value.mark) == ("0.02", "V", "in range", "pass")


def test_a_stripe_is_a_second_block() -> None:
    (wire,) = view_after("twelve point six volts").wires
    assert wire.look == (rgb("black"), rgb("yellow"))
    assert wire.name == "black with yellow stripe"


def test_a_pair_is_two_wires() -> None:
    seen = view_after("over limit")
    assert [wire.name for wire in seen.wires] == ["violet", "black with yellow stripe"]


def test_out_of_range_says_how_far() -> None:
    value = view_after("point six").value
    assert value
    assert (value.verdict, value.distance, value.mark) == ("low", "by 3.4 V", "fail")


def test_a_struck_value_is_void_and_no_longer_compared_with() -> None:
    seen = view_after("strike that")
    assert seen.value
    assert (seen.value.shown, seen.value.verdict, seen.value.mark) == ("0.61", "struck", "void")
    assert "feedback_cold" not in seen.taken
    assert "battery_voltage" in seen.taken


def test_a_question_shows_its_answers_in_figures_until_it_is_answered() -> None:
    asked = view_after("four nine")
    assert asked.options == ("49 kΩ", "4.9 kΩ")
    assert asked.question.startswith("Is it forty nine")
    answered = view_after("the second")
    assert not answered.question
    assert not answered.options
    assert answered.value
    assert (answered.value.shown, answered.value.unit) == ("4.9", "kΩ")


def test_a_refusal_is_shown_and_a_prompt_only_once() -> None:
    assert "I need ohms" in view_after("four volts").said
    assert view_after("point oh two").said == ""


def test_what_was_heard() -> None:
    seen = view_after("violet four point nine eight")
    assert seen.heard == "violet four point nine eight"
    assert seen.understood
    nothing = Understood(Unclear("nothing was understood"))
    unclear = told(seen, UtteranceHeard(0.0, 1.0, "text", "um", 1.0, (), nothing))
    assert (unclear.heard, unclear.understood) == ("um", False)


def test_pause_and_resume() -> None:
    assert view_after("pause").paused
    assert not view_after("resume").paused


def test_a_caution_stands_while_the_step_is_open() -> None:
    assert view_after("point six").caution == "The flap moves now. Fingers out of the linkage."
    assert view_after("over limit").caution == ""


def test_the_verdict_and_the_end() -> None:
    verdict = view(SAID.index("repair done"))
    assert verdict.part
    assert verdict.part == "not sure"  # a drive wire was dead as well
    assert "winding open" in verdict.prompt
    assert verdict.step == ""
    assert verdict.prompt.endswith("To stop here, say finish.")
    assert verdict.said == ""  # it was all in the prompt
    end = view(len(SAID))
    assert end.finished == "verified"
    assert end.prompt.endswith("The job is verified.")  # a page that is opened now is not empty
    assert end.wires == ()


def test_the_apprentice_is_not_shown_what_to_guess() -> None:
    asked = view(0, apprentice=True)
    assert asked.question == wording().prompt("ask_guess")
    assert asked.expected == ""
    guessed = view(1, apprentice=True)
    assert guessed.expected == "12 to 13 V"


def test_the_level_moves_in_steps_within_its_bounds() -> None:
    seen = view(0)
    assert told(seen, SoundLevel(0.513, turn="listening")).level == 0.5
    assert told(seen, SoundLevel(7.0)).level == 1.0
    assert told(seen, SoundLevel(-1.0)).level == 0.0
    assert told(seen, SoundLevel(0.0, turn="speaking")).turn == "speaking"


def test_a_lost_microphone_is_told_until_it_is_back() -> None:
    lost = told(view(0), MicrophoneChanged("lost", "unplugged"))
    assert (lost.sound, lost.level) == ("lost", None)
    assert told(lost, MicrophoneChanged("back", "")).sound == "on"
    checked = told(lost, MicrophoneChanged("check", "Say: ready."))
    assert checked.said == "Say: ready."


def test_an_unknown_event_changes_nothing() -> None:
    seen = view(len(SAID))
    assert told(seen, Unknown("of a later version", {})) == seen


def test_relative_limits_follow_the_reading_they_refer_to() -> None:
    """0.9 of 12.6 V is 11.34 V, by hand."""
    words = wording()
    plan = words.plan
    step = plan.step("feedback_cold")
    expect = type(step.expect).model_validate({"share_of": "battery_voltage", "low": "90 %"})
    steps = tuple(
        s.model_copy(update={"expect": expect}) if s.id == step.id else s for s in plan.steps
    )
    words = type(words)(words.language, plan.model_copy(update={"steps": steps}))
    before = fold(view(0), StepOpened(step.id, step.condition), words)
    assert before.expected.startswith("a value that depends on battery voltage")
    after = fold(
        replace(before, taken=view_after("twelve point six volts").taken),
        StepOpened(step.id, step.condition),
        words,
    )
    assert after.expected == "at least 11.34 V"


@pytest.mark.parametrize("name", shipped())
def test_every_step_of_every_plan_can_be_shown(name: str, english: Language) -> None:
    plan = load_plan(name).plan
    words = type(wording())(english, plan)
    seen = view(0)
    for step in plan.steps:
        seen = fold(seen, StepOpened(step.id, step.condition), words)
        assert seen.prompt == step.prompt
        assert seen.expected
        assert len(seen.expected) < 80
        for wire in seen.wires:
            assert len(wire.look) == (2 if wire.stripe else 1)


def test_every_colour_of_the_grammar_has_a_look_of_its_own(english: Language) -> None:
    known = {colour.replace("_", " ") for colour in english.colours.values()}
    assert known <= set(WIRE_COLOURS)
    assert len(set(WIRE_COLOURS.values())) == len(WIRE_COLOURS)


def test_the_plain_view_is_json() -> None:
    import json

    for seen in map(view, range(len(SAID))):
        assert json.loads(json.dumps(seen.plain()))["title"] == seen.title


def test_a_withdrawn_verdict_is_no_longer_shown() -> None:
    finding = Finding(part="battery", when={"battery_voltage": "low"}, say="It is weak.")
    closed = told(view(0), VerdictReached(finding))
    assert closed.part == "battery"
    again = told(closed, VerdictWithdrawn())
    assert (again.part, again.prompt) == (None, "")


def test_wires_between_which_is_asked_are_told_apart_by_pin() -> None:
    asked = (State("ground", "2"), State("ground", "5"))
    seen = told(view(0), Asked("Is it pin two, or pin five?", candidates=asked))
    assert seen.options == ("pin 2", "pin 5")
