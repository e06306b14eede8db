"""A grammar for a test, out of the body of one JSGF rule."""

from handsfree.grammar import Automaton
from handsfree.grammar.building import build
from handsfree.grammar.jsgf import parse


def grammar(body: str) -> Automaton:
    rules = parse(f"#JSGF V1.0; grammar g; <top> = {body};").rules
    return build(rules["top"], rules.__getitem__)
