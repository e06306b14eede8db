"""The plan's `circuit:` section: parts, what conditions set, what each step connects.

A circuit is checked as a whole by `Circuit.problems`, which names every mistake with its
place.  Example:

    circuit:
      ground: battery minus
      supply: battery plus
      parts:
        battery: {kind: source, between: [battery plus, battery minus],
                  voltage: 12.6 V ± 2 %, resistance: 15 mΩ}
        feed:    {kind: wire, between: [battery plus, pin 1], length: 3 m, gauge: 0.75 mm2,
                  faults: [{mode: open, odds: 3}]}
        lamp:    {kind: lamp, between: [pin 1, battery minus],
                  rated_voltage: 12 V, rated_power: 5 W}
      conditions: {key on: {}}
      tests:
        supply_at_lamp: {condition: key on, measures: voltage, red: pin 1, black: battery minus}
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Literal, Self

from pydantic import Field

from handsfree.circuit import faults as modes
from handsfree.circuit import library
from handsfree.circuit.elements import Part
from handsfree.circuit.faults import FaultMode, Misreads, Model, Word, WrongPin
from handsfree.circuit.parts import AnyPart, Lamp, Mechanism, Motor, Potentiometer, Relay, Wire
from handsfree.circuit.values import Limits, Seconds, parse_spread
from handsfree.fields import COMMON_PRACTICE
from handsfree.units import Quantity, ureg

Path = tuple[str | int, ...]

UNITS: dict[str, str] = {"voltage": "V", "resistance": "Ω", "current": "A"}
"""SI unit of each measured quantity."""


class Setup(Model):
    """Something done once that several tests need: trim off, connector unplugged."""

    minutes: Seconds = Field(description="time to make it, such as '5 min'")
    undo: Seconds | None = Field(
        None, description="time to undo it before a test that does not list it; "
        "left out if it does not disturb other tests"
    )  # fmt: skip


class CircuitTest(Model):
    """What one step of the plan connects to the circuit, and when.

    Either a measured quantity (voltage and resistance between two nodes, current through a
    part) or an observation of a part: whether a relay pulls, a motor runs, a mechanism
    moves (`by_hand`: whether it can be moved; without a motor: whether it is attached), a
    lamp lights, a potentiometer's reading changes smoothly.
    """

    condition: Word
    measures: Literal["voltage", "resistance", "current"] | None = None
    red: Word | None = Field(None, description="node of the red lead")
    black: Word | None = Field(None, description="node of the black lead")
    through: str | None = Field(None, description="part whose current is measured")
    at: Word | None = Field(None, description="place in that part, if it has several")
    clamp: bool = Field(False, description="current clamp: the meter adds no resistance")
    second_meter: bool = Field(
        False, description="read with another meter, which is taken to be right"
    )
    loaded: bool = Field(
        False,
        description="what is lost between the leads while a test lamp of 21 W on the battery "
        "feeds them; nothing else may be live there",
    )
    before: Word | None = Field(
        None, description="the reading is the change since this condition, for 'switches to ...'"
    )
    words: dict[Word, Limits] = Field(
        default_factory=dict,
        description="states spoken instead of a number, and their range; the first that fits",
    )
    reads_as: dict[Word, Word] = Field(
        default_factory=dict,
        description="other words for which the meter shows the same: {dead: ground}",
    )
    observes: str | None = Field(None, description="part that is watched or moved")
    by_hand: bool = False
    answers: tuple[Word, ...] | None = Field(
        None,
        min_length=2,
        max_length=4,
        description="spoken if so and if not; of three, the second is for a motor or mechanism "
        "that has current but does not move; of four, the second is for a motor that is slow",
    )
    minutes: Seconds = Field(parse_spread("1 min", "s"), description="time for the test itself")
    setups: tuple[Word, ...] = Field((), description="setups that it needs")

    @property
    def branch(self) -> tuple[str, str]:
        """Part and place whose current is measured."""
        return self.through or "", self.at or ""

    @property
    def outcomes(self) -> tuple[str, ...]:
        """The words of a spoken state or answer; empty if a number is read."""
        return self.answers or tuple(self.words)

    def outcome(self, word: str) -> int:
        """Number of a spoken word in `outcomes`, or their count if it is none of them."""
        word = self.reads_as.get(word, word)
        return self.outcomes.index(word) if word in self.outcomes else len(self.outcomes)

    @property
    def unit(self) -> str:
        """SI unit of the reading; empty for an observation."""
        return UNITS[self.measures] if self.measures else ""


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault that the circuit may have.

    Attributes:
        id: its name, unique in the circuit.
        part: name of the part; empty for the meter, and for a reading on the wrong pin.
        unit: what is replaced.
        place: where in it, "contact 2"; empty if it is taken as a whole.
        mode: how it is broken.
        odds: relative to the other faults.
        say: the verdict in a few words.
        repair: what to do.
    """

    id: str
    part: str
    unit: str
    place: str
    mode: FaultMode | WrongPin | Misreads
    odds: float
    say: str
    repair: str

    @property
    def site(self) -> str:
        """What a verdict names: the unit, or one contact of it."""
        return " ".join(filter(None, (self.unit or self.say, self.place)))


