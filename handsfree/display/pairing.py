"""Pairing: who may see the page when it is open to the workshop's network, and be the headset.

A code of eight signs, 40 bits, is shown in the terminal.  Nobody is ever locked out for what
somebody else guessed: the right code is always taken.  A wrong guess keeps its connection busy
for a second (`handsfree.display.web`), and connections are few (`handsfree.display.door`), so at
most 128 guesses a second are possible.  Within the hour that a code lives these are 460,800 of
2^40, a chance of 1 in 2,400,000.
"""

from __future__ import annotations

import hmac
import secrets
import time
from collections.abc import Callable

ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
"""Base 32 of Crockford: no I, L, O or U; what looks alike is taken for the same."""
SIGNS = 8
LIVES = 3600.0
"""Seconds after which a code is no longer taken, and another is shown."""
BELIEVED = 64
"""Paired pages that are remembered; the oldest is forgotten first."""

_ALIKE = str.maketrans("OIL", "011")


class Pairing:
    """The code, and the pages that gave it.

    Args:
        clock: seconds, only ever going up.

    Attributes:
        announce: is told a new code when somebody comes after the old one has expired.
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._tokens: list[str] = []
        self.announce: Callable[[str], object] = lambda code: None
        self._make()

    @property
    def code(self) -> str:
        """As it is to be given; one that has expired is taken no more."""
        return self._code

    def _make(self) -> None:
        self._code = "".join(secrets.choice(ALPHABET) for _ in range(SIGNS))
        self._until = self._clock() + LIVES

    def fresh(self) -> None:
        """Somebody asks to be let in: make and announce a new code if the old one has expired."""
        if self._clock() >= self._until:
            self._make()
            self.announce(self._code)

    def admit(self, code: str) -> str | None:
        """A token for a page that gives the code; None for a wrong one."""
        self.fresh()
        given = "".join(filter(str.isalnum, code.upper())).translate(_ALIKE)
        if not hmac.compare_digest(given.encode(), self._code.encode()):
            return None
        token = secrets.token_urlsafe(32)
        self._tokens = [*self._tokens, token][-BELIEVED:]
        return token

    def knows(self, token: str) -> bool:
        """Whether a page was given this token."""
        given = token.encode(errors="replace")
        return any(hmac.compare_digest(given, known.encode()) for known in self._tokens)


def written_code(code: str) -> str:
    """A code as it is read and typed: in two groups."""
    return f"{code[:4]} {code[4:]}"
