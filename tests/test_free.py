"""A job without a plan: wires and conditions come into being when they are named.

What a workshop says at a circuit that nobody has described; values are logged and never judged.
"""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from test_dialogue import Talk

import handsfree.plan
from handsfree.dialogue import Dialogue, Session, Wording
from handsfree.display.showing import Display
from handsfree.events import (
    Codec,
    ConditionSet,
    DifferenceTold,
    Event,
    PlanAmended,
    ReadingTaken,
    WatchEnded,
)
from handsfree.export.sheet_of import sheet_of
from handsfree.grammar import Language, SpokenPlan
from handsfree.heard import Heard, Hypothesis
from handsfree.job import Job
from handsfree.log import JobRecord, Verification, fingerprint, open_job, read, verify
from handsfree.plan import FreePlan, Plan, amended, free_plan, load_text, shipped
from handsfree.plan.derived import Description, is_description
from handsfree.plan.derived.settings import settings
from handsfree.plan.document import read_document
from handsfree.report import render

SHIPPED = Path(handsfree.plan.__file__).parent / "shipped"


@pytest.fixture
def talk(english: Language) -> Talk:
    return Talk(Dialogue(free_plan().plan, english)).start()


def said(talk: Talk, *texts: str) -> str:
    """Say all of these; returns what is said back to the last."""
    for text in texts[:-1]:
        talk.hear(text)
    return talk.hear(texts[-1])


def last(talk: Talk) -> tuple[str, str, str]:
    """Pin, condition and figures of the last value that counts."""
    entry = talk.session.last
    assert entry is not None
    (pin,) = talk.dialogue.at(talk.session).plan.step(entry.step).pins
    return pin, entry.condition, entry.figures


def test_a_wire_is_there_from_the_moment_it_is_named(talk: Talk) -> None:
    assert said(talk, "new wire, brown, pin three") == "brown, pin three."
    assert said(talk, "twelve point one volts") == "brown, twelve point one volts, logged."
    assert last(talk) == ("3", "as_found", "12.1 V")
    said(talk, "new wire white with green stripe pin alpha two")
    assert said(talk, "brown eleven point nine volts").startswith("brown, eleven point nine")
    assert said(talk, "white four point nine eight volts").startswith(
        "white with green stripe, four"
    )
    assert last(talk) == ("A2", "as_found", "4.98 V")


@pytest.mark.parametrize(
    ("label", "pin"),
    [
        ("pin A", "A"),
        ("pin alpha", "A"),
        ("pin november", "N"),
        ("pin twelve", "12"),
        ("terminal eighty five", "85"),
        ("pin one two", "12"),
        ("pin bravo one two", "B12"),
        ("pin three charlie", "3C"),
        ("pin 7", "7"),
        ("pin B4", "B4"),
    ],
)
def test_every_label_of_a_pin_can_be_said(talk: Talk, label: str, pin: str) -> None:
    said(talk, f"new wire violet {label}", "one volt")
    assert last(talk)[0] == pin


def test_a_wire_without_a_pin_gets_a_label(talk: Talk) -> None:
    assert said(talk, "new wire pink") == "pink. I call its place pin W one."
    assert said(talk, "pin whiskey one five volts") == "pink, five volts, logged."


def test_a_condition_comes_into_being_by_its_name(talk: Talk) -> None:
    said(talk, "new wire red pin one")
    assert said(talk, "key on") == "ignition on is set."
    assert [type(e) for e in talk.events[1:3]] == [PlanAmended, ConditionSet]
    said(talk, "five volts", "connector unplugged", "point two ohms")
    assert last(talk) == ("1", "connector_unplugged", "0.2 Ω")
    assert said(talk, "where are we") == "Logged: two. red, connector unplugged. What does it show?"


def data_of(name: str) -> object:
    return read_document((SHIPPED / f"{name}.yaml").read_text(encoding="utf-8")).data


