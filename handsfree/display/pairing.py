"""Pairing: who may see the page when it is open to the workshop's network.

A code of six digits is shown in the terminal.  After a few wrong guesses each further one has
to wait, twice as long every time, up to a minute, whoever makes it: in a working day of eight
hours some 490 guesses of a million are possible, a chance of 1 in 2000.
"""

from __future__ import annotations

import hmac
import secrets
import time
from collections.abc import Callable

CODE_DIGITS = 6
FREE = 5
"""Wrong guesses before waiting begins."""
LONGEST = 60.0
"""Seconds that a guess waits at most."""
BELIEVED = 64
"""Paired pages that are remembered; the oldest is forgotten first."""


class Pairing:
    """The code, and the pages that gave it.

    Args:
        clock: seconds, only ever going up.
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self.code = f"{secrets.randbelow(10**CODE_DIGITS):0{CODE_DIGITS}}"
        self._clock = clock
        self._tokens: list[str] = []
        self._wrong = 0
        self._open_at = clock()

    @property
    def wait(self) -> float:
        """Seconds until the next guess is looked at."""
        return max(self._open_at - self._clock(), 0.0)

    def admit(self, code: str) -> str | None:
        """A token for a page that gives the code; None for a wrong guess or one too early."""
        if self.wait:
            return None
        if not hmac.compare_digest(code.encode(), self.code.encode()):
            self._wrong += 1
            late = self._wrong - FREE
            if late >= 0:
                self._open_at = self._clock() + min(2.0**late, LONGEST)
            return None
        token = secrets.token_urlsafe(32)
        self._tokens = [*self._tokens, token][-BELIEVED:]
        return token

    def knows(self, token: str) -> bool:
        """Whether a page was given this token."""
        given = token.encode()
        return any(hmac.compare_digest(given, known.encode()) for known in self._tokens)
