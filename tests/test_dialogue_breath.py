"""Values of several wires in one breath: each is taken as if it had been said by itself, or asked.

How readings are called across a bench: common practice, no published source.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from test_dialogue import Talk

from handsfree.dialogue import Dialogue, Response, Session
from handsfree.events import (
    Asked,
    Codec,
    Event,
    Question,
    ReadingStruck,
    ReadingTaken,
    Spoke,
    StepOpened,
    UtteranceHeard,
)
from handsfree.grammar import Language
from handsfree.heard import Heard, Hypothesis
from handsfree.meaning import Aside, Several
from handsfree.plan import Plan, load_plan, parse_plan

PLAN = """
title: A sensor and its drive
circuit_class: CLASS
supply: 12 V
connector:
  name: connector
  pins:
    - {number: 1, colour: blue, function: motor feed}
    - {number: 2, colour: brown, function: motor ground}
    - {number: 3, colour: black, function: sensor ground}
    - {number: 4, colour: white, stripe: green, function: feedback}
    - {number: 5, colour: violet, function: reference}
    - {number: 6, colour: pink, function: shield}
conditions: [{id: "on", say: ignition on}, {id: rest, say: all off}]
steps:
  - {id: brown, prompt: "Brown, ignition on.", probe: {red: r, black: b}, why: w, wire: 2,
     condition: "on", measure: {states: [battery, ground, dead]}, expect: {state: ground}}
  - {id: violet, prompt: "Violet, ignition on.", probe: {red: r, black: b}, why: w, wire: 5,
     condition: "on", measure: {quantity: voltage}, expect: {low: 4.8 V, high: 5.2 V}}
  - {id: white, prompt: "White with green stripe, ignition on.", probe: {red: r, black: b}, why: w,
     wire: 4, condition: "on", measure: {quantity: voltage}, expect: {low: 0.5 V, high: 1 V}}
  - {id: blue, prompt: "Blue, all off.", probe: {red: r, black: b}, why: w, wire: 1,
     condition: rest, measure: {quantity: voltage}, expect: {low: 12 V, high: 13 V}}
  - {id: black, prompt: "Black, ignition on.", probe: {red: r, black: b}, why: w, wire: 3,
     condition: "on", caution: Keep clear of the fan., measure: {quantity: voltage},
     expect: {high: 0.1 V}}
  - {id: pink, prompt: "Pink, ignition on.", probe: {red: r, black: pin one}, why: w, wire: 6,
     condition: "on", measure: {quantity: voltage}, expect: {high: 1 V}}
  - {id: draw, prompt: "Current in blue.", probe: {red: r, black: b}, why: w, wire: 1,
     condition: "on", measure: {quantity: current}, expect: {high: 2 A}}
