"""Phrases to be spoken: sampled from the grammar over ten shipped plans, each with its meaning.

A phrase belongs to a scene: a plan, an open step, and what was said before.  What it ought to
do is what the dialogue does with its exact text, so that the bench needs no second opinion.
The kinds of phrase come in blocks of fixed shares and the plans in turn: every beginning of
the list is a stratified sample of it.
"""

from __future__ import annotations

import random
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import cache, lru_cache
from itertools import islice
from pathlib import Path
from typing import Literal

from handsfree.dialogue import Dialogue, Session
from handsfree.events import Asked, Question, ReadingTaken
from handsfree.grammar import Automaton, Language
from handsfree.grammar.language import UNIT_RULES
from handsfree.grammar.moment import wire_names
from handsfree.heard import Heard
from handsfree.languages import load_language
from handsfree.meaning import (
    Ambiguous,
    Command,
    Meaning,
    Note,
    Observation,
    Reading,
    SetCondition,
    State,
    Take,
    Unclear,
)
from handsfree.plan import Step, load_plan

from .midway import midway
from .numbers import reading, wordings

Split = Literal["tune", "held-out"]
Kind = Literal[
    "reading", "over", "state", "observation", "correct", "command", "condition", "answer"
]
Before = Literal["nothing", "taken", "confirm", "which", "paused"]

#: Kinds whose result is a value in the log.
VALUES: frozenset[Kind] = frozenset({"reading", "over", "state", "observation", "correct"})
#: One block of kinds.
BLOCK: tuple[Kind, ...] = (
    *("reading",) * 11,
    *("over", "state", "observation", "correct"),
    *("command", "command", "command"),
    *("condition", "answer"),
)
#: Phrases of each split, and the share of all texts that is held out.
SIZES: dict[Split, int] = {"tune": 600, "held-out": 1200}
_HELD_OUT = 2 / 3
PLANS = (
    *("airbag-supply", "battery-charging", "can-bus-pair", "flap-actuator-5wire"),
    *("headlamp-levelling", "parasitic-draw", "position-sensor-3wire", "relay-4pin"),
    *("thermistor-2wire", "voltage-drop"),
)
"""Plans of which phrases are made: those that there were when the engines were weighed."""
_NOTES = ("connector is corroded", "cover was loose", "old repair at the plug", "water inside")


@dataclass(frozen=True, slots=True)
class Phrase:
    """Something to say at a step.

    Attributes:
        number: within its split, from 0.
        split: tune or held-out.
        kind: what is said.
        plan, step: name of the shipped plan, id of the open step.
        text: the words.
        intended: what is meant.
        at: id of the step that a value is logged at; empty if none is logged.
        before: what stands before it: nothing, a value taken, a question, or a pause.
        earlier: texts of the values that `before` needs.
    """

    number: int
    split: Split
    kind: Kind
    plan: str
    step: str
    text: str
    intended: Meaning
    at: str = ""
    before: Before = "nothing"
    earlier: tuple[str, ...] = ()

    @property
    def is_value(self) -> bool:
        """Whether a value ought to be logged."""
        return self.kind in VALUES


_BY_HAND = Path(__file__).parents[1] / "data" / "plans" / "by-hand"


@lru_cache
def dialogue(plan: str) -> Dialogue:
    """The dialogue about a shipped plan, as it was written by hand if it was.

    So phrases stay what they were when the engines were weighed.
    """
    path = _BY_HAND / f"{plan}.yaml"
    loaded = load_plan(str(path) if path.exists() else plan).plan
    return Dialogue(loaded, load_language(loaded.language))


def split_of(text: str) -> Split:
    """The split that a text belongs to, whoever says it and wherever."""
    return "held-out" if zlib.crc32(text.encode()) < _HELD_OUT * 2**32 else "tune"


