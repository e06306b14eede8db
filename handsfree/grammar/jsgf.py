"""The JSpeech Grammar Format: text in, a tree of expansions out.

Source: JSpeech Grammar Format, W3C Note 05 June 2000.  Read here: grammar headers,
imports, public and private rules, sequences, alternatives with weights, grouping,
options, the Kleene star, the plus, tags, comments, `<NULL>` and `<VOID>`.  Recursion
is refused, because a spoken command language has no need of it and every engine
wants a finite automaton.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

from lark import Lark, Token, Transformer, UnexpectedInput, v_args
from lark.lark import PostLex

from handsfree.errors import BadInput


@dataclass(frozen=True, slots=True)
class Terminal:
    """One word to be spoken."""

    text: str


@dataclass(frozen=True, slots=True)
class Ref:
    """A reference to a rule, by its simple name."""

    name: str


@dataclass(frozen=True, slots=True)
class Sequence:
    """Parts in order; an empty one is `<NULL>`."""

    parts: tuple[Expansion, ...]


@dataclass(frozen=True, slots=True)
class Choice:
    """Alternatives with their weights; an empty one is `<VOID>`."""

    options: tuple[tuple[float, Expansion], ...]


@dataclass(frozen=True, slots=True)
class Repeat:
    """A part said `least` (0 or 1) times, and again if `many`."""

    part: Expansion
    least: int
    many: bool


@dataclass(frozen=True, slots=True)
class Tagged:
    """A part that carries meaning when it is said."""

    part: Expansion
    tags: tuple[str, ...]


Expansion = Terminal | Ref | Sequence | Choice | Repeat | Tagged

NULL = Sequence(())
VOID = Choice(())


@dataclass(frozen=True, slots=True)
class Grammar:
    """One grammar file.

    Attributes:
        name: the full name in its header.
        imports: names as written, such as "handsfree.en.numbers.*".
        rules: rule name to expansion.
        public: names of the rules that other grammars may import.
        source: the file it came from, for messages.
    """

    name: str
    imports: tuple[str, ...]
    rules: dict[str, Expansion]
    public: frozenset[str]
    source: str = "<text>"
    lines: dict[str, int] = field(default_factory=dict)


_SYNTAX = r"""
start: HEADER? declaration import_line* rule*
declaration: "grammar" WORD ";"
import_line: "import" RULE ";"
rule: PUBLIC? RULE "=" choice ";"
choice: option ("|" option)*
option: WEIGHT? sequence
sequence: tagged+
tagged: repeat TAG*
repeat: atom MARK?
?atom: WORD -> word
     | QUOTED -> quoted
     | RULE -> ref
     | "(" choice ")" -> group
     | "[" choice "]" -> optional
