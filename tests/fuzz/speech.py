"""What is said or typed: numbers, utterances, dialogues; no value that was not said."""

from __future__ import annotations

import functools
import random
import re
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal

from num2words import num2words

from handsfree.dialogue import Dialogue, Session
from handsfree.events import Codec, Event, ReadingTaken
from handsfree.grammar import ANY, Automaton, SpokenPlan, number_of, parse_text
from handsfree.grammar.moment import Moment
from handsfree.grammar.parsing import NUMERAL
from handsfree.heard import Heard, Hypothesis
from handsfree.languages import load_language
from handsfree.meaning import (
    Ambiguous,
    Command,
    Meaning,
    Reading,
    Several,
    State,
    Unread,
    interpret,
)
from handsfree.plan import Step, load_plan
from handsfree.units import parse_quantity
from tests.fuzz.case import Outcome, need, tried
from tests.fuzz.mutate import NASTY_TEXT, changed_text

PLANS = ("thermistor-2wire",)
MOMENTS: tuple[Moment, ...] = ("listening", "answering", "asleep")
UNITS = ("volts", "ohms", "kilohms", "amps", "milliamps", "V", "Ω", "kΩ", "mA", "", "")
#: Words that deny whatever value is said with them.
DENIALS = ("not", "never", "isn't", "wasn't", "nobody", "unless", "hardly", "without", "neither")
SIGNS = (" ", "  ", ", ", ". ", "-", "/", ":", "! ", "\n", "\u00a0", "…", " – ", "\u200b")
_WRITTEN = re.compile(r"(?<![\d.,])(?:\d+(?:\.\d+)?|\.\d+)(?![\d.]*\d)(?!,\d)")
_DIGITS = {num2words(digit): str(digit) for digit in range(10)} | {"oh": "0"}


@dataclass(frozen=True, slots=True)
class Said:
    """A sentence.

    Attributes:
        text: as typed.
        allows: whether a number may come of it, by a reading that knows nothing of the grammar.
        denied: whether nothing may come of it.
    """

    text: str
    allows: Callable[[Reading], bool] = lambda _: True
    denied: bool = False


@functools.cache
def _spoken(name: str) -> SpokenPlan:
    return _dialogue(name, informed=False).desk.spoken


@functools.cache
def _vocabulary(name: str) -> tuple[list[str], list[str], list[str]]:
    """Every word of a plan's grammar, those of numbers, and the others."""
    spoken = _spoken(name)
    every = spoken.parser(spoken.plan.steps[0]).vocabulary
    numbers = spoken.number_words
    return sorted(every), sorted(numbers), sorted(every - numbers)


@functools.cache
def _whole() -> dict[str, int]:
    return {num2words(number).replace("-", " "): number for number in range(1000)}


# Sentences -------------------------------------------------------------------------------------


def _number(rng: random.Random) -> Decimal:
    places = rng.choice((0, 0, 1, 2, 3))
    return Decimal(rng.randrange(10 ** rng.randint(1, 5))).scaleb(-places)


def in_words(rng: random.Random, name: str) -> Said:
    """A number as num2words spells it, whole, denied, or cut behind a word."""
    number, unit = _number(rng), rng.choice(UNITS[:5])
    words = num2words(number).replace("-", " ").replace(",", "").split()
    match rng.randrange(4):
        case 0:
            place = rng.randrange(len(words) + 1)
            text = " ".join([*words[:place], rng.choice(DENIALS), *words[place:], unit])
            return Said(text, denied=True)
        case 1:
            kept = " ".join(words[: rng.randint(1, len(words))])
            whole = _whole().get(kept)
            return Said(
                f"{kept} {unit}",
                lambda r: whole is None or r.form != "plain" or r.number == whole,
                denied=kept.endswith("point"),
            )
    return Said(f"{' '.join(words)} {unit}", lambda r: r.form != "plain" or r.number == number)