def scene(phrase: Phrase) -> Session:
    """The dialogue as it stands when the phrase is said."""
    talk = dialogue(phrase.plan)
    step = talk.desk.plan.step(phrase.step)
    session = midway(step)
    if phrase.before == "taken":
        return talk.respond(session, Heard.of_text(phrase.earlier[0])).session
    if phrase.before == "paused":
        return replace(session, paused=True)
    if phrase.before in ("confirm", "which"):
        takes = tuple(_take(talk, session, text) for text in phrase.earlier)
        return replace(session, question=Question(phrase.before, step.id, takes))
    return session


def same(one: Meaning | None, other: Meaning | None) -> bool:
    """Whether two meanings do the same, however the number was formed."""
    if isinstance(one, Reading) and isinstance(other, Reading):
        a, b = one.value, other.value
        if a is None or b is None:
            return a is b
        if not a.is_compatible_with(b.units):
            return False
        here, there = (float(v.to_base_units().magnitude) for v in (a, b))
        return abs(here - there) <= 1e-9 * max(abs(here), abs(there))
    if isinstance(one, Command) and isinstance(other, Command) and one.take and other.take:
        return one.name == other.name and same(one.take, other.take)
    if isinstance(one, State) and isinstance(other, State):
        return one.state == other.state
    if isinstance(one, Observation) and isinstance(other, Observation):
        return one.answer == other.answer
    if isinstance(one, Note):
        return isinstance(other, Note)
    return one == other


@lru_cache
def phrases(split: Split, limit: int | None = None) -> tuple[Phrase, ...]:
    """The first phrases of a split, or all, in the order in which a smaller bench takes them."""
    return tuple(islice(_all(split), limit))