def test_every_condition_of_a_shipped_plan_can_be_named(english: Language) -> None:
    known = {word for say, names in english.conditions.items() for word in (say, *names)}
    texts = (data_of(name) for name in shipped())
    described = [Description.model_validate(data) for data in texts if is_description(data)]
    assert len(described) > 20
    assert not {say for one in described for say in settings(one)} - known
    words = [word for say, names in english.conditions.items() for word in (say, *names)]
    assert len(words) == len(set(words)), "a wording belongs to one condition"


def test_states_and_over_limit_are_logged_too(talk: Talk) -> None:
    said(talk, "new wire red pin one", "over limit")
    assert last(talk)[2] == "over limit"
    assert said(talk, "ground") == "red, ground, logged."
    verdicts = [one.verdict for one in talk.session.entries]
    assert {(v.result, v.outcome, v.passed) for v in verdicts} == {("logged", None, False)}


@pytest.mark.parametrize(
    ("texts", "answer"),
    [
        (["four volts"], "Name a wire: say new wire, its colour, and its pin."),
        (["new wire red pin one", "go to blue"], "Say again?"),
        (
            ["new wire red pin one", "five"],
            "Nothing was read on red yet. Say the value with its unit.",
        ),
        (
            ["new wire red pin one", "five volts", "new wire blue pin two", "five"],
            "Nothing was read on blue yet. Say the value with its unit.",
        ),
        (["new wire red pin one", "new wire blue pin one"], "pin one is red already."),
        (
            ["new wire red pin one", "new wire red pin two"],
            "a second wire, red, pin two. Is that right?",
        ),
        (["new wire red pin one", "five volts", "red is blue"], "red has readings already."),
        (["new wire red pin 12.5"], "Say again?"),
        (["new wire red pin one", "three hundred volts"], "three hundred volts cannot be on this"),
        (["new wire red pin one", "skip"], "There is no plan here, and nothing is expected."),
    ],
)
def test_what_cannot_be_taken_is_answered_with_what_to_say(
    talk: Talk, texts: list[str], answer: str
) -> None:
    assert said(talk, *texts).startswith(answer)
    assert not talk.did(ReadingTaken)


def test_a_wire_that_was_misheard_is_told_again_or_taken_back(talk: Talk) -> None:
    said(talk, "new wire red pin five")
    assert said(talk, "red is at pin nine") == "red, pin nine."
    assert said(talk, "strike that") == "red is taken back."
    said(talk, "new wire red pin one", "five volts")
    assert said(talk, "strike that") == "Struck: red, five volts."


def test_two_wires_of_one_colour_are_told_apart_by_their_pins(talk: Talk) -> None:
    said(talk, "new wire red pin one", "new wire red pin two")
    assert said(talk, "yes") == "red, pin two."
    assert said(talk, "red five volts") == "Is it pin one, or pin two?"
    said(talk, "the first")
    assert last(talk)[0] == "1"
    assert said(talk, "difference of red and pin two").startswith("More than one wire has that")


def test_without_a_unit_it_is_the_last_one_of_the_wire(talk: Talk) -> None:
    said(talk, "new wire red pin one", "eighty five millivolts", "new wire blue pin two")
    said(talk, "four ohms", "red ninety")
    assert last(talk) == ("1", "as_found", "90 mV")
    said(talk, "five ohms")  # the unit that is said counts
    assert last(talk) == ("1", "as_found", "5 Ω")


def test_two_readings_of_one_number_are_asked_about(talk: Talk) -> None:
    """Nothing is expected that could choose between them."""
    said(talk, "new wire red pin one")
    assert said(talk, "four nine ohms") == "Is it forty nine ohms, or four point nine ohms?"
    said(talk, "the second")
    assert last(talk)[2] == "4.9 Ω"


