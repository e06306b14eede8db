"""A display: what is told to it is folded into a view, which a screen shows."""

from __future__ import annotations

import threading
from typing import Protocol

from handsfree.dialogue import Wording
from handsfree.display.fold import begin, fold
from handsfree.display.glance import Glance
from handsfree.events import Logged, PlanAmended, SoundLevel, Tell


class Screen(Protocol):
    """Something that shows the latest view."""

    def show(self, glance: Glance) -> None:
        """Show this view soon, without making the caller wait."""
        ...

    def close(self) -> None:
        """Stop showing."""
        ...


class Display:
    """Shows what is told to it; may be told from any thread.

    Args:
        wording: says wires, states and prompts.
        plain: is told every event that is not shown on a full screen; levels never.

    Attributes:
        glance: the view now.
    """

    def __init__(self, wording: Wording, plain: Tell) -> None:
        self.glance = begin(wording.plan)
        self._wording = wording
        self._plain = plain
        self._lock = threading.Lock()
        self._screen: Screen | None = None

    def tell(self, logged: Logged) -> None:
        """Take up an event of the job, a level, or that a microphone was lost or is back."""
        with self._lock:
            if isinstance(logged.event, PlanAmended):
                self._wording = self._wording.amended(logged.event.change)
            self.glance = fold(self.glance, logged.event, self._wording)
            if self._screen:
                self._screen.show(self.glance)
        if not isinstance(logged.event, SoundLevel):
            self._plain(logged)

    def on(self, screen: Screen) -> None:
        """Show the view on this screen from now on."""
        with self._lock:
            self._screen = screen
            screen.show(self.glance)

    def close(self) -> None:
        """Stop showing, and give the terminal or the port back."""
        with self._lock:
            screen, self._screen = self._screen, None
        if screen:
            screen.close()
