"""The grammar of a moment: a plan and a step fill the slots of the language.

Wires, conditions, units and answers come from the plan, so that only what can be said
now is active.
"""

from __future__ import annotations

from collections.abc import Hashable
from functools import cached_property
from typing import Literal, get_args

from handsfree.errors import BadInput
from handsfree.grammar.automaton import Automaton
from handsfree.grammar.building import Unfolding
from handsfree.grammar.filling import LEFT_OPEN, filled
from handsfree.grammar.jsgf import (
    VOID,
    Choice,
    Expansion,
    Ref,
    Repeat,
    Sequence,
    Tagged,
    Terminal,
    choice,
    phrase,
)
from handsfree.grammar.language import UNIT_RULES, Language
from handsfree.grammar.parsing import ANY, NUMERAL
from handsfree.plan.schema import Condition, Option, Pin, Plan, Step
from handsfree.plan.sheet import FreePlan, identifier
from handsfree.units import Kind

#: Words of no more letters are said in any talk.
_LITTLE = 4

Moment = Literal["beginning", "listening", "answering", "watching", "asleep"]


def _label(language: Language, label: str) -> Expansion:
    """Every way to say a pin's label, and to write it: "A2" is "a two", "A 2" and "A two"."""
    parts = (
        choice(
            Sequence(tuple(map(Terminal, words)))
            for words in dict.fromkeys((*said, (part,), (part.upper(),)))
        )
        for part, said in language.label_parts(label)
    )
    return Sequence(tuple(parts))


def unknown_colours(language: Language, plan: Plan) -> list[tuple[tuple[str | int, ...], str]]:
    """What is wrong with the colours of a plan: the path of each, and what to say of it.

    A colour of the wires that cannot be spoken; one of the plan's own that the grammar has.
    """
    own = language.with_colours(plan.colours).colours
    known = ", ".join(dict.fromkeys(own))
    unknown = [
        (
            ("connector", "pins", index, field),
            f"the grammar has no colour {name!r}; known: {known}. "
            f"Or add it to the plan: 'colours: {{{name}: []}}', with other words for it",
        )
        for index, pin in enumerate(plan.connector.pins)
        for field, name in (("colour", pin.colour), ("stripe", pin.stripe))
        if name and name not in own
    ]
    twice = [
        (("colours", name), f"the grammar has {word!r} already, for {language.colours[word]}")
        for name, others in plan.colours.items()
        for word in (name, *others)
        if word in language.colours
    ]
    return [*unknown, *twice]


def _colour(language: Language, name: str) -> Expansion:
    """Every wording of the colour that has `name` among its wordings."""
    if name not in language.colours:
        raise BadInput(f"the grammar has no colour {name!r}")
    same = language.colours[name]
    return choice(phrase(text) for text, colour in language.colours.items() if colour == same)


def _fill(language: Language, rule: str, **slots: Expansion) -> Expansion:
    """The body of `rule` with its slots replaced, as an expansion of its own."""

    def put(part: Expansion) -> Expansion:
        match part:
            case Ref(name) if name in slots:
                return slots[name]
            case Sequence(parts):
                return Sequence(tuple(map(put, parts)))
            case Choice(options):
                return Choice(tuple((w, put(o)) for w, o in options))
            case Repeat(inner, least, many):
                return Repeat(put(inner), least, many)
            case Tagged(inner, tags):
                return Tagged(put(inner), tags)
            case _:
                return part

    return put(language.rules[rule])


def wire_names(language: Language, plan: Plan, pin: Pin) -> Expansion:
    """Every way to name the wire of `pin`: colours, pin number, function, other names."""
    colour = _colour(language, pin.colour)
    base_is_unique = sum(p.colour == pin.colour for p in plan.connector.pins) == 1
    ways = []
    if pin.stripe:
        stripe = _colour(language, pin.stripe)
        ways.append(_fill(language, "striped_wire", colour=colour, stripe=stripe))
    if base_is_unique or not pin.stripe:
        ways.append(_fill(language, "plain_wire", colour=colour))
    ways.append(_fill(language, "numbered_wire", pin=_label(language, pin.number)))
    for name in (pin.function, *pin.names):
        ways.append(_fill(language, "named_wire", function=phrase(name)))
    return choice(ways)


