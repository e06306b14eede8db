"""A console that shows what it is given and obeys none of it."""

from __future__ import annotations

from typing import Any

from rich.console import (
    Console,
    ConsoleOptions,
    ConsoleRenderable,
    RenderableType,
    RenderHook,
    RenderResult,
)
from rich.segment import Segment

from handsfree.showable import showable


class Showable:
    """Something to draw, without what a terminal would obey in its texts."""

    def __init__(self, drawn: RenderableType) -> None:
        self._drawn = drawn

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """For rich."""
        for text, style, control in console.render(self._drawn, options):
            yield Segment(text if control else showable(text), style, control)


class _Shown(RenderHook):
    def process_renderables(self, renderables: list[ConsoleRenderable]) -> list[ConsoleRenderable]:
        return [Showable(one) for one in renderables]


class ShowingConsole(Console):
    """A console on which texts have no markup and no command."""

    def __init__(self, **settings: Any) -> None:
        """Settings as Rich has them."""
        super().__init__(markup=False, **settings)
        self.push_render_hook(_Shown())