class Circuit(Model):
    """A circuit with its parts, their faults, and the tests that a plan makes on it."""

    ground: Word = Field(description="node against which voltages count: battery minus")
    supply: Word = Field(description="node of battery plus")
    parts: dict[str, AnyPart] = Field(min_length=1)
    conditions: dict[Word, dict[str, Word]] = Field(
        description="condition of the plan: part to its state, position or temperature"
    )
    after: dict[Word, Word] = Field(
        default_factory=dict,
        description="condition to the one before it, in which the mechanisms moved: "
        "'at hot' after 'heating up'",
    )
    setups: dict[Word, Setup] = Field(default_factory=dict)
    tests: dict[str, CircuitTest] = Field(description="step of the plan: what it connects")
    wrong_pins: tuple[WrongPin, ...] = ()
    usual_faults: bool = Field(
        True, description="false: only the faults that are listed, not those that parts bring"
    )
    odds_source: str = COMMON_PRACTICE

    @cached_property
    def faults(self) -> tuple[Fault, ...]:
        """Every fault of every part, then those of the meter, then readings on wrong pins.

        A written fault takes the place of those that its part brings of itself.
        """
        found = []
        neighbours = library.neighbours(self.parts) if self.usual_faults else {}
        for name, part in self.parts.items():
            own = self.usual_faults and not part.sound
            usual = (*part.usual(), *neighbours.get(name, ())) if own else ()
            listed = library.merged(part.faults, usual, part, (self.ground, self.supply))
            found += [_fault(name, part, mode) for mode in listed]
        if self.usual_faults:
            found += [
                Fault(f"meter_{m.grade}", "", "meter", "", m, m.odds, m.say, m.repair)
                for m in library.METER
            ]
        for wrong in self.wrong_pins:
            label = wrong.id or _slug("wrong pin", wrong.probed, "for", wrong.meant)
            say = wrong.say or f"read at {wrong.probed} instead of {wrong.meant}"
            found.append(Fault(label, "", "", "", wrong, wrong.odds, say, wrong.repair))
        return tuple(found)

    def model_copy(self, *, update: Mapping[str, Any] | None = None, deep: bool = False) -> Self:
        """A copy with some fields changed, and its faults made anew."""
        fresh = super().model_copy(update=update, deep=deep)
        fresh.__dict__.pop("faults", None)
        return fresh

    def fault(self, fault_id: str) -> Fault:
        """The fault of that id.

        Raises:
            KeyError: there is none.
        """
        for fault in self.faults:
            if fault.id == fault_id:
                return fault
        raise KeyError(fault_id)

    def cost(self, test_id: str, made: frozenset[str]) -> tuple[Quantity, frozenset[str]]:
        """What a test costs with the setups `made`: minutes, and the setups made after it."""
        needed = frozenset(self.tests[test_id].setups)
        undone = {s for s in made - needed if self.setups[s].undo is not None}
        seconds = self.tests[test_id].minutes.nominal
        seconds += sum(self.setups[s].minutes.nominal for s in needed - made)
        seconds += sum(u.nominal for s in undone if (u := self.setups[s].undo) is not None)
        return ureg.Quantity(seconds / 60, "min"), (made | needed) - undone

    def nodes(self) -> dict[str, int]:
        """Every node and how many terminals meet there."""
        count: dict[str, int] = {}
        for name, part in self.parts.items():
            for node in part.nodes(name):
                count[node] = count.get(node, 0) + 1
        return count

    def problems(self) -> Iterator[tuple[Path, str]]:
        """Everything that does not fit together: path of the field, message."""
        nodes = self.nodes()
        used = {n for t in self.tests.values() for n in (t.red, t.black)}
        used |= {n for p in self.parts.values() if p.needs for n in p.needs.between}
        for field in ("ground", "supply"):
            if getattr(self, field) not in nodes:
                yield (field,), f"no part is connected to {getattr(self, field)!r}"
        part: Part
        for name, part in self.parts.items():
            for path, message in self._part_problems(name, part, nodes):
                yield ("parts", name, *path), message
            for node in set(part.nodes(name)):
                if nodes[node] == 1 and node not in used:
                    yield ("parts", name), f"nothing else is connected to its node {node!r}"
        for condition, settings in self.conditions.items():
            for name, value in settings.items():
                if wrong := self._setting_problem(name, value):
                    yield ("conditions", condition, name), wrong
        for pair in self.after.items():
            for condition in set(pair) - set(self.conditions):
                yield ("after", pair[0]), f"there is no condition {condition!r}"
        for test_id, test in self.tests.items():
            for field, message in self._test_problems(test, nodes):
                yield ("tests", test_id, field), message
        ids = [f.id for f in self.faults]
        for twice in sorted({i for i in ids if ids.count(i) > 1}):
            yield ("parts",), f"two faults are called {twice!r}; give one an id of its own"
        for index, mixed in enumerate(self.wrong_pins):
            for field in ("meant", "probed"):
                if (node := getattr(mixed, field)) not in nodes:
                    yield ("wrong_pins", index, field), f"no part is connected to {node!r}"

    def strangers(self, steps: Mapping[str, str]) -> Iterator[tuple[Path, str]]:
        """What does not fit the plan: path of the field, message.

        Args:
            steps: id of each step of the plan, and its condition.
        """
        for test_id, test in self.tests.items():
            if test_id not in steps:
                yield ("tests", test_id), f"the plan has no step {test_id!r}"
            elif steps[test_id] != test.condition:
                message = f"the step's condition is {steps[test_id]!r}, not {test.condition!r}"
                yield ("tests", test_id, "condition"), message

    def _part_problems(
        self, name: str, part: Part, nodes: dict[str, int]
    ) -> Iterator[tuple[Path, str]]:
        motor = part.motor if isinstance(part, Mechanism) else None
        if motor is not None and not isinstance(self.parts.get(motor), Motor):
            yield ("motor",), f"there is no motor {motor!r}"
        moved_by = part.moved_by if isinstance(part, Potentiometer) else None
        if moved_by is not None and not isinstance(self.parts.get(moved_by), Mechanism):
            yield ("moved_by",), f"there is no mechanism {moved_by!r}"
        for needed in part.needs.between if part.needs else ():
            if needed not in nodes:
                yield ("needs", "between"), f"no part is connected to {needed!r}"
        slots = {b.slot for b in part.branches(name)}
        for index, mode in enumerate(part.faults):
            here = ("faults", index)
            special = mode.mode in _SPECIAL
            if (special and mode.mode not in part.modes) or (not special and not slots):
                yield (*here, "mode"), f"this part cannot be {mode.mode!r}"
            at = getattr(mode, "at", None)
            if at is not None and at not in slots:
                yield (*here, "at"), f"it has no {at!r}, only {_list(slots)}"
            if isinstance(mode, modes.Stuck) and mode.state not in part.states():
                yield (
                    (*here, "state"),
                    f"it has no state {mode.state!r}, only {_list(part.states())}",
                )
            if isinstance(mode, modes.Swapped):
                if not isinstance(self.parts.get(mode.other), Wire):
                    yield (*here, "other"), f"there is no wire {mode.other!r}"
                continue
            for field in ("node", "other"):
                node = getattr(mode, field, None)
                if node is not None and node not in nodes:
                    yield (*here, field), f"no part is connected to {node!r}"

    def _setting_problem(self, name: str, value: str) -> str | None:
        part = self.parts.get(name)
        if part is None:
            return f"there is no part {name!r}"
        if value in part.states():
            return None
        if (setting := part.setting()) is not None:
            try:
                parse_spread(value, setting.unit)
            except ValueError as error:
                return str(error)
            return None
        return f"it has no state {value!r}, only {_list(part.states()) or 'none at all'}"

    def _test_problems(self, test: CircuitTest, nodes: dict[str, int]) -> Iterator[tuple[str, str]]:
        for field in ("condition", "before"):
            condition = getattr(test, field)
            if condition is not None and condition not in self.conditions:
                yield field, f"there is no condition {condition!r}"
        if (test.measures is None) == (test.observes is None):
            yield "measures", "give either measures or observes"
        elif test.measures == "current":
            part = self.parts.get(test.through or "")
            if part is None:
                yield "through", f"there is no part {test.through!r} whose current is measured"
            elif test.branch[1] not in (slots := {b.slot for b in part.branches("")}):
                yield "at", f"it has no place {test.branch[1]!r}, only {_list(slots)}"
        elif test.measures:
            for field in ("red", "black"):
                if getattr(test, field) not in nodes:
                    yield field, f"no part is connected to {getattr(test, field)!r}"
        else:
            part = self.parts.get(test.observes or "")
            if not isinstance(part, Motor | Mechanism | Relay | Lamp | Potentiometer):
                yield "observes", f"there is nothing to observe by the name {test.observes!r}"
            if test.answers is None:
                yield "answers", "an observation needs its two answers"
            elif len(test.answers) > 2 and not isinstance(part, Motor | Mechanism):
                yield "answers", "only a motor or a mechanism has more than two answers"
            if test.by_hand and not isinstance(part, Motor | Mechanism):
                yield "by_hand", "only a motor or a mechanism is moved by hand"
        for word, limits in test.words.items():
            if limits.unit != test.unit:
                yield "words", f"the range of {word!r} is not in {test.unit or 'any unit'}"
        for word in test.reads_as.values():
            if word not in test.outcomes:
                yield "reads_as", f"{word!r} is not among its words or answers"
        for setup in test.setups:
            if setup not in self.setups:
                yield "setups", f"there is no setup {setup!r}"


_SPECIAL = frozenset({"weak", "stuck", "stuck position", "worn segment", "jammed", "slipping"})


def _list(names: Iterable[str]) -> str:
    return ", ".join(sorted(repr(n) for n in names))


def _slug(*words: str) -> str:
    slug = re.sub(r"[^a-z0-9]+", "_", " ".join(words).lower()).strip("_")
    return slug if slug[:1].isalpha() else f"f_{slug}"


def _fault(name: str, part: Part, mode: FaultMode) -> Fault:
    detail = getattr(mode, "at", None) or getattr(mode, "state", None) or ""
    how = " ".join(filter(None, (mode.mode, getattr(mode, "other", None))))
    label = mode.id or _slug(name, how, detail, mode.grade)
    at = getattr(mode, "at", None) or ""
    place = f"{part.place} {at}" if part.place and at else ""
    who = " ".join(filter(None, (part.say or name, place or detail)))
    say = mode.say or " ".join((who, library.wording(mode)))
    unit = mode.blames or part.unit or part.say or name
    return Fault(
        label, name, unit, place, mode, mode.odds, say, mode.repair or part.repair or part.remedy
    )