def wires(language: Language, plan: Plan) -> Expansion:
    """Every wire of the plan, tagged "wire NUMBER"."""
    return choice(
        Tagged(wire_names(language, plan, pin), (f"wire {pin.number}",))
        for pin in plan.connector.pins
    )


def _condition(condition: Condition) -> Expansion:
    ways = choice(phrase(text) for text in (condition.say, *condition.names))
    return Tagged(ways, (f"condition {condition.id}",))


def _condition_gist(language: Language, condition: Condition) -> Expansion:
    """What a condition may be called in other words: "key's on" for "key on"."""
    names = [name.lower() for name in (condition.say, *condition.names)]
    ways: list[Expansion] = [*language.called("when", names)]
    for name in names:
        first, *rest = map(Terminal, name.split())
        link = Choice(((1.0, Sequence(())), (1.0, Terminal("'s")), (1.0, Terminal("is"))))
        ways.append(Sequence((first, link, *rest)) if rest else first)
    return Tagged(choice(ways), (f"condition {condition.id}",))


def _option_gist(language: Language, option: Option) -> Expansion:
    """What an answer may be called in other words."""
    return Tagged(
        choice(language.called("answer", [option.value, *option.names])),
        (f"option {option.value}",),
    )


def _option(language: Language, option: Option) -> Expansion:
    ways: list[Expansion] = [phrase(text) for text in (option.value, *option.names)]
    ways += [Ref(rule) for rule in ("yes", "no") if option.value in language.phrases(rule)]
    return Tagged(choice(ways), (f"option {option.value}",))


def _units(language: Language, plan: Plan, quantity: str | None) -> Expansion:
    """Units of what the plan measures and every meter shows; the bare prefixes of `quantity`."""
    kinds = {s.measure.quantity for s in plan.steps if s.measure.quantity}
    if isinstance(plan, FreePlan):
        kinds, quantity = set(get_args(Kind)), "resistance"
    rules = sorted({UNIT_RULES[kind] for kind in kinds | {"voltage", "resistance", "current"}})
    prefix = f"{UNIT_RULES[quantity]}_prefix" if quantity else ""
    return choice(Ref(rule) for rule in [*rules, prefix] if rule in language.rules)


def _conditions(language: Language, plan: Plan) -> Expansion:
    """The conditions of the plan; in a free job also those that may be named."""
    known = [_condition(one) for one in plan.conditions]
    if isinstance(plan, FreePlan):
        there = {one.say for one in plan.conditions}
        known += [
            Tagged(choice(map(phrase, (say, *names))), (f"condition {identifier(say)}",))
            for say, names in language.conditions.items()
            if say not in there
        ]
    return choice(known)


