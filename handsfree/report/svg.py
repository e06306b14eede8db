"""Drawings as SVG.  ElementTree escapes whatever text and attribute is put into them.

Presentation attributes only, no style sheet: the page's policy allows none within a drawing, and
what makes the PDF applies none.
"""

from __future__ import annotations

import textwrap
from xml.etree.ElementTree import Element, SubElement, tostring

from markupsafe import Markup

from handsfree.showable import showable

INK, SOFT_INK, FAINT_INK, PAPER = "#1c2326", "#4d585d", "#c3cacd", "#ffffff"
GOOD, BAD, EDGE_INK = "#1d6b43", "#9c2b16", "#7a4f00"
#: Width of a character as a share of the size of the type; DejaVu Sans is about that wide.
_WIDE = 0.62


class Drawing:
    """One drawing; lengths are in units of its own, a pixel where there is room.

    Args:
        name: unique in the page.
        title: what it is, for those who cannot see it.
        about: what it shows, likewise.
    """

    def __init__(self, name: str, title: str, about: str) -> None:
        self.root = Element("svg", {"role": "img", "aria-labelledby": f"{name}-t {name}-d"})
        self.root.set("xmlns", "http://www.w3.org/2000/svg")
        self.root.set("font-family", "DejaVu Sans, Verdana, sans-serif")
        SubElement(self.root, "title", {"id": f"{name}-t"}).text = showable(title)
        SubElement(self.root, "desc", {"id": f"{name}-d"}).text = showable(about)

    def sized(self, width: float, height: float) -> Markup:
        """The drawing as markup, of this size."""
        self.root.set("viewBox", f"0 0 {width:g} {height:g}")
        self.root.set("width", f"{width:g}")
        self.root.set("height", f"{height:g}")
        return Markup(tostring(self.root, encoding="unicode"))

    def put(self, tag: str, /, **attributes: object) -> Element:
        """An element; an underscore in a name stands for a hyphen."""
        given = {name.replace("_", "-"): _written(value) for name, value in attributes.items()}
        return SubElement(self.root, tag, given)

    def line(self, x1: float, y1: float, x2: float, y2: float, **look: object) -> None:
        """A line, black and thin unless `look` says otherwise."""
        self.put("line", x1=x1, y1=y1, x2=x2, y2=y2, **{"stroke": INK, "stroke_width": 1.2, **look})

    def box(self, x: float, y: float, width: float, height: float, **look: object) -> None:
        """A box, white with a thin edge unless `look` says otherwise."""
        shape = {"x": x, "y": y, "width": width, "height": height, "rx": 3}
        self.put("rect", **{"fill": PAPER, "stroke": INK, "stroke_width": 1.2, **shape, **look})

    def dot(self, x: float, y: float, radius: float = 2.5, **look: object) -> None:
        """A dot."""
        self.put("circle", cx=x, cy=y, r=radius, **{"fill": INK, **look})

    def text(self, x: float, y: float, text: str, size: float = 11, **look: object) -> None:
        """One line of text."""
        self.put("text", x=x, y=y, font_size=size, **{"fill": INK, **look}).text = showable(text)

    def wire(self, x1: float, x2: float, y: float, main: str, stripe: str | None) -> None:
        """A horizontal length of wire in its colours, edged so that white and black are seen."""
        self.line(x1, y, x2, y, stroke=INK, stroke_width=9)
        self.line(x1, y, x2, y, stroke=main, stroke_width=6.5)
        if stripe:
            self.line(x1, y, x2, y, stroke=stripe, stroke_width=6.5, stroke_dasharray="5 9")


def lines_of(text: str, width: float, size: float = 11) -> list[str]:
    """Text in lines that are no wider than `width`."""
    return textwrap.wrap(text, max(int(width / (_WIDE * size)), 4)) or [""]


def _written(value: object) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".") if isinstance(value, float) else str(value)