def test_differences_are_told_on_request(talk: Talk) -> None:
    said(talk, "new wire brown pin one", "new wire violet pin two", "key on")
    assert said(talk, "difference of brown and violet").startswith(
        "No number was read on brown with"
    )
    said(talk, "brown twelve point six volts", "violet twelve point four eight volts")
    told = "zero point one two volts."
    assert said(talk, "difference of brown and violet") == f"Difference of brown and violet: {told}"
    assert said(talk, "drop from violet to brown") == (
        "Drop from violet to brown: minus zero point one two volts."
    )
    (event,) = talk.did(DifferenceTold)
    assert isinstance(event, DifferenceTold)
    assert (event.pins, event.difference, event.unit, event.drop) == (("2", "1"), -0.12, "V", True)
    said(talk, "violet over limit", "connector unplugged", "brown two ohms", "violet one volt")
    assert "were not read in one unit" in said(talk, "difference of brown and violet")
    assert said(talk, "difference of brown and brown").startswith("That is brown twice.")


def test_corrections_stay_at_their_wire(talk: Talk) -> None:
    said(talk, "new wire brown pin one", "twelve volts", "new wire violet pin two")
    assert said(talk, "correction, eleven volts") == "Corrected. brown, eleven volts, logged."
    assert said(talk, "correction, eleven ohms") == "brown, eleven ohms, logged."
    assert [e.figures for e in talk.session.entries if e.stands] == ["11 Ω"]


def test_a_wire_is_watched_as_in_a_planned_job(talk: Talk) -> None:
    said(talk, "new wire brown pin one", "five volts")
    assert said(talk, "keep an eye on brown").startswith("Watching brown.")
    assert said(talk, "drops to two point one") == "drop, two point one volts."
    assert said(talk, "key on") == "ignition on is set."  # a condition that is new, within a watch
    assert said(talk, "end of watch").startswith("Watch on brown ended: one excursion")
    assert talk.did(WatchEnded)
    said(talk, "ground")
    assert said(talk, "watch this").startswith("Watching brown.")


def test_the_meter_is_checked_first_if_that_is_wanted(english: Language) -> None:
    talk = Talk(Dialogue(free_plan().plan, english, self_check=True)).start()
    said(talk, "point two ohms")
    assert said(talk, "twelve point six volts").endswith("its colour, and its pin.")
    said(talk, "new wire brown pin one", "one point five ohms")
    assert last(talk)[2] == "1.3 Ω (1.5 Ω minus leads 0.2 Ω)"


def test_after_a_current_the_lead_goes_back_first(talk: Talk) -> None:
    said(talk, "new wire brown pin one")
    assert said(talk, "two amps").endswith("then say, lead is back in volts.")
    assert said(talk, "zero volts").endswith("Was the lead back in the volts jack? Say yes or no.")


def test_the_names_are_put_into_a_grammar_that_stays(english: Language) -> None:
    """The filled grammar has the sentences, and the tags, of one that is made as a whole."""
    plan: Plan = free_plan().plan
    for number, colour in enumerate(("brown", "white/green", "violet", "violet")):
        plan = amended(plan, {"wires": [{"pin": f"{number}", "colour": colour}]})
    spoken, rng = SpokenPlan(english, plan), random.Random(4)
    slots = spoken.slots(None, written=False)
    whole, quick = english.automaton("listening", slots), spoken.automaton(None)
    for one, other in ((whole, quick), (quick, whole)):
        for _ in range(300):
            words = one.sample(rng)
            assert set(one.parses(words)) == set(other.parses(words)), words


# The job of it

LINES = (
    "new wire brown pin three", "key on", "twelve point one volts",
    "new wire white with green stripe pin alpha two", "four point nine eight volts",
    "difference of brown and white", "connector unplugged", "brown point two ohms",
    "white over limit",
    "keep an eye on white", "drops out", "end of watch", "note the loom is wet", "white ground",
)  # fmt: skip


