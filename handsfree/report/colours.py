"""How the colour of a wire is painted; its name always stands beside it."""

from __future__ import annotations

from handsfree.plan import Pin

#: Painted as near to the insulation as a screen gets; common practice, no published source.
_PAINT = {
    "black": "#1a1a1a",
    "brown": "#7a4a21",
    "red": "#d0241f",
    "orange": "#f08019",
    "yellow": "#f5d90a",
    "green": "#23873b",
    "blue": "#2457b8",
    "violet": "#7b3fa0",
    "purple": "#7b3fa0",
    "gray": "#8d9499",
    "grey": "#8d9499",
    "white": "#ffffff",
    "pink": "#ef93b6",
    "tan": "#d2b48c",
    "beige": "#d2b48c",
    "turquoise": "#24b8b0",
    "light blue": "#8cc0ee",
    "dark blue": "#14306e",
    "light green": "#96d68b",
    "dark green": "#0f4d24",
}
#: Of a colour that is not known here, such as one of the plan's own.
UNKNOWN_PAINT = "#e4e1da"


def paint(colour: str) -> str:
    """The paint of a colour word."""
    return _PAINT.get(colour.lower(), UNKNOWN_PAINT)


def paints(pin: Pin) -> tuple[str, str | None]:
    """The paints of a wire: main colour, and stripe if there is one."""
    return paint(pin.colour), paint(pin.stripe) if pin.stripe else None
