"""How the colours of wires look on a screen: sRGB, our own choice, told apart on any ground.

A colour is never shown alone: its name in words stands beside it.
"""

from __future__ import annotations

#: Red, green and blue in hexadecimal, by the colour words of the grammar.
WIRE_COLOURS: dict[str, str] = {
    "black": "#141414",
    "brown": "#6b3f1d",
    "red": "#d3202a",
    "orange": "#f27a0f",
    "yellow": "#ffd91f",
    "green": "#12893f",
    "blue": "#1d5bd0",
    "violet": "#7d3fb8",
    "gray": "#8b8f92",
    "white": "#fafafa",
    "pink": "#f59abb",
    "tan": "#cfae84",
    "turquoise": "#18b3ad",
    "light blue": "#83bff2",
    "dark blue": "#132f86",
    "light green": "#8ad06a",
    "dark green": "#0e4f2a",
}
#: For a colour word that is not listed.
UNLISTED = "#8b8f92"


def rgb(colour: str) -> str:
    """A wire's colour as "#rrggbb"."""
    return WIRE_COLOURS.get(colour.replace("_", " "), UNLISTED)