def dictated(folder: Path, lines: tuple[str, ...], english: Language) -> None:
    """A free job, or more of one; it is left as it stands."""
    loaded = free_plan()
    with open_job(folder, loaded.text.encode(), title=loaded.plan.title) as log:
        job = Job(Dialogue(loaded.plan, english), log, lambda _: None, lambda _: None)
        job.begin()
        for line in lines:
            job.hear(Heard.of_text(line), None, "keyboard", "keyboard")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory, english: Language) -> Path:
    """One that was left in the middle, and gone on with."""
    folder = tmp_path_factory.mktemp("jobs") / "free"
    dictated(folder, LINES[:7], english)
    dictated(folder, LINES[7:], english)
    return folder


def test_the_folder_of_a_free_job_reads_alone(folder: Path, english: Language) -> None:
    record = JobRecord.read(folder)
    assert not verify(folder).problems
    assert isinstance(record.plan, FreePlan)
    assert [(pin.wire, pin.number) for pin in record.plan.connector.pins] == [
        ("brown", "3"),
        ("white/green", "A2"),
    ]
    values = [(r.wire, r.entry.condition, r.entry.figures) for r in record.readings.standing]
    assert values == [
        ("brown", "ignition_on", "12.1 V"),
        ("white/green", "ignition_on", "4.98 V"),
        ("brown", "connector_unplugged", "0.2 Ω"),
        ("white/green", "connector_unplugged", "over limit"),
        ("white/green", "connector_unplugged", "ground"),
    ]


def test_its_report_judges_nothing(folder: Path) -> None:
    record, lines = JobRecord.read(folder), read(folder)
    check = Verification("open", len(lines), fingerprint(lines[-1]), (), ())
    page = render(record, check, lambda _: b"")
    assert "5 readings on 2 wires under 2 conditions" in page
    assert "7.12 V" in page  # the difference
    assert "drop out" in page
    assert "✗" not in page
    assert "in range" not in page
    assert 'class="pass"' not in page


def test_a_plan_is_made_of_it_that_can_be_dictated(folder: Path, english: Language) -> None:
    text = sheet_of(JobRecord.read(folder))
    made = load_text(text, "made.yaml").plan
    assert not isinstance(made, FreePlan)
    assert {step.source for step in made.steps} == {
        f"readings of job free, {JobRecord.read(folder).began[:10]}"
    }
    talk = Talk(Dialogue(made, english)).start()
    answers = ("twelve point two volts", "five volts", "point two ohms", "over limit", "ground")
    replies = [talk.hear(answer) for answer in answers]
    assert [e.verdict.passed for e in talk.session.entries] == [True] * 5, replies
    assert talk.session.phase == "finished"


def test_a_plan_of_twelve_readings_has_forty_lines_at_most(
    tmp_path: Path, english: Language
) -> None:
    wires = ("red", "blue", "violet", "white with green stripe", "black with yellow stripe")
    lines = [f"new wire {wire} pin {n}" for n, wire in enumerate(wires, 1)]
    for condition in ("key on", "connector unplugged", "engine running"):
        lines += [condition, *(f"pin {n} five volts" for n in range(1, 5))]
    dictated(tmp_path / "job", tuple(lines), english)
    text = sheet_of(JobRecord.read(tmp_path / "job"))
    assert len(load_text(text, "made.yaml").plan.steps) == 12
    assert len(text.splitlines()) <= 40


def test_a_wire_that_may_be_meant_is_asked_about_by_name(talk: Talk) -> None:
    said(talk, "new wire brown pin one", "new wire violet pin two", "brown five volts")
    rivals = (Hypothesis("four point nine volts", -0.1), Hypothesis("violet four point nine volts"))
    assert talk.hear(Heard(rivals)) == "Is it pin two, or pin one?"
    assert said(talk, "violet") == "violet, four point nine volts, logged."


def test_a_condition_that_was_missed_is_asked_for_again(talk: Talk) -> None:
    said(talk, "new wire brown pin one")
    assert said(talk, "connector and plugged") == "Is connector unplugged set?"
    assert said(talk, "did you see the match last night") == ""