"""
THREE = "brown ground, violet four nine eight, feedback point six"


def plan_of(kind: str = "plain") -> Plan:
    text = PLAN.replace("CLASS", kind)
    return parse_plan(text.replace("steps:", f"cautions: [{kind}]\nsteps:"), "breath.yaml")


@pytest.fixture
def talk(english: Language) -> Talk:
    return Talk(Dialogue(plan_of(), english)).start()


def entries(session: Session) -> list[tuple[str, str, str]]:
    return [(e.step, e.figures, e.verdict.result) for e in session.entries if e.stands]


def spoken(*wordings: tuple[str, float]) -> Heard:
    """As an engine hears it: outside its grammar."""
    return Heard(tuple(Hypothesis(*one) for one in wordings), engine="whisper+moonshine")


def kinds(response: Response) -> list[type[Event]]:
    return [type(event) for event in response.events]


def test_each_is_checked_and_all_are_said_back_in_one_sentence(talk: Talk) -> None:
    said = talk.hear(THREE)
    assert entries(talk.session) == [
        ("brown", "ground", "as expected"),
        ("violet", "4.98 V", "in range"),
        ("white", "0.6 V", "in range"),
    ]
    assert said.startswith(
        "brown ground, violet four point nine eight volts, "
        "white with green stripe zero point six volts: all as expected. "
    )
    assert talk.session.step == "blue", "what follows the last of them"
    assert "Set all off." in said or "all off" in said


def test_the_order_in_which_they_are_said_does_not_matter(talk: Talk) -> None:
    talk.hear("feedback point six and the violet is four nine eight and brown's a ground")
    assert [step for step, _, _ in entries(talk.session)] == ["white", "violet", "brown"]
    assert talk.session.step == "blue"


def test_a_wrong_one_is_told_and_loses_no_other(talk: Talk) -> None:
    said = talk.hear("brown dead, violet four nine eight, feedback four point four")
    assert [result for _, _, result in entries(talk.session)] == ["wrong", "in range", "high"]
    assert "brown dead, not as expected; " in said
    assert "white with green stripe four point four volts, high by three point four volts" in said


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("brown ground, violet four nine eight, white about two", "I log no guesses"),
        ("brown ground, violet four nine eight, white between one and two", "Say one value"),
        ("brown ground, violet four nine eight, white six hundred", "cannot be on this circuit"),
        ("brown ground, violet four nine eight, white two amps", "is not what is measured"),
        ("brown ground, violet four nine eight, white four tree point", "what does it show?"),
    ],
)
def test_what_is_no_value_is_asked_about_by_its_wire_alone(talk: Talk, text: str, why: str) -> None:
    said = talk.hear(text)
    assert [step for step, _, _ in entries(talk.session)] == ["brown", "violet"]
    assert "white with green stripe: " in said
    assert why in said
    assert talk.session.step == "white"
    talk.hear("point six")
    assert entries(talk.session)[-1] == ("white", "0.6 V", "in range")
    assert talk.session.step == "blue"


def test_a_bare_answer_is_of_the_wire_that_was_asked_about(talk: Talk) -> None:
    """Not of the open step, whose own value was not among them."""
    talk.hear("violet four nine eight, white about two")
    assert talk.session.step == "brown"
    talk.hear("point six")
    assert [step for step, _, _ in entries(talk.session)] == ["violet", "white"]
    assert talk.session.step == "brown"


def test_a_number_of_two_forms_is_asked_about_and_the_other_taken(talk: Talk) -> None:
    said = talk.hear("brown ground, violet one two six")
    assert "violet: Is it" in said
    assert [step for step, _, _ in entries(talk.session)] == ["brown"]
    talk.hear("the first")
    assert len(entries(talk.session)) == 2


@pytest.mark.parametrize(
    ("text", "left"),
    [
        ("brown ground, blue twelve", "blue"),  # another condition
        ("brown ground, black point oh two", "black"),  # a caution of its own
        ("brown ground, violet five, violet four nine", "violet"),  # twice
        ("brown ground, pink point five", "pink"),  # against another wire
    ],
)
def test_what_cannot_be_said_with_the_others_is_left_out_by_name(
    talk: Talk, text: str, left: str
) -> None:
    said = talk.hear(text)
    assert [step for step, _, _ in entries(talk.session)] == ["brown"]
    assert f"Not taken: {left}. Say each by itself." in said


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("brown should be a ground and violet should be five", "expected"),
        ("was violet five and white two", "past"),
        ("is it violet five and white two", "asked"),
        ("violet five, white two, right", "asked"),
        ("not violet five, white two", "negated"),
        ("violet five, white two or so", "hedged"),
        ("violet five before, white two", "past"),
    ],
)
def test_a_doubt_about_all_of_it_takes_none(talk: Talk, text: str, kind: str) -> None:
    talk.hear(text)
    (heard,) = talk.did(UtteranceHeard)
    assert isinstance(heard, UtteranceHeard)
    assert heard.understood.meaning == Aside(kind, about=True)  # type: ignore[arg-type]
    assert entries(talk.session) == []


@pytest.mark.parametrize(
    "text",
    [
        "hand me the blue one and the brown one",
        "the blue one and the brown one",
        "if violet five then white two",
        "he says violet five and white two",
        "violet five and next",
        "violet five, white two and skip brown",
        "strike violet five, white two",
        "violet to white five, white to black two",
        "brown to blue, two point eight ohms",
        "brown and violet",
    ],
)
def test_other_talk_of_wires_is_nothing_that_is_logged(talk: Talk, text: str) -> None:
    before = talk.session
    talk.hear(text)
    assert entries(talk.session) == []
    assert talk.session.step == before.step


def test_two_wires_may_share_a_state(talk: Talk) -> None:
    talk.hear("brown and violet are both dead")
    assert [(s, f) for s, f, _ in entries(talk.session)][:1] == [("brown", "dead")]


def test_what_is_announced_is_counted(talk: Talk) -> None:
    talk.hear(f"three readings, {THREE}")
    assert len(entries(talk.session)) == 3


def test_one_too_few_is_asked_about_before_any_is_logged(talk: Talk) -> None:
    said = talk.hear(f"five readings: {THREE}")
    assert "I have three of five." in said
    assert entries(talk.session) == []
    talk.hear("yes")
    assert len(entries(talk.session)) == 3


# As an engine hears it


def test_what_is_heard_is_confirmed_in_one_question(english: Language) -> None:
    dialogue = Dialogue(plan_of(), english)
    session = dialogue.start().session
    asked = dialogue.respond(session, spoken((THREE, 0.0)))
    assert kinds(asked) == [UtteranceHeard, Asked]
    assert isinstance(asked.session.question, Question)
    assert asked.session.question.kind == "several"
    taken = dialogue.respond(asked.session, spoken(("yes", 0.0)))
    assert len(entries(taken.session)) == 3
    assert taken.session.question is None
    assert taken.session.speaker.wrong == 0
    denied = dialogue.respond(asked.session, spoken(("no", 0.0)))
    assert entries(denied.session) == []
    assert denied.session.speaker.wrong == 1


def test_a_list_that_is_said_again_replaces_the_one_asked_about(english: Language) -> None:
    dialogue = Dialogue(plan_of(), english)
    session = dialogue.respond(dialogue.start().session, spoken((THREE, 0.0))).session
    again = THREE.replace("eight", "seven")
    session = dialogue.respond(session, spoken((again, 0.0))).session
    session = dialogue.respond(session, spoken(("yes", 0.0))).session
    assert ("violet", "4.97 V", "in range") in entries(session)


def test_one_that_is_said_again_is_put_right_among_the_others(english: Language) -> None:
    dialogue = Dialogue(plan_of(), english)
    session = dialogue.respond(dialogue.start().session, spoken((THREE, 0.0))).session
    for text in ("violet four nine seven", "violet six hundred volts", "four nine six", "yes"):
        session = dialogue.respond(session, spoken((text, 0.0))).session
    assert [figures for _, figures, _ in entries(session)] == ["ground", "4.97 V", "0.6 V"]


def test_one_that_is_heard_in_two_ways_is_left_out_of_the_question(english: Language) -> None:
    dialogue = Dialogue(plan_of(), english)
    other = THREE.replace("four nine eight", "four nine five")
    asked = dialogue.respond(dialogue.start().session, spoken((THREE, 0.0), (other, -0.5)))
    assert asked.session.question
    assert asked.session.question.steps == ("brown", "white")
    assert "Not taken: violet." in "".join(e.text for e in asked.events if isinstance(e, Asked))
    assert asked.understood
    assert isinstance(asked.understood.meaning, Several)


# Corrections


def test_strike_takes_the_last_that_was_said_and_says_which(talk: Talk) -> None:
    talk.hear(THREE)
    said = talk.hear("scratch that")
    assert "Struck: white with green stripe, zero point six volts." in said
    assert [step for step, _, _ in entries(talk.session)] == ["brown", "violet"]
    talk.hear("scratch that")
    assert [step for step, _, _ in entries(talk.session)] == ["brown"]
    assert talk.session.step == "violet"


def test_a_correction_is_of_the_last_that_was_said(talk: Talk) -> None:
    talk.hear(THREE)
    talk.hear("make that point seven")
    assert entries(talk.session)[-1] == ("white", "0.7 V", "in range")


def test_one_that_was_taken_before_is_replaced_and_that_is_told(talk: Talk) -> None:
    talk.hear("violet five volts")
    said = talk.hear("brown ground, violet four nine eight")
    assert "This replaces violet five volts." in said
    assert entries(talk.session) == [
        ("brown", "ground", "as expected"),
        ("violet", "4.98 V", "in range"),
    ]


# Where one value at a time is taken


@pytest.mark.parametrize("kind", ["airbag", "high_voltage"])
def test_not_on_a_circuit_that_no_ohmmeter_may_touch(english: Language, kind: str) -> None:
    talk = Talk(Dialogue(plan_of(kind), english)).start()
    assert "one value at a time" in talk.hear(THREE)
    assert entries(talk.session) == []


def test_not_with_the_lead_in_the_current_jack(english: Language) -> None:
    dialogue = Dialogue(plan_of(), english)
    session = replace(dialogue.start().session, jack="current")
    response = dialogue.respond(session, Heard.of_text(THREE))
    assert kinds(response) == [UtteranceHeard, Spoke]
    assert response.session.jack == "current"


def test_not_where_an_apprentice_has_to_say_what_to_expect(english: Language) -> None:
    talk = Talk(Dialogue(plan_of(), english, apprentice=True)).start()
    talk.hear(THREE)
    assert entries(talk.session) == []


def test_not_while_something_else_is_asked(talk: Talk) -> None:
    talk.hear("finish")
    assert talk.session.question
    talk.hear("brown ground")
    talk.hear("violet one two six")
    assert talk.session.question
    talk.hear("violet five, white point six")
    assert [step for step, _, _ in entries(talk.session)] == ["brown"]


def test_a_shipped_airbag_plan_takes_one_at_a_time(english: Language) -> None:
    plan = load_plan("airbag-supply").plan
    talk = Talk(Dialogue(plan, english)).start()
    first, second, *_ = plan.connector.pins
    talk.hear(f"{first.function} twelve volts, {second.function} twelve volts")
    assert entries(talk.session) == []


# The log


def test_the_lines_of_a_log_give_the_same_session(english: Language) -> None:
    dialogue, plan = Dialogue(plan_of(), english), plan_of()
    happened: list[Event] = list((begun := dialogue.start()).events)
    session = begun.session
    for one in (spoken((THREE.replace("point six", "about two"), 0.0)), spoken(("yes", 0.0))):
        response = dialogue.respond(session, one)
        session, happened = response.session, [*happened, *response.events]
    assert [type(e) for e in happened].count(ReadingTaken) == 2
    codec, read = Codec(plan), Codec(plan)
    taken: list[Event] = []
    for seq, event in enumerate(happened, 1):
        kind, fields = codec.encode(event)
        codec.wrote(event, seq, "2026-03-02T09:15:00.000000Z", kind, fields)
        taken.append(read.read(seq, "2026-03-02T09:15:00.000000Z", kind, fields).event)
    assert taken == happened
    assert Session.of(taken) == session
    assert StepOpened in map(type, happened)
    assert ReadingStruck not in map(type, happened)


# What a partner at the bench says besides; common practice, no published source


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("same", "Say the value itself."),
        ("still five", "violet, five volts, in range."),
        ("make that four point two", "Corrected."),
        ("what was the last one", "Last: violet, four point nine volts."),
        ("undo", "Struck: violet, four point nine volts."),
        ("how many left", "At most"),
        ("back to the grounds", "Go to black?"),
        ("about four", "I log no guesses. Say what the meter shows."),
        ("between four and five, moving", "Say one value. If it moves, say so in a note."),
        ("flickers", "I need a value in volts here."),
        ("nothing", "I need a value in volts here."),
        ("hardly any volts", "I log no guesses. Say what the meter shows."),
        ("there's supposed to be eight volts but I see three", "violet, three volts. Right?"),
    ],
)
def test_it_is_understood_or_refused_in_words_that_say_what_to_say(
    english: Language, text: str, said: str
) -> None:
    talk = Talk(Dialogue(plan_of(), english)).start()
    for before in ("brown ground", "four point nine volts", "go to violet"):
        talk.hear(before)
    assert talk.session.step == "violet"
    assert said in talk.hear(text)
