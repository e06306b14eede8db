"""The view on a terminal: one screen, drawn anew when something changes."""

from __future__ import annotations

import threading

from rich.console import Console
from rich.live import Live

from handsfree.display.consoles import Showable
from handsfree.display.glance import Glance
from handsfree.display.screen import closing, screen
from handsfree.showable import showable

#: Seconds between two drawings, at least; and at most, for a terminal that was resized.
AT_LEAST, AT_MOST = 1 / 20, 0.5


class TerminalScreen:
    """Draws the latest view, in a thread of its own, on the alternate screen of a terminal.

    Args:
        glance: the first view.
        console: where to draw.
    """

    def __init__(self, glance: Glance, console: Console) -> None:
        self._glance = glance
        self._console = console
        self._changed = threading.Event()
        self._closing = threading.Event()
        self._thread = threading.Thread(target=self._draw, name="glance", daemon=True)
        self._thread.start()

    def show(self, glance: Glance) -> None:
        """Show this view soon; never waits for the terminal."""
        self._glance = glance
        self._changed.set()

    def close(self) -> None:
        """Give the terminal back, and leave one line on it that tells how the job stands."""
        self._closing.set()
        self._changed.set()
        self._thread.join(timeout=2)
        self._console.print(showable(closing(self._glance)), markup=False, highlight=False)

    def _draw(self) -> None:
        drawn: tuple[Glance, int, int] | None = None
        with Live(console=self._console, screen=True, auto_refresh=False) as live:
            while not self._closing.wait(AT_LEAST):
                self._changed.wait(AT_MOST)
                self._changed.clear()
                wanted = (self._glance, *self._console.size)
                if wanted != drawn:
                    live.update(Showable(screen(*wanted)), refresh=True)
                    drawn = wanted