class SpokenPlan:
    """A plan in a language: gives the grammar of each of its moments.

    Attributes:
        language: whose words are spoken, with the plan's own colours.
        plan: gives wires, conditions, units and answers.
    """

    def __init__(self, language: Language, plan: Plan) -> None:
        self.language = language.with_colours(plan.colours)
        self.plan = plan
        self._made: dict[Hashable, Automaton] = {}
        self._read: dict[Hashable, Unfolding] = {}
        self._open: dict[Hashable, Automaton] = {}

    def of(self, plan: Plan) -> SpokenPlan:
        """Another plan in this language, as the job goes on; what is the same is kept."""
        other = SpokenPlan(self.language, plan)
        other._open = self._open
        if isinstance(plan, FreePlan) and plan.connector == self.plan.connector:
            other._made, other._read = self._made, self._read
        return other

    def may_be_told(self, moment: Moment) -> bool:
        """Whether something may be told of the vehicle itself."""
        described = self.plan.described is not None and moment == "beginning"
        return isinstance(self.plan, FreePlan) or described

    def _telling(self, moment: Moment) -> Expansion:
        """What may be told of the vehicle itself, in a language that has words for it."""
        rule = "free" if isinstance(self.plan, FreePlan) else "vehicle"
        may = self.may_be_told(moment) and rule in self.language.rules
        return Ref(rule) if may else VOID

    def slots(
        self, step: Step | None, *, written: bool, moment: Moment = "listening"
    ) -> dict[str, Expansion]:
        """What the plan and `step` put into the slots of the grammar.

        Args:
            step: gives the answers to its observation; None for none.
            written: also accept what a transcriber writes: digits and unit signs.
            moment: what is waited for.
        """
        units = _units(self.language, self.plan, step.measure.quantity if step else None)
        options = (step and step.measure.options) or ()
        return {
            "wire": wires(self.language, self.plan),
            "condition": _conditions(self.language, self.plan),
            "telling": self._telling(moment),
            "written_letter": choice(
                Tagged(Terminal(letter.upper()), (f"letter {letter}",))
                for letter in (self.language.letters if written else ())
            ),
            "written_volts": choice([Terminal("V"), Terminal("v")]) if written else VOID,
            "unit": choice([units, Ref("written")]) if written else units,
            "option": choice(_option(self.language, o) for o in options),
            "anything": Repeat(Terminal(ANY), 0, many=True),
            "numeral": Terminal(NUMERAL) if written else VOID,
            "possessive": Terminal("'s") if written else VOID,
        }

    @cached_property
    def number_words(self) -> frozenset[str]:
        """Words of which numbers are made, or that sound so; no repair may touch or produce one."""
        words = self.language.parser("number").vocabulary
        return words | {word for word, like in self.language.homophones.items() if like in words}

    @cached_property
    def plain_number_words(self) -> frozenset[str]:
        """Words of which numbers are made, without those that only sound so."""
        return self.number_words - self.language.homophones.keys()

    @cached_property
    def value_words(self) -> frozenset[str]:
        """Words of which values are made: numbers and units."""
        slots = self.slots(None, written=False)
        units = self.language.parser(slots["unit"], slots).vocabulary
        return self.number_words | units - {"a"}

    @cached_property
    def unit_words(self) -> frozenset[str]:
        """Words of which units alone are made."""
        return self.value_words - self.number_words

    @cached_property
    def name_words(self) -> frozenset[str]:
        """Words of which the names of wires and conditions are made."""
        slots = self.slots(None, written=False)
        names = choice([slots["wire"], slots["condition"]])
        return self.language.parser(names, slots).vocabulary - self.number_words

    @cached_property
    def words_for_the_tool(self) -> frozenset[str]:
        """Words by which somebody may be speaking to the tool: of its subject, and in a free job
        those of conditions, since a value after one that was missed is logged under another."""
        if not isinstance(self.plan, FreePlan):
            return self.subject_words
        said = (word for say, names in self.language.conditions.items() for word in (say, *names))
        return self.subject_words | {w for text in said for w in text.split() if len(w) > _LITTLE}

    @cached_property
    def subject_words(self) -> frozenset[str]:
        """Words that people say of what is measured: numerals, colours and names of wires."""
        number = self.language.parser("below_thousand").vocabulary
        names = {w for pin in self.plan.connector.pins for w in pin.function.lower().split()}
        colours = {word for wording in self.language.colours for word in wording.split()}
        return (number | names | colours) - self.language.parser("filler").vocabulary

    @cached_property
    def wire_words(self) -> frozenset[str]:
        """Words of which the names of wires are made, in any words; of each name at least one."""
        slots = self._slots_of_text(None)
        words = self.language.parser(slots["wire"], slots).vocabulary
        return words - self.number_words - {"the", "wire", "with", "a", "and"}

    def automaton(self, step: Step | None, moment: Moment = "listening") -> Automaton:
        """What a recogniser may hear at `step` in `moment`; made once and kept."""
        rule, step, key = self._what(step, moment)
        if key not in self._made:
            slots = self.slots(step, written=False, moment=moment)
            self._made.setdefault(key, self._automaton(rule, slots, moment))
        return self._made[key]

    def parser(self, step: Step | None, moment: Moment = "listening") -> Unfolding:
        """What reads a text at `step` in `moment`, figures and signs of units too; kept."""
        rule, step, key = self._what(step, moment)
        if key not in self._read:
            slots = self.slots(step, written=True, moment=moment)
            self._read.setdefault(key, self.language.parser(rule, slots))
        return self._read[key]

    def _what(self, step: Step | None, moment: Moment) -> tuple[str, Step | None, Hashable]:
        """The rule of a moment, the step as far as it matters, and by what the grammar is kept."""
        if isinstance(self.plan, FreePlan):
            step = None  # so that its grammar hangs on the names alone
        rule = "listening" if moment == "beginning" else moment
        told = moment if self.plan.described is not None else rule
        return rule, step, (_measured(step), told)

    def gist(self, step: Step | None, moment: Moment = "listening") -> Unfolding | None:
        """What may be meant at `step` in other words than the grammar's, in text; made once.

        None in a language without such rules.
        """
        rule = "gist" if moment in ("listening", "beginning") else f"gist_{moment}"
        step = None if isinstance(self.plan, FreePlan) else step
        if rule not in self.language.rules:
            return None
        key = _measured(step), rule
        if key not in self._read:
            options = (step and step.measure.options) or ()
            slots = self._slots_of_text(step) | {
                "telling_gist": self._telling("beginning"),
                "words": Repeat(Terminal(ANY), 0, many=True),
                "condition_gist": choice(
                    _condition_gist(self.language, one) for one in self.plan.conditions
                ),
                "option_gist": choice(_option_gist(self.language, one) for one in options),
            }
            self._read[key] = self.language.parser(rule, slots)
        return self._read[key]

    def several(self) -> tuple[Unfolding, Unfolding] | None:
        """What may be said before several values, and each of them; of text alone, made once.

        None in a language without such rules, and in a free job, whose wires come and go.
        """
        rules = "several_begin", "one_of_several"
        known = all(rule in self.language.rules for rule in rules)
        if not known or isinstance(self.plan, FreePlan):
            return None
        for rule in rules:
            if rule not in self._read:
                units = _units(self.language, self.plan, "resistance")
                slots = self._slots_of_text(None) | {"unit": choice([units, Ref("written")])}
                self._read.setdefault(rule, self.language.parser(rule, slots))
        begins, each = (self._read[rule] for rule in rules)
        return begins, each

    def unit_of_all(self) -> Unfolding | None:
        """What tells the unit of several values behind them, in text alone; made once.

        None in a language without such a rule.
        """
        rule = "unit_of_all"
        if rule not in self.language.rules:
            return None
        if rule not in self._read:
            units = _units(self.language, self.plan, None)
            slots = self._slots_of_text(None) | {"unit": choice([units, Ref("written")])}
            self._read.setdefault(rule, self.language.parser(rule, slots))
        return self._read[rule]

    @cached_property
    def wire(self) -> Unfolding:
        """What reads the name of a wire in a text, also by its role."""
        slots = self._slots_of_text(None)
        return self.language.parser(slots["wire"], slots)

    def denied(self, step: Step | None) -> Unfolding | None:
        """What denies a value that was said or heard before; of text alone, made once.

        None in a language without such a rule.
        """
        rule = "denied"
        if rule not in self.language.rules:
            return None
        step = None if isinstance(self.plan, FreePlan) else step
        key = _measured(step), rule
        if key not in self._read:
            self._read[key] = self.language.parser(rule, self._slots_of_text(step))
        return self._read[key]

    def _slots_of_text(self, step: Step | None) -> dict[str, Expansion]:
        """The slots of what is read in text alone: a wire may be called by its role."""
        roles = choice(
            Tagged(
                choice(
                    (
                        wire_names(self.language, self.plan, pin),
                        *self.language.called("role", (pin.function, *pin.names)),
                    )
                ),
                (f"wire {pin.number}",),
            )
            for pin in self.plan.connector.pins
        )
        return self.slots(step, written=True) | {"wire": roles}

    def _automaton(self, rule: str, slots: dict[str, Expansion], moment: Moment) -> Automaton:
        """The automaton of a rule; while wires may be told, only their names are made anew."""
        if not self.may_be_told(moment):
            return self.language.automaton(rule, slots)
        opened = slots | {"wire": Terminal(LEFT_OPEN)}
        key = rule, tuple(opened.items())
        if key not in self._open:
            self._open[key] = self.language.automaton(rule, opened)
        return filled(self._open[key], self.language.automaton(slots["wire"], slots))


def _measured(step: Step | None) -> Hashable:
    """What of a step its grammar hangs on."""
    return (step.measure.options, step.measure.quantity) if step else None
