"""Any key of a terminal, or of a foot switch, in a process of its own on a terminal of its own."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

termios = pytest.importorskip("termios", reason="needs a POSIX terminal")

PROGRAMME = """
import sys, threading
from handsfree.live.keys import watch
pressed = threading.Semaphore(0)
watch(pressed.release)
print("ready", flush=True)
for _ in range(3):
    pressed.acquire()
    print("pressed", flush=True)
"""


def test_keys_come_without_enter_and_the_terminal_is_given_back() -> None:
    ours, theirs = os.openpty()
    before = termios.tcgetattr(theirs)
    with subprocess.Popen(
        [sys.executable, "-c", PROGRAMME], stdin=theirs, stdout=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout
        assert process.stdout.readline() == "ready\n"
        for key in (b"x", b" ", b"\x1b[15~"):  # the last one is F5: five bytes, one press
            os.write(ours, key)
            assert process.stdout.readline() == "pressed\n"
        assert process.wait(20) == 0
    assert termios.tcgetattr(theirs) == before


def test_an_input_that_ends_is_no_press() -> None:
    done = subprocess.run(
        [sys.executable, "-c", PROGRAMME.replace("range(3)", "range(0)")],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    )
    assert done.stdout == "ready\n"
