"""What may be said: JSGF files, made into the automaton that parser and engines share.

What needs a plan is imported when it is asked for: the process of an engine never does.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from handsfree.grammar.automaton import Automaton
from handsfree.grammar.language import Language
from handsfree.grammar.numerals import Number, number_of
from handsfree.grammar.parsing import ANY, NUMERAL, Arc, Parser
from handsfree.grammar.text import parse_text

if TYPE_CHECKING:
    from handsfree.grammar.moment import Moment, SpokenPlan, unknown_colours

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


def __getattr__(name: str) -> object:
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from handsfree.grammar import moment

    return getattr(moment, name)
