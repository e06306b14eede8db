"""How things are said: quantities, wires, expectations and verdicts in words."""

from __future__ import annotations

import re
from collections.abc import Iterable
from decimal import Decimal
from functools import cached_property

from handsfree.check import Comparison, Expected
from handsfree.events import ExcursionSeen
from handsfree.grammar import Language
from handsfree.meaning import (
    Command,
    Meaning,
    Note,
    Observation,
    Reading,
    Seen,
    SetCondition,
    State,
    Take,
)
from handsfree.plan.amended import Amendment, amended
from handsfree.plan.schema import Pin, Plan, Step
from handsfree.units import KINDS, Quantity, quantity

#: Significant digits of a computed value (a limit, a distance) when it is said.
SPOKEN_DIGITS = 3


class Wording:
    """Says the things of a plan in a language."""

    def __init__(self, language: Language, plan: Plan) -> None:
        self.language = language
        self.plan = plan

    def amended(self, change: Amendment) -> Wording:
        """The wording once this was told of the plan.

        Raises:
            ValueError: it cannot be so; says why.
        """
        return Wording(self.language, amended(self.plan, change))

    @cached_property
    def hint(self) -> str:
        """Likely words in a sentence, for an engine that takes a prompt."""
        pins = self.plan.connector.pins
        names = [name for pin in pins for name in (self.pin(pin), pin.function)]
        conditions = [condition.say for condition in self.plan.conditions]
        return self.prompt("hint", names=", ".join([*names, *conditions]))

    def prompt(self, key: str, **values: str) -> str:
        """The prompt `key` with its places filled in."""
        text = self.language.prompts[key].format(**values)
        return " ".join(text.split())

    def integer(self, value: int) -> str:
        """A count in words."""
        return self.language.written(self.language.integer_words(value))

    def number(self, value: Decimal) -> str:
        """A number in words, every decimal place as a digit of its own."""
        digits = f"{abs(value):f}"
        whole, _, fraction = digits.partition(".")
        words = [self.prompt("minus")] if value < 0 else []
        if int(whole) or not fraction:
            words.append(self.integer(int(whole)))
        else:
            words.append(self.prompt("zero_before_point", zero=self.integer(0)))
        if fraction:
            words += [
                self.prompt("point"),
                self.language.written(self.language.digit_words(fraction)),
            ]
        return " ".join(filter(None, words))

    def quantity(self, value: Quantity, number: Decimal | None = None) -> str:
        """A quantity in words; `number` is the magnitude with the places that were spoken."""
        amount = _rounded(value) if number is None else number
        return f"{self.number(amount)} {self._unit(value, amount)}"

    def take(self, take: Take) -> str:
        """What was taken, without its wire."""
        match take:
            case Reading(value=value, number=number, hold=hold):
                if value is None:
                    return self.prompt("over_limit")
                said = self.quantity(value, number)
                if take.minus_leads is not None:
                    said = self.prompt("minus_leads", shown=said, value=self.quantity(value))
                return self.prompt(f"hold_{hold}", value=said) if hold else said
            case State(state=state, shown=shown):
                said = self.state(state)
                return f"{self.take(shown)}, {said}" if shown else said
            case Observation(answer=answer):
                return answer

    def called_back(self, take: Take, verdict: Comparison) -> str:
        """What was taken, in the form in which it was dictated where the prompts want that.

        A prefix of the unit is always said, and so is the point where the value is not in range.
        """
        if not isinstance(take, Reading) or take.value is None or take.number is None:
            return self.take(take)
        if take.hold or take.minus_leads is not None:
            return self.take(take)
        full = self.quantity(take.value, take.number)
        bare = not take.unit_spoken and _symbol(take.value) in KINDS.values()
        unit = "" if bare else self._unit(take.value, take.number)
        short = self._shortened(take) if verdict.result == "in range" else ""
        number = short or self.number(take.number)
        if not short and not bare:
            return full
        return self.prompt("value_as_dictated", value=full, number=f"{number} {unit}".strip())

    def _shortened(self, take: Reading) -> str:
        """A number without the point or the hundred that was left out; empty if none was."""
        if take.number is None or take.number < 0:
            return ""
        whole, _, places = f"{take.number:f}".partition(".")
        if take.form == "point left out" and places:
            digits = self.language.written(self.language.digit_words(places))
            return f"{self.integer(int(whole))} {digits}"
        hundreds, rest = divmod(int(whole), 100)
        if take.form == "hundred left out" and not places and rest >= 10:
            return f"{self.integer(hundreds)} {self.integer(rest)}"
        return ""

    def _unit(self, value: Quantity, amount: Decimal) -> str:
        symbol = _symbol(value)
        return self.language.spoken_unit(symbol, one=abs(amount) == 1) or symbol

    def meaning(self, meaning: Meaning) -> str:
        """A meaning in the grammar's own words; parses back to the same meaning.

        Raises:
            ValueError: it is unclear, or ambiguous (say each candidate by itself).
        """
        match meaning:
            case Reading(wire=wire) | State(wire=wire) | Observation(wire=wire):
                pin = f"{self.name(self.plan.pin(wire))} " if wire is not None else ""
                return pin + self._grammar_take(meaning)
            case Command(name="correct", take=take) if take:
                return f"{self._command('correct')} {self.meaning(take)}"
            case Command(name="go", wire=wire) if wire is not None:
                return self.prompt("go_to", wire=self.name(self.plan.pin(wire)))
            case Command(name="watch", wire=wire) if wire is not None:
                return self.prompt("watch_wire", wire=self.name(self.plan.pin(wire)))
            case Command(name="wire", wire=wire) if wire is not None:
                return self.name(self.plan.pin(wire))
            case Command(name="choice", choice=choice):
                rule = "first" if choice == 1 else "second"
                return self.language.phrases(rule)[0]
            case Command(name=name):
                return self._command(name)
            case SetCondition(condition=condition):
                return self.plan.condition(condition).say
            case Note(text=text):
                return f"{self.language.wordings('note')['note']} {text}".strip()
        raise ValueError("an unclear or ambiguous meaning has no wording of its own")

    def _command(self, name: str) -> str:
        if name in ("yes", "no"):
            return self.language.phrases(name)[0]
        rule = name if name in ("correct", "resume") else "command"
        return self.language.wordings(rule)[f"command {name}"]

    def _grammar_take(self, take: Take) -> str:
        if isinstance(take, State):
            return self.language.wordings("state")[f"state {take.state}"]
        if isinstance(take, Reading) and take.value is None:
            return self.language.wordings("overload")["over"]
        return self.take(take)

    def seen(self, seen: Seen) -> str:
        """What the meter did in a watch, in few words."""
        value = self.take(seen.reading) if seen.reading else ""
        return self._seen(seen.shows, value, approximate=seen.approximate)

    def seen_event(self, event: ExcursionSeen) -> str:
        """The same of what was logged."""
        value = ""
        if event.value is not None:
            number = None if event.spoken is None else Decimal(event.spoken)
            value = self.quantity(quantity(event.value, event.unit), number)
        return self._seen(event.shows, value, approximate=event.approximate)

    def _seen(self, shows: str, value: str, *, approximate: bool) -> str:
        about = self.prompt("about", value=value) if approximate and value else value
        return self.prompt(f"seen_{shows}", value=about).strip(" ,")

    def duration(self, seconds: float) -> str:
        """A length of time in minutes and seconds."""
        minutes, rest = divmod(round(seconds), 60)
        parts = [(minutes, "min")] * bool(minutes) + [(rest, "s")] * bool(rest or not minutes)
        return " ".join(self.quantity(quantity(n, unit), Decimal(n)) for n, unit in parts)

    def state(self, state: str) -> str:
        """A state as it is said."""
        return self.prompt(f"state_{state.replace(' ', '_')}")

    def pin(self, pin: Pin) -> str:
        """A wire by its colours, and by its pin where another wire has the same."""
        if self._has_twin(pin):
            number = self._label(pin)
            return self.prompt("wire_at_pin", wire=self.colours(pin), number=number)
        return self.colours(pin)

    def name(self, pin: Pin) -> str:
        """A wire as the grammar knows it: by its colours, or by its pin if others have these."""
        return self.pin_number(pin) if self._has_twin(pin) else self.colours(pin)

    def brief_prompt(self, step: Step, before: Step | None) -> str:
        """The prompt of a step with the wires' short names; of what goes on as before, the wire.

        Args:
            step: it.
            before: that was open before; None to say all of it.
        """
        text = step.prompt
        first, *how = text.rstrip(".").split(", ")
        if (
            before
            and how
            and _alike(step, before)
            and how == before.prompt.rstrip(".").split(", ")[1:]
        ):
            text = f"{first}."
        text = self._with_short_names(text)
        return text[:1].upper() + text[1:]

    def _with_short_names(self, text: str) -> str:
        for pin in self.plan.connector.pins:
            if pin.stripe:
                colours = {"colour": pin.colour, "stripe": pin.stripe}
                short = self.prompt("wire_striped_short", **colours)
                full = re.compile(re.escape(self.prompt("wire_striped", **colours)), re.IGNORECASE)
                text = full.sub(short, text)
        return text

    def pin_number(self, pin: Pin) -> str:
        """A wire by the label of its pin."""
        return self.prompt("pin_number", number=self._label(pin))

    def _label(self, pin: Pin) -> str:
        return self.language.written(self.language.label_words(pin.number))

    def colours(self, pin: Pin) -> str:
        """The colours of a wire."""
        if pin.stripe:
            return self.prompt("wire_striped", colour=pin.colour, stripe=pin.stripe)
        return self.prompt("wire_plain", colour=pin.colour)

    def _has_twin(self, pin: Pin) -> bool:
        return sum(other.wire == pin.wire for other in self.plan.connector.pins) > 1

    def wire(self, step: Step) -> str:
        """The wire or pair that a step probes; empty if it probes none."""
        pins = [self.pin(self.plan.pin(number)) for number in step.pins]
        if len(pins) == 2:
            return self.prompt("wire_pair", red=pins[0], black=pins[1])
        return pins[0] if pins else ""

    def step_name(self, step: Step) -> str:
        """A step by its wire, or by its own name if it probes none."""
        return self.wire(step) or step.id.replace("_", " ")

    def unit_kind(self, step: Step) -> str:
        """The unit that a step wants, as it is said."""
        unit = step.measure.base_unit
        known = self.language.spoken_unit(unit)
        kind = (step.measure.quantity or "").replace(" ", "_")
        return known or self.prompt(f"unit_kind_{kind}")

    def expected(self, step: Step, wanted: Expected) -> str:
        """What is expected at a step."""
        if wanted.missing:
            other = self.step_name(self.plan.step(wanted.missing))
            return self.prompt("expect_after", other=other)
        if wanted.over_limit:
            return self.prompt("expect_over_limit")
        either = f" {self.prompt('or')} "
        if wanted.states:
            return either.join(map(self.state, wanted.states))
        if wanted.answers:
            return either.join(wanted.answers)
        low = high = ""
        if wanted.low is not None:
            low = self._limit(step, wanted.low)
        if wanted.high is not None:
            high = self._limit(step, wanted.high)
        if low and high:
            return self._between(step, wanted, low, high)
        if low or high:
            return self.prompt("expect_at_least" if low else "expect_at_most", low=low, high=high)
        return self.prompt("expect_nothing")

    def _between(self, step: Step, wanted: Expected, low: str, high: str) -> str:
        """Between two limits, that are called `low` and `high` with their units."""
        assert wanted.low is not None
        assert wanted.high is not None
        lower, upper = self._as_told(step, wanted.low), self._as_told(step, wanted.high)
        number = low
        if _symbol(lower) == _symbol(upper):
            if _rounded(lower) == -_rounded(upper) < 0:
                return self.prompt("expect_within", low=low, high=high)
            number = self.number(_rounded(lower))
        return self.prompt("expect_between", low=low, low_number=number, high=high)

    def _limit(self, step: Step, limit: Quantity) -> str:
        return self.quantity(self._as_told(step, limit))

    def _as_told(self, step: Step, limit: Quantity) -> Quantity:
        """A limit as the plan writes it, or in the unit of the step if it was computed."""
        if step.expect.refers_to or step.expect.nominal is not None:
            return limit.to(step.measure.base_unit)
        return limit

    def verdict(self, verdict: Comparison, step: Step, take: Take) -> str:
        """A verdict as it is read back."""
        key = f"verdict_{verdict.result.replace(' ', '_')}"
        wanted = self.expected(step, verdict.expected)
        if verdict.result in ("low", "high") and verdict.distance is None:
            return self.prompt(f"{key}_bare", expected=wanted)
        missing = verdict.expected.missing
        other = self.step_name(self.plan.step(missing)) if missing else ""
        distance = number = ""
        if verdict.distance is not None:
            distance = number = self.quantity(verdict.distance)
            shown = take.value if isinstance(take, Reading) else None
            if shown is not None and _symbol(shown) == _symbol(verdict.distance):
                number = self.number(_rounded(verdict.distance))
        places = {"distance": distance, "distance_number": number, "expected": wanted}
        return self.prompt(key, other=other, **places)

    def read_back(self, step: Step, take: Take, verdict: Comparison, *, clear: bool = False) -> str:
        """Wire, value and verdict: what is said before a value counts.

        Args:
            step: that the value belongs to.
            take: it.
            verdict: on it.
            clear: its wire and its number need not be told: the step was open, and nothing asked.
        """
        judged = not step.expect.nothing
        clear = clear and judged  # in a free job nothing else tells which wire it was
        wire = self.short_wire(step)
        said = self.called_back(take, verdict) if clear else self.take(take)
        result = self.verdict(verdict, step, take)
        held = isinstance(take, Reading) and take.hold in ("min", "max", "peak")
        if held and judged:  # held to one limit
            wanted = self.expected(step, verdict.expected)
            result = self.prompt("verdict_held", verdict=result, expected=wanted)
        if not wire:
            return self.prompt("readback_observation", value=said, verdict=result)
        key = "readback_clear" if clear else "readback"
        return self.prompt(key, wire=wire, value=said, verdict=result)

    def listed(self, told: Iterable[tuple[Step, Take]]) -> str:
        """Values with their wires, one after the other."""
        return ", ".join(f"{self.short_wire(step)} {self.take(take)}" for step, take in told)

    def short_wire(self, step: Step) -> str:
        """What a step probes, as briefly as it can be said."""
        return self._with_short_names(self.wire(step))


def _symbol(value: Quantity) -> str:
    """The unit as it is written; that of a difference as that of a value."""
    return f"{value.units:~P}".replace("Δ", "")


def _alike(step: Step, before: Step) -> bool:
    """Whether two steps measure the same kind of thing under one condition."""
    same = step.condition == before.condition and step.phase == before.phase
    return same and step.measure.quantity == before.measure.quantity is not None


def _rounded(value: Quantity) -> Decimal:
    """The magnitude to `SPOKEN_DIGITS` significant digits, without trailing zeros."""
    number = Decimal(f"{float(value.magnitude):.{SPOKEN_DIGITS}g}").normalize()
    return Decimal(int(number)) if number == number.to_integral() else number