def test_two_wires_are_named_in_one_breath(talk: Talk) -> None:
    told = "new wire brown pin three and new wire violet pin alpha two"
    assert said(talk, told) == "brown, pin three. violet, pin A two."
    said(talk, "brown five volts")
    assert last(talk)[0] == "3"


def test_a_screen_shows_no_judgement(folder: Path, english: Language) -> None:
    display = Display(Wording(english, free_plan().plan), lambda _: None)
    for logged in JobRecord.read(folder).events:
        display.tell(logged)
        assert display.glance.value is None or display.glance.value.mark == "none"
    glance = display.glance
    assert glance.value is not None
    assert [wire.name for wire in glance.wires] == ["white with green stripe"]
    assert (glance.value.verdict, glance.condition) == ("logged", "connector unplugged")
    assert (glance.number, glance.expected) == (0, "")


def test_whatever_is_said_the_log_reads_back(english: Language) -> None:
    """Sentences of the grammar by chance, and what comes of them written and read."""
    plan, rng = free_plan().plan, random.Random(12)
    dialogue, writes, reads = Dialogue(plan, english), Codec(plan), Codec(plan)
    session, events = Session(), list[Event]()
    names = ("new wire brown pin three", "new wire brown pin four", "new wire white", "yes", "no")
    for _ in range(50):
        desk = dialogue.at(session)
        grammar = desk.spoken.automaton(desk.focus(session), session.moment)
        words = " ".join(word for word in grammar.sample(rng) if not word.startswith("<"))
        text = rng.choice(names) if rng.random() < 0.15 else words
        response = dialogue.respond(session, Heard.of_text(text))
        session = response.session
        for event in response.events:
            kind, line = writes.encode(event)
            writes.wrote(event, len(events) + 1, "", kind, line)
            assert reads.read(len(events) + 1, "", kind, line).event == event, text
            events.append(event)
    assert Session.of(events) == session
    assert session.entries


def test_an_answer_is_of_the_wire_that_was_asked_about(talk: Talk) -> None:
    said(talk, "new wire brown pin one", "twelve volts", "new wire violet pin two")
    assert said(talk, "correction") == "What is the right value for brown?"
    assert said(talk, "eleven volts") == "Corrected. brown, eleven volts, logged."
    assert said(talk, "violet four nine ohms").startswith("Is it forty nine ohms")
    assert said(talk, "four point nine ohms") == "violet, four point nine ohms, logged."


def test_the_least_that_was_shown_is_logged_as_that(talk: Talk) -> None:
    said(talk, "new wire red pin one")
    assert said(talk, "minimum nine point six volts") == (
        "red, minimum nine point six volts, logged."
    )


def test_an_apprentice_has_nothing_to_guess(english: Language) -> None:
    talk = Talk(Dialogue(free_plan().plan, english, apprentice=True)).start()
    said(talk, "new wire red pin one", "five volts")
    assert said(talk, "six volts") == "red, six volts, logged."
    assert said(talk, "say again") == "red, as found. What does it show?"


def test_a_wire_is_watched_before_it_was_read(talk: Talk) -> None:
    said(talk, "new wire red pin one", "watch red")
    assert said(talk, "drops to two point one volts") == "drop, two point one volts."
    assert said(talk, "end of watch").startswith("Watch on red ended: one excursion")


@pytest.mark.parametrize(
    "change",
    [
        {"wires": 5},
        {"wires": [{"colour": "red", "pin": "no pin"}]},
        {"wires": [{"colour": "red", "pin": "1"}, {"colour": "blue", "pin": "1"}]},
        {"tests": [{"pin": "9", "condition": "as found"}]},
        {"conditions": [{"say": "as found"}]},
        {"without": ["7"]},
        {"reference": "8 V"},
    ],
)
def test_a_log_that_tells_what_cannot_be_is_not_believed(change: dict[str, object]) -> None:
    with pytest.raises(ValueError, match=r"."):
        Codec(free_plan().plan).read(1, "", "plan", {"change": change})
