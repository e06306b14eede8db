"""Any key of the terminal, or a foot switch that types one."""

from __future__ import annotations

import atexit
import os
import sys
import threading
from collections.abc import Callable


def watch(pressed: Callable[[], None]) -> None:
    """Call `pressed`, from a thread, for every key until the input ends.

    A terminal gives its keys at once, without Enter, until the program ends; Ctrl-C works.
    """
    if not sys.stdin:
        return
    read = _windows() if os.name == "nt" else _posix()

    def each() -> None:
        while read():
            pressed()

    threading.Thread(target=each, daemon=True).start()


def _posix() -> Callable[[], object]:
    stdin = sys.stdin.fileno()
    if os.isatty(stdin):
        import termios
        import tty

        before = termios.tcgetattr(stdin)
        atexit.register(termios.tcsetattr, stdin, termios.TCSADRAIN, before)
        tty.setcbreak(stdin)
    return lambda: os.read(stdin, 16)  # one press may come as several bytes


def _windows() -> Callable[[], object]:
    import msvcrt

    getwch: Callable[[], object] = msvcrt.getwch  # type: ignore[attr-defined,unused-ignore]
    return getwch
