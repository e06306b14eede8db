"""The process in which an engine lives; `handsfree.words.apart` starts and watches it.

    python -m handsfree.words.served

The first message says how the engine is opened, each further one is a grammar or an utterance, or
that one is not waited for any more.  It ends when its input does, and at the first error: what an
engine is in afterwards nobody knows.
"""

from __future__ import annotations

import os
import pickle
import queue
import signal
import sys
import threading
from contextlib import suppress
from functools import partial
from pathlib import Path
from typing import BinaryIO

from handsfree.errors import HandsfreeError
from handsfree.grammar import Automaton
from handsfree.words.apart import Broke, Engine, GiveUp, Prepare, Task, Unwanted
from handsfree.words.recogniser import GivenUp

MEMORY_FIRST = b"500"
"""Of -1000 to 1000: where memory is short, Linux ends this process before the one with the log."""


def understand(tasks: BinaryIO, answers: BinaryIO) -> None:
    """Open the engine, and understand utterances until there are no more."""

    def answer(message: object) -> None:
        pickle.dump(message, answers)
        answers.flush()

    try:
        engine = pickle.load(tasks)()
    except HandsfreeError as error:
        answer(error)
        return
    answer(Engine(engine.name, engine.numbers_trusted, engine.pace, engine.calibration))
    inbox = Inbox(tasks)
    grammars: dict[int, Automaton] = {}
    while task := inbox.next():
        if isinstance(task, Prepare):
            if not grammars and hasattr(engine, "warm_up"):
                engine.warm_up(task.grammar)
            grammars[task.place] = task.grammar
            continue
        if hasattr(engine, "wanted"):
            engine.wanted = partial(inbox.wanted, task.number)
        try:
            answer(engine.recognise(task.samples, grammars[task.place], task.hint))
        except GivenUp:
            answer(Unwanted())
        except MemoryError:
            answer(Broke("ran out of memory"))
            return
        except Exception as error:
            answer(Broke(f"failed: {type(error).__name__}: {error}"[:300]))
            return


class Inbox:
    """What is to be done, read in a thread of its own, so that a task can be given up.

    Args:
        tasks: pickled, one after another.
    """

    def __init__(self, tasks: BinaryIO) -> None:
        self._tasks = tasks
        self._waiting: queue.SimpleQueue[Task | Prepare | None] = queue.SimpleQueue()
        self._given_up = 0
        threading.Thread(target=self._read, daemon=True).start()

    def next(self) -> Task | Prepare | None:
        """The next; None once there are no more."""
        return self._waiting.get()

    def wanted(self, number: int) -> bool:
        """Whether the task with this number has not been given up."""
        return number > self._given_up

    def _read(self) -> None:
        try:
            while True:
                message = pickle.load(self._tasks)
                if isinstance(message, GiveUp):
                    self._given_up = message.number
                else:
                    self._waiting.put(message)
        except (EOFError, OSError, pickle.UnpicklingError):
            self._waiting.put(None)


def through_pipes() -> None:
    """Serve through standard input and output, which are nobody else's then."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the program itself decides when to end
    with suppress(OSError):  # only Linux has it
        Path("/proc/self/oom_score_adj").write_bytes(MEMORY_FIRST)
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # what an engine prints is no answer
    with suppress(EOFError, BrokenPipeError):  # the program has ended
        understand(sys.stdin.buffer, answers)
    os._exit(0)  # and no engine's farewell is waited for


if __name__ == "__main__":
    through_pipes()