def digit_by_digit(rng: random.Random, name: str) -> Said:
    """Digits one by one: the value has these digits, in this order."""
    words = [rng.choice([*_DIGITS, "point"]) for _ in range(rng.randint(1, 9))]
    digits = "".join(_DIGITS.get(word, ".") for word in words)
    bare = digits.replace(".", "").lstrip("0")

    def allows(reading: Reading) -> bool:
        if reading.number is None:
            return False
        value = f"{abs(reading.number):f}"
        if value.replace(".", "").lstrip("0") != bare:
            return False
        return reading.form != "plain" or Decimal(value) == Decimal(digits)

    return Said(" ".join([*words, rng.choice(UNITS)]), allows, denied=digits.count(".") > 1)


def in_figures(rng: random.Random, name: str) -> Said:
    """Figures among words that are none, with signs and letters of every kind."""
    _, _, others = _vocabulary(name)
    parts = []
    for _ in range(rng.randint(1, 6)):
        parts.append(
            rng.choice(
                (
                    rng.choice(others),
                    f"{_number(rng):f}",
                    rng.choice(UNITS),
                    f"{_number(rng):f}{rng.choice(UNITS)}",
                    rng.choice(
                        ("12,6", "1,200", "1e5", "٣", "½", "5²", "+-3", "−7", "1.2.3", ".5", "5.")
                    ),
                    rng.choice(NASTY_TEXT)[:60],
                )
            )
        )
    text = "".join(f"{part}{rng.choice(SIGNS)}" for part in parts)

    def allows(reading: Reading) -> bool:
        return reading.number is None or abs(reading.number) in written(text)

    spelled = {word.lower() for word in re.findall(r"[^\W\d_]+", text)} & _spoken(name).number_words
    return Said(text) if spelled else Said(text, allows)


def written(text: str) -> set[Decimal]:
    """The numbers that stand in a text in figures, by a reading of its own."""
    plain = re.sub(r"(?<![\d.,])\d{1,3}(?:,\d{3})+(?![\d,])", lambda m: m[0].replace(",", ""), text)
    return {Decimal(found) for found in _WRITTEN.findall(plain)}


def of_the_grammar(rng: random.Random, name: str) -> Said:
    """A sentence of the grammar, perhaps with words swapped, missing or doubled."""
    spoken = _spoken(name)
    slots = spoken.slots(rng.choice(_steps(name)), written=True)
    words = spoken.language.automaton("listening", slots).sample(rng)[:40]
    for _ in range(rng.choice((0, 1, 2))):
        if words:
            place = rng.randrange(len(words))
            words[place : place + rng.randrange(3)] = rng.choices(
                _vocabulary(name)[0], k=rng.randrange(3)
            )
    return Said(" ".join(words).replace(NUMERAL, "12.6").replace(ANY, "seal"))


def of_any_words(rng: random.Random, name: str) -> Said:
    """Words of the vocabulary, or of numbers alone, in any order; sometimes very many."""
    every, numbers, _ = _vocabulary(name)
    pool = rng.choice((every, numbers, list(_DIGITS)))
    return Said(" ".join(rng.choices(pool, k=rng.choice((1, 3, 6, 12, 12, 40, 300)))))


def in_a_breath(rng: random.Random, name: str) -> Said:
    """Values of several wires, perhaps with a word that denies them, or one that says nothing."""
    pins = _spoken(name).plan.connector.pins
    numbers, words = [], list[str]()
    for pin in rng.sample(pins, 2):
        numbers.append(number := _number(rng))
        spelled = num2words(number).replace("-", " ").replace(",", "")
        words += [*pin.function.split(), *spelled.split(), rng.choice(UNITS[:2])]
    denied = rng.random() < 0.5
    if denied:
        words.insert(rng.randrange(len(words) + 1), rng.choice(DENIALS))
    elif rng.random() < 0.3:
        words.insert(rng.randrange(len(words) + 1), rng.choice(_vocabulary(name)[2]))
        return Said(" ".join(words))
    return Said(" ".join(words), lambda r: r.form != "plain" or r.number in numbers, denied=denied)


WAYS = (in_words, digit_by_digit, in_figures, of_the_grammar, of_any_words, in_a_breath)


@functools.cache
def _steps(name: str) -> list[Step | None]:
    """A step at which a resistance is measured, one that is answered in words, and none."""
    steps = {step.measure.quantity: step for step in reversed(_spoken(name).plan.steps)}
    return [steps["resistance"], steps[None], None]


