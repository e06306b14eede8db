"""What may be said: JSGF files, made into the automaton that parser and engines share."""

from handsfree.grammar.automaton import Automaton
from handsfree.grammar.language import Language
from handsfree.grammar.moment import Moment, SpokenPlan, unknown_colours
from handsfree.grammar.numerals import Number, number_of
from handsfree.grammar.parsing import ANY, NUMERAL, Arc, Parser
from handsfree.grammar.text import parse_text

__all__ = [
    "ANY",
    "NUMERAL",
    "Arc",
    "Automaton",
    "Language",
    "Moment",
    "Number",
    "Parser",
    "SpokenPlan",
    "number_of",
    "parse_text",
    "unknown_colours",
]
