"""A job that is taken up again is the job that was left: in every field, wherever it was cut.

The events of a dialogue are written as lines of a log, read again and replayed.  The dialogues
talk about ten shipped plans, in both orders, with an apprentice and without.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from plan_sample import sample

from handsfree.diagnosis import Diagnosis
from handsfree.dialogue import Dialogue, Session
from handsfree.events import Codec, Event, Logged
from handsfree.grammar import Parser, SpokenPlan
from handsfree.grammar.jsgf import Expansion
from handsfree.grammar.moment import Moment, _option, choice
from handsfree.heard import TYPED, Heard
from handsfree.languages import load_language
from handsfree.log.chain import NOTHING, decode, encode
from handsfree.plan import Plan, Step, load_plan

SEQUENCES = 51
"""Of each of ten plans, two orders, apprentice or not: 2,040 in all."""
LONGEST = 8
"""Utterances in a sequence, before the first of which the job may be cut, and after the last."""
FAR = 30
"""Values that were taken before it, at most: enough to come to the tests after the repair."""
TIME = "2026-03-02T09:15:00.000000Z"

Told = tuple[Session, tuple[Event, ...]]

#: What may be said of any step, and what nobody understands.
SAID = [
    *("skip", "next", "go back", "say again", "where are we", "what is expected", "mumble"),
    *("correct that", "correction twelve six", "strike that", "yes", "no", "the second", "first"),
    *("hold on", "wake up", "repair done", "finish", "note the seal is torn", "i don't know"),
    *("four nine", "two fifty", "over limit", "twelve hundred volts", "four volts", "point oh two"),
    *("about four volts", "not ground", "it should be five volts", "maybe", "the same"),
    *("five k", "ground", "battery voltage", "dead", "twelve point six volts", "nought"),
]


#: The second of two values in one breath: clear, vague, of two forms, of another kind.
IN_A_BREATH = ("ground", "about four volts", "one two six", "five amps", "five volts or so")


@cache
def plan_of(name: str) -> Plan:
    return load_plan(name).plan


class SpokenAnywhere(SpokenPlan):
    """One grammar for all steps of a plan: making one for each takes most of the time."""

    def slots(self, step: Step | None, *, written: bool) -> dict[str, Expansion]:
        options = {o.value: o for s in self.plan.steps for o in s.measure.options or ()}
        told = choice(_option(self.language, option) for option in options.values())
        return {**super().slots(None, written=written), "option": told}

    def parser(self, step: Step | None, moment: Moment = "listening") -> Parser:
        return super().parser(None, moment)

    def gist(self, step: Step | None, moment: Moment = "listening") -> Parser | None:
        return super().gist(None, moment)


@cache
def spoken(name: str) -> SpokenPlan:
    return SpokenAnywhere(load_language(plan_of(name).language), plan_of(name))


@cache
def diagnosis(name: str) -> Diagnosis | None:
    """A coarse one: what it says is tested elsewhere."""
    circuit = plan_of(name).circuit
    return circuit and Diagnosis.of(circuit, plan_of(name).meter, pairs=2, samples=8)


@cache
def dialogue(name: str, informed: bool, apprentice: bool) -> Dialogue:
    """One that shares with the others of its plan what is slow to make."""
    language = load_language(plan_of(name).language)
    made = Dialogue(plan_of(name), language, informed=informed, apprentice=apprentice)
    made.desk = replace(made.desk, spoken=spoken(name))
    made.desk.__dict__["diagnosis"] = diagnosis(name)
    return made


def right(name: str, step: Step | None) -> str:
    """A text with a value that the step wants, as far as it wants one."""
    if step is None:
        return "yes"
    wording = dialogue(name, False, False).desk.wording
    expect, measure = step.expect, step.measure
    if expect.states or expect.answers:
        return wording.state(expect.states[0]) if expect.states else expect.answers[0]
    limits = [limit for limit in (expect.low, expect.high, expect.nominal) if limit is not None]
    if expect.over_limit or not limits or expect.refers_to:
        return "over limit" if measure.quantity else "yes"
    low, high = limits[0], limits[-1]
    return wording.quantity((low + (high - low) / 2) if low.units == high.units else low)


@cache
def far(
    name: str, informed: bool, apprentice: bool, count: int
) -> tuple[Session, tuple[Event, ...]]:
    """The session after so many values that the steps want, the repair among them; its events."""
    talk = dialogue(name, informed, apprentice)
    if count == 0:
        response = talk.start()
        return response.session, response.events
    session, events = far(name, informed, apprentice, count - 1)
    waits = session.phase == "verdict" and session.step is None
    text = "repair done" if waits else right(name, talk.desk.focus(session))
    response = talk.respond(session, Heard.of_text(text))
    if response.session.phase == "finished":  # and nothing more happens
        return session, events
    return response.session, (*events, *response.events)


@dataclass
class Left:
    """A job as it was left: its lines, and where it stood."""

    plan: Plan
    codec: Codec
    lines: list[bytes]
    session: Session

    def write(self, event: Event) -> None:
        last = decode(self.lines[-1]).digest if self.lines else NOTHING
        kind, fields = self.codec.encode(event)
        seq = len(self.lines) + 1
        self.lines.append(encode(seq, TIME, kind, fields, last))
        self.codec.wrote(event, seq, TIME, kind, fields)

    def taken_up(self) -> list[Logged]:
        """The events, read from the lines alone."""
        codec = Codec(self.plan)
        lines = map(decode, self.lines)
        return [codec.read(line.seq, line.time, line.kind, line.fields) for line in lines]


def test_thousands_of_cuts() -> None:
    assert len(sample()) * 4 * SEQUENCES >= 2000


@pytest.mark.parametrize("apprentice", [False, True], ids=["alone", "apprentice"])
@pytest.mark.parametrize("informed", [False, True], ids=["plan", "informed"])
@pytest.mark.parametrize("name", sample())
def test_a_job_taken_up_is_the_job_that_was_left(
    name: str, informed: bool, apprentice: bool
) -> None:
    talk = dialogue(name, informed, apprentice)
    wires = [pin.function for pin in plan_of(name).connector.pins]
    texts = [
        *SAID,
        *(f"go to {wire}" for wire in wires),
        *(
            f"{one} four volts, {two} {value}"
            for one, two in pairwise(wires)
            for value in IN_A_BREATH
        ),
        *(c.say for c in plan_of(name).conditions),
    ]
    utterance = st.tuples(st.sampled_from([*["right"] * 30, *texts]), st.booleans())

    def hear(session: Session, said: tuple[str, bool]) -> Heard:
        text, trusted = said
        if text == "right":
            return Heard.of_text(right(name, talk.desk.focus(session)))
        engine = TYPED if trusted else "an engine"  # what is heard is confirmed
        return replace(Heard.of_text(text), numbers_trusted=trusted, engine=engine)

    @settings(max_examples=SEQUENCES, deadline=None, database=None, derandomize=True)
    @given(st.integers(0, FAR), st.lists(utterance, max_size=LONGEST), st.integers(0, LONGEST))
    def resumed(count: int, said: list[tuple[str, bool]], cut: int) -> None:
        session, happened = far(name, informed, apprentice, count)
        for one in said[:cut]:
            response = talk.respond(session, hear(session, one))
            session, happened = response.session, (*happened, *response.events)
        left = Left(plan_of(name), Codec(plan_of(name)), [], session)
        for event in happened:
            left.write(event)
        taken = left.taken_up()
        assert tuple(logged.event for logged in taken) == happened
        again = Session.of(logged.event for logged in taken)
        assert again == left.session
        told = talk.resume(again)
        assert told.session == again
        assert told.events or again.phase == "finished"
        live = left.session
        for one in said[cut:]:
            ours, theirs = (talk.respond(s, hear(s, one)) for s in (live, told.session))
            assert ours.events == theirs.events
            assert ours.session == theirs.session
            live = ours.session
            told = theirs

    resumed()