def warm() -> None:
    """Make every grammar that is kept, which takes seconds."""
    for name in PLANS:
        for step in _steps(name):
            for moment in MOMENTS:
                interpret(Heard.of_text("xyzzy"), _spoken(name), step, moment)


# Cases -----------------------------------------------------------------------------------------


def numbers(rng: random.Random) -> Outcome:
    """A text for the number parser, or a quantity as it is written."""
    if rng.random() < 0.2:
        text = changed_text(rng.choice(("4.8 V", "-40 °C", "120Ω", "1.5e3 kΩ", "30 %")), rng)
        return tried(lambda: parse_quantity(text), ValueError)
    said = rng.choice((in_words, digit_by_digit, in_figures, of_any_words))(rng, PLANS[0])
    words = [word for word in said.text.split() if word not in UNITS]
    found = [number_of(tags) for tags in parse_text(number_grammar(), " ".join(words))]
    for number in found:
        _check(said, Reading(None, None, number.value, number.form))
    return "taken" if found else "refused"


@functools.cache
def number_grammar() -> Automaton:
    return load_language("en").automaton("number")


def _check(said: Said, meaning: Meaning) -> None:
    match meaning:
        case Ambiguous(candidates=several):
            for one in several:
                _check(said, one)
        case Several(values=values):
            for value in values:
                if not isinstance(value, Unread):
                    _check(said, value)
        case Command(take=take) if take:
            _check(said, take)
        case Reading() as reading:
            need(not said.denied, f"{said.text!r} was denied or is none, and is {reading}")
            need(
                reading.number is None or said.allows(reading),
                f"{said.text!r} is read as {reading}",
            )
        case State() as state:
            need(not said.denied, f"{said.text!r} was denied, and is {state}")


def meaning(rng: random.Random) -> Outcome:
    """The meaning of an utterance at any step, whatever is awaited."""
    name = rng.choice(PLANS)
    spoken = _spoken(name)
    said = rng.choice(WAYS)(rng, name)
    step = rng.choice(_steps(name))
    moment = rng.choice(MOMENTS)
    found = interpret(Heard.of_text(said.text), spoken, step, moment).meaning
    _check(said, found)
    taken = isinstance(found, Reading | State | Several | Ambiguous | Command)
    return "taken" if taken else "refused"


@functools.cache
def _dialogue(name: str, informed: bool) -> Dialogue:
    return Dialogue(load_plan(name).plan, load_language("en"), apprentice=False, informed=informed)


def dialogue(rng: random.Random) -> Outcome:
    """A few utterances in a row; the events make the session, and the log gives them back."""
    name = rng.choice(PLANS)
    talk = _dialogue(name, informed=rng.random() < 0.05)
    checked = rng.random() < 0.5
    response = talk.start()
    session, events = response.session, list(response.events)
    allowed: list[Said] = []
    for _ in range(rng.randint(1, 8)):
        said = rng.choice(WAYS[:3] if checked else WAYS)(rng, name)
        allowed.append(said)
        heard = Heard.of_text(said.text)
        if not checked and rng.random() < 0.3:
            more = [rng.choice(WAYS)(rng, name).text for _ in range(3)]
            heard = Heard(tuple(Hypothesis(t, rng.uniform(-9, 0)) for t in (said.text, *more)), 0.5)
        response = talk.respond(session, heard)
        session = response.session
        events += response.events
        for event in response.events:
            if (
                checked
                and isinstance(event, ReadingTaken)
                and isinstance(event.entry.take, Reading)
            ):
                take = event.entry.take
                sayings = [one for one in allowed if not one.denied]
                need(
                    take.number is None or any(one.allows(take) for one in sayings),
                    f"{[one.text for one in allowed]} is logged as {take}",
                )
    need(Session.of(events) == session, "the events lead to another session")
    _given_back(events, name)
    return "taken" if any(isinstance(event, ReadingTaken) for event in events) else "refused"


def _given_back(events: list[Event], name: str) -> None:
    plan = load_plan(name).plan
    writes, reads = Codec(plan), Codec(plan)
    for seq, event in enumerate(events, 1):
        kind, line = writes.encode(event)
        writes.wrote(event, seq, "", kind, line)
        need(reads.read(seq, "", kind, line).event == event, f"{event} is read back as another")