HEADER: /#JSGF[^;]*;/
PUBLIC: "public"
RULE: /<[^<>\s]+>/
WORD: /[^\s;=|*+<>()\[\]{}\/"#]+/
QUOTED: /"(\\.|[^"\\])*"/
WEIGHT: /\/\s*([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][+-]?[0-9]{1,2})?\s*\//
MARK: /[*+]/
TAG: /\{(\\.|[^}\\])*\}/
COMMENT: /\/\/[^\n]*/ | /\/\*(.|\n)*?\*\//
%import common.WS
%ignore WS
%ignore COMMENT
"""


def _simple(rule: str) -> str:
    """The simple name in "<package.grammar.rule>"."""
    return rule.strip("<>").rsplit(".", 1)[-1]


@v_args(inline=True)
class _Build(Transformer[Token, object]):
    def word(self, token: Token) -> Expansion:
        return Terminal(str(token))

    def quoted(self, token: Token) -> Expansion:
        words = str(token)[1:-1].replace('\\"', '"').split()
        return Sequence(tuple(map(Terminal, words)))

    def ref(self, name: Token) -> Expansion:
        short = _simple(name)
        special: dict[str, Expansion] = {"NULL": NULL, "VOID": VOID}
        return special.get(short, Ref(short))

    def group(self, choice: Expansion) -> Expansion:
        return choice

    def optional(self, choice: Expansion) -> Expansion:
        return Repeat(choice, 0, many=False)

    def repeat(self, atom: Expansion, mark: Token | None = None) -> Expansion:
        return atom if mark is None else Repeat(atom, 0 if mark == "*" else 1, many=True)

    def tagged(self, part: Expansion, *tags: Token) -> Expansion:
        texts = tuple(str(t)[1:-1].replace("\\}", "}").strip() for t in tags)
        return Tagged(part, texts) if texts else part

    def sequence(self, *parts: Expansion) -> Expansion:
        return parts[0] if len(parts) == 1 else Sequence(parts)

    def option(self, *items: Token | Expansion) -> tuple[float, Expansion]:
        if isinstance(items[0], Token):
            return float(items[0].strip("/ \t")), items[1]  # type: ignore[return-value]
        return 1.0, items[0]

    def choice(self, *options: tuple[float, Expansion]) -> Expansion:
        plain = len(options) == 1 and options[0][0] == 1.0
        return options[0][1] if plain else Choice(options)

    def declaration(self, name: Token) -> str:
        return str(name)

    def import_line(self, name: Token) -> tuple[str, str]:
        return "import", str(name)[1:-1]

    def rule(self, *items: Token | Expansion) -> tuple[bool, Token, Expansion]:
        *public, name, body = items
        return bool(public), name, body  # type: ignore[return-value]


#: Brackets within brackets, at most.
MOST_NESTED = 100


class _Bounded(PostLex):
    """Lets no more than `MOST_NESTED` brackets be open; the parser itself knows no bound."""

    def process(self, stream: Iterator[Token]) -> Iterator[Token]:
        depth = 0
        for token in stream:
            depth += (token in ("(", "[")) - (token in (")", "]"))
            if depth > MOST_NESTED:
                raise RecursionError
            yield token


@lru_cache(maxsize=1)
def _parser() -> Lark:
    """Makes expansions while it reads, with no tree between: in half the time."""
    return Lark(_SYNTAX, parser="lalr", transformer=_Build(), postlex=_Bounded())


def parse(text: str, source: str = "<text>") -> Grammar:
    """Read one grammar.

    Raises:
        BadInput: not JSGF, or a rule is defined twice, both with the line; or nested too deeply.
    """
    try:
        items: list[Any] = _parser().parse(text).children
    except UnexpectedInput as error:
        raise BadInput(
            "not a grammar in the JSpeech Grammar Format",
            where=f"{source}, line {error.line}",
            remedy=error.get_context(text).rstrip(),
        ) from error
    except RecursionError as error:
        raise BadInput("the grammar is nested too deeply", where=source) from error
    name, imports, rules, lines = "", [], {}, {}
    public: set[str] = set()
    for item in items:
        match item:
            case Token():
                continue
            case str():
                name = item
            case ("import", str() as target):
                imports.append(target)
            case (is_public, Token() as rule, body):
                short = _simple(rule)
                if short in rules:
                    where = f"{source}, line {rule.line}"
                    raise BadInput(f"the rule <{short}> is defined twice", where=where)
                rules[short] = body
                lines[short] = rule.line or 0
                if is_public:
                    public.add(short)
    return Grammar(name, tuple(imports), rules, frozenset(public), source, lines)


def phrase(text: str) -> Expansion:
    """The words of `text` in order."""
    words = tuple(map(Terminal, text.lower().split()))
    return words[0] if len(words) == 1 else Sequence(words)


def choice(options: Iterable[Expansion]) -> Expansion:
    """Any of `options`, equally likely."""
    return Choice(tuple((1.0, option) for option in options))


def references(expansion: Expansion) -> Iterator[str]:
    """Names of the rules that `expansion` mentions."""
    match expansion:
        case Ref(name):
            yield name
        case Sequence(parts):
            for part in parts:
                yield from references(part)
        case Choice(options):
            for _, option in options:
                yield from references(option)
        case Repeat(part=part) | Tagged(part=part):
            yield from references(part)
