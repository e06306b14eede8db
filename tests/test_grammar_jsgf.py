"""The grammar files, checked against pyjsgf (PyPI), an independent reader of JSGF.

Source of the format: JSpeech Grammar Format, W3C Note 05 June 2000.
"""

from __future__ import annotations

import random
import re
import sys
from collections.abc import Iterator
from pathlib import Path

import jsgf as pyjsgf
import pytest

from handsfree.errors import BadInput
from handsfree.grammar import Automaton, Language, jsgf
from handsfree.grammar.building import build
from handsfree.languages import data_folder

FILES = sorted(data_folder("grammars").glob("*/*.jsgf"))


def automaton(text: str, rule: str = "top") -> Automaton:
    rules = jsgf.parse(f"#JSGF V1.0;\ngrammar test;\n{text}").rules
    return build(jsgf.Ref(rule), rules.__getitem__)


def for_pyjsgf(text: str) -> str:
    """`text` without tags, and with letters for signs that pyjsgf 1.9 cannot always read."""
    letters = re.sub('[^\x00-\x7f]|"%"', lambda sign: f"u{ord(sign[0][-1]):x}", text)
    return re.sub(r"\{[^}]*\}", "", letters)


@pytest.fixture
def deep() -> Iterator[None]:
    """pyjsgf reads by recursion, one call or more for each word of a long rule."""
    limit = sys.getrecursionlimit()
    sys.setrecursionlimit(20_000)
    yield
    sys.setrecursionlimit(limit)


@pytest.mark.usefixtures("deep")
@pytest.mark.parametrize("path", FILES, ids=lambda path: f"{path.parent.name}/{path.name}")
def test_pyjsgf_reads_the_same_rules(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    theirs = pyjsgf.parse_grammar_string(for_pyjsgf(text))
    ours = jsgf.parse(text, str(path))
    assert set(theirs.rule_names) == set(ours.rules)
    assert {rule.name for rule in theirs.rules if rule.visible} == ours.public


@pytest.mark.parametrize("rule", ["state", "overload", "command"])
def test_pyjsgf_matches_what_is_sampled(rule: str) -> None:
    rng = random.Random(7)
    for path in FILES:
        grammar = jsgf.parse(text := path.read_text(encoding="utf-8"))
        if rule in grammar.rules:
            theirs = pyjsgf.parse_grammar_string(for_pyjsgf(text)).get_rule_from_name(rule)
            ours = Language.of_grammars("en", [grammar]).automaton(rule)
            sentences = [" ".join(ours.sample(rng)) for _ in range(100)]
            assert [s for s in sentences if not theirs.matches(for_pyjsgf(s))] == []


@pytest.mark.parametrize(
    ("rule", "accepted", "refused"),
    [  # the operators of section 4 of the note
        ("<top> = a b;", ["a b"], ["a", "b a"]),
        ("<top> = a | b c;", ["a", "b c"], ["a c", ""]),
        ("<top> = [a] b;", ["b", "a b"], ["a"]),
        ("<top> = (a | b) c;", ["a c", "b c"], ["c"]),
        ("<top> = a* b;", ["b", "a b", "a a a b"], ["a"]),
        ("<top> = a+;", ["a", "a a a"], [""]),
        ("<top> = /3/ a | /1/ b;", ["a", "b"], ["a b"]),
        ("<top> = <x> <NULL> b; <x> = a;", ["a b"], ["b"]),
        ("<top> = a | <VOID> b;", ["a"], ["b"]),
        ('<top> = "kilo ohm" | a;', ["kilo ohm"], ["kilo"]),
        ("// comment\n<top> = /* inside */ a;", ["a"], ["inside"]),
    ],
)
def test_operators(rule: str, accepted: list[str], refused: list[str]) -> None:
    made = automaton(rule)
    assert all(made.accepts(text.split()) for text in accepted)
    assert not any(made.accepts(text.split()) for text in refused)


def test_a_tag_belongs_to_what_stands_before_it() -> None:
    made = automaton("<top> = go {x} (left {l} | right {r}) {end};")
    assert made.parses(["go", "right"]) == [("x", "r", "end")]


def test_weights_steer_the_samples() -> None:
    made = automaton("<top> = /9/ a | /1/ b;")
    rng = random.Random(1)
    often = sum(made.sample(rng) == ["a"] for _ in range(1000))
    assert 850 < often < 950


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("<a> = b\n<c> = d;", "line 4"),
        ("<a> = b;\n<a> = c;", "line 4: the rule <a> is defined twice"),
        ("<a> = (b;", "line 3"),
    ],
)
def test_errors_name_the_line(text: str, message: str) -> None:
    with pytest.raises(BadInput, match=message):
        jsgf.parse(f"#JSGF V1.0;\ngrammar test;\n{text}")


def test_recursion_is_refused() -> None:
    with pytest.raises(BadInput, match="<top> -> <x> -> <top>"):
        automaton("<top> = a <x>; <x> = b <top>;")


@pytest.mark.parametrize("weight", ["1e", ".", "-1", "1e999", "1.2.3"])
def test_a_weight_is_a_number(weight: str) -> None:
    with pytest.raises(BadInput, match="line 3"):
        jsgf.parse(f"#JSGF V1.0;\ngrammar test;\n<a> = /{weight}/ b | c;")


@pytest.mark.parametrize("body", ["(<NULL> {t})*", "([a] {t})+", "((b {t})* {u})*"])
def test_what_is_silent_is_not_repeated_with_a_tag(body: str) -> None:
    """It would have meanings without end."""
    with pytest.raises(BadInput, match="without a word"):
        automaton(f"<top> = {body};")


def test_nesting_has_an_end() -> None:
    with pytest.raises(BadInput, match="nested too deeply"):
        automaton(f"<top> = {'(' * 2000}a{')' * 2000};")


def test_a_rule_that_is_not_there_is_named() -> None:
    grammar = jsgf.parse("#JSGF V1.0;\ngrammar test;\n<a> = <b>;", "g.jsgf")
    with pytest.raises(BadInput, match=r"g.jsgf, line 3: <a> uses <b>"):
        Language.of_grammars("en", [grammar])
