"""A spoken language: its grammars, its prompts and its pronunciations, all of them data."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

from handsfree.errors import BadInput
from handsfree.grammar import jsgf
from handsfree.grammar.automaton import Automaton
from handsfree.grammar.building import Unfolding, build
from handsfree.grammar.intents import Intents
from handsfree.grammar.numerals import number_of

Bindings = Mapping[str, jsgf.Expansion]

_WORD = re.compile(r"[^\W\d_]+(?:'[^\W\d_]+)*'?")


@dataclass(frozen=True)
class Language:
    """The grammars of one language, with their slots still open.

    A slot is a rule that the grammar file leaves `<VOID>`; a binding fills it.

    Attributes:
        name: such as "en".
        rules: every rule of every grammar file, by its simple name.
        prompts: what the tool says, by key.
        pronunciations: word to its pronunciations in the phones of the acoustic model.
        spaced: whether its words are always written apart.
        alike: pairs of words that are taken for each other, each both ways round.
        homophones: a word as a transcriber may write it, to the word that it sounds like.
        spellings: a word of a dialect, to the plain words for it.
        denials: words that deny what is said around them, or make it somebody else's.
        guards: words that make a value or a wish into something else.
        fillers: words that add nothing to it.
        little: words that add nothing to a question to the tool.
        remarks: words of remarks beside a statement, by what they may do there.
        intents: tells what is mostly wanted by sentences that no grammar has; None if nothing can.
        conditions: what a person may set that no plan names, with other words for it.
        text_only: rules that no recogniser is given: those of the grammar NAME.gist.
    """

    name: str
    rules: Mapping[str, jsgf.Expansion]
    prompts: Mapping[str, str] = field(default_factory=dict)
    pronunciations: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    spaced: bool = True
    alike: frozenset[tuple[str, str]] = frozenset()
    homophones: Mapping[str, str] = field(default_factory=dict)
    denials: frozenset[str] = frozenset()
    guards: frozenset[str] = frozenset()
    fillers: frozenset[str] = frozenset()
    little: frozenset[str] = frozenset()
    text_only: frozenset[str] = frozenset()
    conditions: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    remarks: Mapping[str, frozenset[str]] = field(default_factory=dict)
    intents: Intents | None = None
    spellings: Mapping[str, str] = field(default_factory=dict)

    @classmethod
    def of_grammars(
        cls,
        name: str,
        grammars: list[jsgf.Grammar],
        prompts: Mapping[str, str] | None = None,
        pronunciations: Mapping[str, tuple[str, ...]] | None = None,
        *,
        spaced: bool = True,
        alike: Iterable[tuple[str, str]] = (),
        homophones: Mapping[str, str] | None = None,
        denials: Iterable[str] = (),
        guards: Iterable[str] = (),
        fillers: Iterable[str] = (),
        little: Iterable[str] = (),
        conditions: Mapping[str, Iterable[str]] | None = None,
        remarks: Mapping[str, Iterable[str]] | None = None,
        intents: Intents | None = None,
        spellings: Mapping[str, str] | None = None,
    ) -> Language:
        """Join grammar files.

        Raises:
            BadInput: a rule is defined in two files, or one that is used is defined in none.
        """
        rules: dict[str, jsgf.Expansion] = {}
        for grammar in grammars:
            for rule, body in grammar.rules.items():
                if rule in rules:
                    where = f"{grammar.source}, line {grammar.lines.get(rule, 0)}"
                    raise BadInput(f"the rule <{rule}> is defined in another file too", where=where)
                rules[rule] = body
        for grammar in grammars:
            for rule, body in grammar.rules.items():
                for used in jsgf.references(body):
                    if used not in rules:
                        where = f"{grammar.source}, line {grammar.lines.get(rule, 0)}"
                        raise BadInput(f"<{rule}> uses <{used}>, which is not there", where=where)
        both = frozenset(pair for a, b in alike for pair in ((a, b), (b, a)))
        return cls(
            name,
            rules,
            prompts or {},
            pronunciations or {},
            spaced,
            both,
            homophones or {},
            frozenset(denials),
            frozenset(guards),
            frozenset(fillers),
            frozenset(little),
            frozenset(r for g in grammars if g.name.endswith(".gist") for r in g.rules),
            {say: tuple(names) for say, names in (conditions or {}).items()},
            {use: frozenset(words) for use, words in (remarks or {}).items()},
            intents,
            spellings or {},
        )

    def automaton(self, rule: str | jsgf.Expansion, bindings: Bindings | None = None) -> Automaton:
        """The automaton of a rule, with slots filled by `bindings`."""
        start, filled = self._filled(rule, bindings)
        return replace(build(start, filled.__getitem__), spaced=self.spaced)

    def parser(self, rule: str | jsgf.Expansion, bindings: Bindings | None = None) -> Unfolding:
        """What reads texts along a rule, with slots filled by `bindings`."""
        start, filled = self._filled(rule, bindings)
        return Unfolding(start, filled.__getitem__, spaced=self.spaced)

    def _filled(
        self, rule: str | jsgf.Expansion, bindings: Bindings | None
    ) -> tuple[jsgf.Expansion, Bindings]:
        start = jsgf.Ref(rule) if isinstance(rule, str) else rule
        return start, {**self.rules, **(bindings or {})}

    def sound_alike(self, one: str, other: str) -> bool:
        """Whether two wordings differ only in words that are taken for each other."""
        pairs = zip(one.split(), other.split(), strict=False)
        differ = {pair for pair in pairs if pair[0] != pair[1]}
        return len(one.split()) == len(other.split()) and bool(differ) and differ <= self.alike

    def as_it_sounds(self, text: str) -> str:
        """`text` with the words that it sounds like: "for point to" is "four point two"."""
        return " ".join(self.homophones.get(word, word) for word in text.lower().split())

    def spelled_plainly(self, text: str) -> str:
        """`text` with plain words for those of dialects: "runnin'" is "running"."""
        return _WORD.sub(lambda word: self.spellings.get(word[0].lower(), word[0]), text)

    def warm_up(self) -> None:
        """Load what encodes sentences, so that the first that is strange need not wait for it."""
        if self.intents is not None:
            self.intents.encode(self.name)

    def phrases(self, rule: str, bindings: Bindings | None = None) -> list[str]:
        """Every sentence of a small rule, shortest first."""
        return [" ".join(words) for words, _ in self.automaton(rule, bindings).sentences()]

    def wordings(self, rule: str) -> Mapping[str, str]:
        """Tag to the first wording of `rule` that has this tag alone; made once."""
        if rule not in self._worded:
            said: dict[str, str] = {}
            for words, tags in self.automaton(rule).sentences():
                if len(tags) == 1:
                    said.setdefault(tags[0], " ".join(words))
            self._worded[rule] = said
        return self._worded[rule]

    @cached_property
    def _worded(self) -> dict[str, dict[str, str]]:
        return {}

    def called(self, kind: str, names: Iterable[str]) -> list[jsgf.Ref]:
        """The rules of `kind` that have one of `names` among their sentences.

        Args:
            kind: how the names of the rules begin: "when", "answer".
            names: as a plan calls a condition or an answer.
        """
        said = [name.split() for name in names]
        rules = [rule for rule in self.rules if rule.startswith(f"{kind}_")]
        return [jsgf.Ref(rule) for rule in rules if any(map(self._of_rule(rule).accepts, said))]

    def is_said(self, rule: str, words: Sequence[str]) -> bool:
        """Whether `words` are a sentence of a rule without slots."""
        return self._of_rule(rule).accepts(words)

    def _of_rule(self, rule: str) -> Unfolding:
        """What reads texts along a rule without slots; made once."""
        if rule not in self._made:
            self._made[rule] = self.parser(rule)
        return self._made[rule]

    @cached_property
    def _made(self) -> dict[str, Unfolding]:
        return {}

    @cached_property
    def _spoken_units(self) -> dict[str, list[str]]:
        said: dict[str, list[str]] = {}
        for rule in dict.fromkeys(UNIT_RULES.values()):
            for words, tags in self.automaton(rule).sentences():
                said.setdefault(tags[0].removeprefix("unit "), []).append(" ".join(words))
        return said

    def spoken_unit(self, symbol: str, *, one: bool = False) -> str | None:
        """The words for a unit: its first wording, or for `one` of it the second, if it has two."""
        ways = self._spoken_units.get(symbol)
        return ways[min(one, len(ways) - 1)] if ways else None

    @cached_property
    def spoken_digits(self) -> tuple[str, ...]:
        """The words for 0 to 9, as they are said back."""
        return tuple(self._below_thousand[n][0] for n in range(10))

    @cached_property
    def _below_thousand(self) -> dict[int, tuple[str, ...]]:
        said: dict[int, tuple[str, ...]] = {}
        for words, tags in self.automaton("below_thousand").sentences():
            said.setdefault(int(number_of(tags).value), tuple(words))
        return said

    def integer_words(self, number: int) -> tuple[str, ...]:
        """The words for `number`; from a thousand up digit by digit."""
        return self._below_thousand.get(number) or self.digit_words(str(number))

    def digit_words(self, digits: str) -> tuple[str, ...]:
        """A word for each of `digits`."""
        return tuple(self.spoken_digits[int(d)] for d in digits)

    def written(self, number: Iterable[str]) -> str:
        """The words of a number as the language writes them."""
        return (" " if self.spaced else "").join(number)

    @cached_property
    def letters(self) -> dict[str, tuple[str, ...]]:
        """Letter to its wordings, the one that is said back first."""
        said: dict[str, tuple[str, ...]] = {}
        for words, tags in self.automaton("letter").sentences():
            letter = tags[0].removeprefix("letter ")
            said[letter] = (*said.get(letter, ()), " ".join(words))
        return said

    def label_parts(self, label: str) -> list[tuple[str, list[tuple[str, ...]]]]:
        """Each letter and each run of digits of a pin's label, with its wordings.

        The first wording is the one that is said back; digits are a number, or each by itself.
        """
        parts = re.findall(r"\d+|\D", label.lower())
        return [(part, self._part_words(part)) for part in parts]

    def label_words(self, label: str) -> tuple[str, ...]:
        """The words of a pin's label as it is said back: "A12" is "A twelve"."""
        first = (word for _, ways in self.label_parts(label) for word in ways[0])
        return tuple(word.upper() if len(word) == 1 else word for word in first)

    def _part_words(self, part: str) -> list[tuple[str, ...]]:
        if not part.isdigit():
            return [(word,) for word in self.letters[part]]
        whole = [self.integer_words(int(part))] if part == str(int(part)) else []
        return list(dict.fromkeys((*whole, self.digit_words(part))))

    def with_colours(self, own: Mapping[str, Iterable[str]]) -> Language:
        """The language with colours of a plan's own: each to other words for it."""
        if not own:
            return self
        ways = [
            jsgf.Tagged(jsgf.choice(map(jsgf.phrase, (name, *others))), (f"colour {name}",))
            for name, others in own.items()
        ]
        more = jsgf.choice((self.rules["colour_name"], *ways))
        return replace(self, rules={**self.rules, "colour_name": more})

    @cached_property
    def colours(self) -> dict[str, str]:
        """Every wording of a wire colour, with the name of the colour in its tag."""
        found = self.automaton("colour_name").sentences()
        return {" ".join(words): tags[0].removeprefix("colour ") for words, tags in found}


#: Kind of quantity to the grammar rule of its units.
UNIT_RULES = {
    "voltage": "voltage",
    "resistance": "resistance",
    "current": "current",
    "frequency": "frequency",
    "temperature": "temperature",
    "duty cycle": "percentage",
    "share": "percentage",
    "time": "time",
    "capacitance": "capacitance",
}