def _all(split: Split) -> Iterator[Phrase]:
    rng = random.Random(f"phrases {split}")
    turns = {kind: _turns(kind, rng) for kind in dict.fromkeys(BLOCK)}
    seen: set[tuple[str, str, str]] = set()
    for number in range(SIZES[split]):
        kind = _block(split, number // len(BLOCK))[number % len(BLOCK)]
        for attempt in range(1000):
            plan, step = next(turns[kind])
            found = MAKE[kind](dialogue(plan), plan, step, rng)
            if found is None or split_of(found.text) != split:
                continue
            key = (plan, step.id, found.text)
            if key in seen and attempt < 100:
                continue
            aimed = _aimed(replace(found, number=number, split=split, kind=kind))
            if aimed is not None:
                seen.add(key)
                yield aimed
                break
        else:
            raise AssertionError(f"no phrase of the kind {kind} can be found")


@cache
def _block(split: Split, number: int) -> tuple[Kind, ...]:
    block = list(BLOCK)
    random.Random(f"block {split} {number}").shuffle(block)
    return tuple(block)


def _turns(kind: Kind, rng: random.Random) -> Iterator[tuple[str, Step]]:
    """Plans in turn, each time with a random step at which the kind may be said."""
    steps = {name: [s for s in dialogue(name).desk.plan.steps if fits(kind, s)] for name in PLANS}
    names = [name for name, found in steps.items() if found]
    while True:
        rng.shuffle(names)
        for name in names:
            yield name, rng.choice(steps[name])


def fits(kind: Kind, step: Step) -> bool:
    """Whether the kind of phrase may be said at a step."""
    measure = step.measure
    return {
        "reading": measure.quantity is not None,
        "correct": measure.quantity is not None,
        "answer": measure.quantity is not None,
        "over": measure.quantity == "resistance",
        "state": measure.states is not None,
        "observation": measure.options is not None,
    }.get(kind, True)


def _aimed(phrase: Phrase) -> Phrase | None:
    """The phrase with what its exact text does; None if that is no use to measure."""
    talk = dialogue(phrase.plan)
    session = scene(phrase)
    if session.phase not in ("test", "after_repair") or (
        phrase.before == "taken" and session.last is None
    ):
        return None
    response = talk.respond(session, Heard.of_text(phrase.text))
    meaning = response.understood.meaning if response.understood else None
    if not phrase.is_value:
        known = meaning is not None and not isinstance(meaning, Unclear | Ambiguous)
        return phrase if known and same(meaning, phrase.intended) else None
    for effect in response.events:
        if isinstance(effect, ReadingTaken):
            right = same(effect.entry.take, value_of(phrase))
            return replace(phrase, at=effect.entry.step) if right else None
        if isinstance(effect, Asked) and response.session.question:
            if any(same(c, value_of(phrase)) for c in effect.candidates[:2]):
                return replace(phrase, at=response.session.question.step)
            return None
    return None


def value_of(phrase: Phrase) -> Take | None:
    """The value that ought to be logged."""
    meaning = phrase.intended
    if isinstance(meaning, Command):
        return meaning.take
    return meaning if isinstance(meaning, Reading | State | Observation) else None


# --- one function a kind -------------------------------------------------------------------


def _make(plan: str, step: Step, text: str, intended: Meaning, before: Before = "nothing",
          earlier: tuple[str, ...] = ()) -> Phrase:  # fmt: skip
    return Phrase(0, "tune", "command", plan, step.id, text, intended, "", before, earlier)


def _value_words(talk: Dialogue, step: Step, rng: random.Random) -> str | None:
    """A number with or without its unit."""
    shown = reading(step, talk.desk.plan, rng)
    ways = list(wordings(shown.number, _language(), rng))
    number = rng.choices([words for _, words in ways], [weight for weight, _ in ways])[0]
    rule = UNIT_RULES[step.measure.quantity or ""]
    units = [words for words, tags in _sentences(rule) if tags == (f"unit {shown.unit}",)]
    own = step.measure.base_unit == shown.unit
    if own and rng.random() < 0.4:
        return number
    return f"{number} {rng.choice(units)}" if units else None


@cache
def _sentences(rule: str) -> list[tuple[str, tuple[str, ...]]]:
    """Every sentence of a small rule, with its tags."""
    return [(" ".join(words), tags) for words, tags in _language().automaton(rule).sentences()]


def _language() -> Language:
    return load_language("en")


@cache
def _names(plan: str, pin: str) -> Automaton:
    desk = dialogue(plan).desk
    return _language().automaton(wire_names(_language(), desk.plan, desk.plan.pin(pin)))


def _named(plan: str, pin: str, rng: random.Random) -> str:
    """A wire as the grammar names it."""
    words = _names(plan, pin).sample(rng)
    return " ".join(words) if not any(w.isdigit() for w in words) else _named(plan, pin, rng)


def _with_wire(name: str, step: Step, words: str, rng: random.Random) -> str:
    """`words` with the wire before them, in about half of all cases."""
    plan = dialogue(name).desk.plan
    if not step.pins or rng.random() < 0.45:
        return words
    others = [pin.number for pin in plan.connector.pins if pin.number not in step.pins]
    number = rng.choice(others) if others and rng.random() < 0.1 else step.pins[0]
    link = rng.choice(("", "", "is ", "reads ", "shows ", "has "))
    return f"{_named(name, number, rng)} {link}{words}"


def _meant(talk: Dialogue, step: Step, text: str, rng: random.Random) -> Meaning | None:
    """One of the meanings of an exact text."""
    session = midway(step)
    meaning = talk.understand(session, Heard.of_text(text)).meaning
    if isinstance(meaning, Ambiguous):
        return rng.choice(meaning.candidates[:2])
    return None if isinstance(meaning, Unclear) else meaning


def _take(talk: Dialogue, session: Session, text: str) -> Take:
    meaning = talk.understand(session, Heard.of_text(text)).meaning
    assert isinstance(meaning, Reading)
    return meaning


def _reading(talk: Dialogue, plan: str, step: Step, rng: random.Random) -> Phrase | None:
    words = _value_words(talk, step, rng)
    if words is None:
        return None
    text = _with_wire(plan, step, words, rng)
    meaning = _meant(talk, step, text, rng)
    return _make(plan, step, text, meaning) if isinstance(meaning, Reading) else None


def _of_rule(rule: str) -> Callable[[Dialogue, str, Step, random.Random], Phrase | None]:
    def make(talk: Dialogue, plan: str, step: Step, rng: random.Random) -> Phrase | None:
        wanted = {f"state {state}" for state in step.measure.states or ()}
        ways = [w for w, tags in _sentences(rule) if rule == "overload" or wanted & set(tags)]
        text = _with_wire(plan, step, rng.choice(ways), rng)
        meaning = _meant(talk, step, text, rng)
        return _make(plan, step, text, meaning) if meaning else None

    return make


def _observation(talk: Dialogue, plan: str, step: Step, rng: random.Random) -> Phrase | None:
    option = rng.choice(step.measure.options or ())
    ways = [*option.names, option.value]
    if option.value in ("yes", "no"):
        ways += talk.desk.spoken.language.phrases(option.value)
    text = rng.choice(ways).lower()
    meaning = _meant(talk, step, text, rng)
    return _make(plan, step, text, meaning) if isinstance(meaning, Observation) else None


def _correct(talk: Dialogue, plan: str, step: Step, rng: random.Random) -> Phrase | None:
    first, second = _value_words(talk, step, rng), _value_words(talk, step, rng)
    ways = talk.desk.spoken.language.phrases("correct")
    if first is None or second is None:
        return None
    meaning = _meant(talk, step, second, rng)
    if not isinstance(meaning, Reading):
        return None
    text = f"{rng.choice(ways)} {rng.choice(('', 'to '))}{second}"
    return _make(plan, step, text, Command("correct", take=meaning), "taken", (first,))


def _command(talk: Dialogue, plan: str, step: Step, rng: random.Random) -> Phrase | None:
    chance = rng.random()
    language = _language()
    if chance < 0.08:
        text = rng.choice(language.phrases("resume"))
        return _make(plan, step, text, Command("resume"), "paused")
    if chance < 0.16:
        text = f"{rng.choice(language.phrases('note'))} {rng.choice(_NOTES)}"
        return _make(plan, step, text, Note(""))
    if chance < 0.3:
        pin = rng.choice(talk.desk.plan.connector.pins)
        text = f"{rng.choice(('go to ', 'move to '))}{_named(plan, pin.number, rng)}"
        return _make(plan, step, text, Command("go", wire=pin.number))
    said = [(words, tags[0]) for words, tags in _sentences("command")]
    words, tag = rng.choice([s for s in said if s[1] != "command unknown"])
    return _make(plan, step, words, Command(tag.removeprefix("command ")))


def _condition(talk: Dialogue, plan: str, step: Step, rng: random.Random) -> Phrase | None:
    condition = rng.choice(talk.desk.plan.conditions)
    way = rng.choice((condition.say, *condition.names)).lower()
    before, after = rng.choice((("", ""), ("", ""), ("set ", ""), ("", " is set")))
    return _make(plan, step, f"{before}{way}{after}", SetCondition(condition.id))


def _answer(talk: Dialogue, plan: str, step: Step, rng: random.Random) -> Phrase | None:
    values = [_value_words(talk, step, rng) for _ in range(2)]
    earlier = tuple(value for value in values if value)
    if len(earlier) < 2:
        return None
    rule = rng.choice(("yes", "no", "first", "second"))
    text = rng.choice(talk.desk.spoken.language.phrases(rule))
    session = midway(step)
    takes = [talk.understand(session, Heard.of_text(value)).meaning for value in earlier]
    if not all(isinstance(take, Reading) for take in takes) or same(*takes):
        return None
    if rule in ("yes", "no"):
        return _make(plan, step, text, Command(rule), "confirm", earlier[:1])
    number = 1 if rule == "first" else 2
    return _make(plan, step, text, Command("choice", choice=number), "which", earlier)


MAKE: dict[Kind, Callable[[Dialogue, str, Step, random.Random], Phrase | None]] = {
    "reading": _reading,
    "over": _of_rule("overload"),
    "state": _of_rule("state"),
    "observation": _observation,
    "correct": _correct,
    "command": _command,
    "condition": _condition,
    "answer": _answer,
}
