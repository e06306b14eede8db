"""An engine in a process of its own, so that whatever becomes of it the job goes on.

Engines are foreign code in C++ that crash, hang and eat memory.  Here one that does costs the
utterance that it had, and is started again.  `handsfree.words.served` is the other side: messages
are pickled, through its standard input and output.
"""

from __future__ import annotations

import pickle
import signal
import subprocess
import sys
import threading
import weakref
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass

from handsfree.errors import HandsfreeError, Missing
from handsfree.grammar import Automaton
from handsfree.heard import Calibration
from handsfree.sound.audio import RATE, Samples
from handsfree.words.recogniser import Recogniser, Recognition

ENGINE_OPENS_WITHIN = 300.0
"""Seconds that an engine may take to open."""

ANSWERS_WITHIN = 30.0
"""Seconds that it may take over an utterance of no length."""

SLOWNESS = 10.0
"""Seconds more for each second of the utterance."""

GRAMMARS_KEPT = 8
"""Grammars that the process keeps; a job goes to and fro between a few, each of a megabyte."""


@dataclass(frozen=True, slots=True)
class Engine:
    """What a process tells once its engine is open: see `Recogniser`."""

    name: str
    numbers_trusted: bool
    pace: float
    calibration: Calibration


@dataclass(frozen=True, slots=True)
class Prepare:
    """A grammar to be kept.

    Attributes:
        place: among those that the process keeps.
        grammar: it.
    """

    place: int
    grammar: Automaton


@dataclass(frozen=True, slots=True)
class Task:
    """An utterance to be understood.

    Attributes:
        number: from 1.
        samples, hint: see `Recogniser.recognise`.
        place: of its grammar among those that the process keeps.
    """

    number: int
    samples: Samples
    hint: str
    place: int


@dataclass(frozen=True, slots=True)
class GiveUp:
    """The answer to a task is not wanted any more.

    Attributes:
        number: of the task.
    """

    number: int


@dataclass(frozen=True, slots=True)
class Unwanted:
    """The answer to a task that was given up."""


@dataclass(frozen=True, slots=True)
class Broke:
    """The engine made nothing of an utterance, and its process has ended."""

    why: str


class Apart:
    """A recogniser whose engine lives in another process, which ends with this object.

    Args:
        open_engine: opens the engine, there; what `pickle` can name.

    Raises:
        Missing: the engine or its model is not there.
        BadInput: what else it says of itself.
    """

    def __init__(self, open_engine: Callable[[], Recogniser]) -> None:
        self._open_engine = open_engine
        self._start()
        match self._answer(ENGINE_OPENS_WITHIN):
            case Engine() as engine:
                self._opening = False
            case HandsfreeError() as error:
                self.close()
                raise error
            case Broke(why=why):
                self.close()
                raise Missing(f"the engine does not open: it {why}", where="--engine")
        self.name, self.numbers_trusted = engine.name, engine.numbers_trusted
        self.pace, self.calibration = engine.pace, engine.calibration

    def recognise(self, samples: Samples, grammar: Automaton, hint: str = "") -> Recognition:
        """See `Recogniser.recognise`; what the engine broke on says so."""
        found = self._recognised(samples, grammar, hint, guess=False)
        assert found
        return found

    def guess(self, samples: Samples, grammar: Automaton, hint: str = "") -> Recognition | None:
        """What `recognise` would say; None if it was given up meanwhile."""
        return self._recognised(samples, grammar, hint, guess=True)

    def give_up(self) -> None:
        """No guess is waited for any more; from any thread."""
        with self._sending:
            if self._guess:
                self._send(GiveUp(self._guess))

    def prepare(self, grammar: Automaton) -> None:
        """Let the process have a grammar that will be needed; from any thread."""
        with self._sending:
            if not self._opening:
                self._place(grammar)

    def close(self) -> None:
        """End the process, as is done when nobody needs it any more."""
        self._end()

    def _start(self) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-m", "handsfree.words.served"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
        )
        self._end = weakref.finalize(self, _end, self._process)
        self._opening = True
        self._sending = threading.Lock()
        self._grammars: list[Automaton | None] = [None] * GRAMMARS_KEPT
        self._next = 0
        self._asked = self._guess = 0  # numbers of the last task, and of it if it is a guess
        self._send(self._open_engine)

    def _recognised(
        self, samples: Samples, grammar: Automaton, hint: str, *, guess: bool
    ) -> Recognition | None:
        found = self._understood(samples, grammar, hint, guess=guess)
        if not isinstance(found, Broke):
            return None if isinstance(found, Unwanted) else found
        self.close()
        self._start()  # it opens while the technician is told
        return Recognition((), broke=f"the recogniser {found.why}")

    def _understood(
        self, samples: Samples, grammar: Automaton, hint: str, *, guess: bool
    ) -> Recognition | Broke | Unwanted:
        if self._opening:
            match self._answer(ENGINE_OPENS_WITHIN):
                case Engine():
                    self._opening = False
                case HandsfreeError() as error:
                    return Broke(f"does not open again: {error.what}")
                case Broke(why=why):
                    return Broke(f"does not open again: it {why}")

        def ask() -> None:
            with self._sending:
                self._asked += 1
                self._guess = self._asked if guess else 0
                self._send(Task(self._asked, samples, hint, self._place(grammar)))

        answer = self._answer(ANSWERS_WITHIN + SLOWNESS * len(samples) / RATE, ask)
        assert isinstance(answer, Recognition | Broke | Unwanted)
        return answer

    def _place(self, grammar: Automaton) -> int:
        """Of a grammar in the process, which is given it if it does not have it."""
        known = [place for place, kept in enumerate(self._grammars) if kept is grammar]
        if known:
            return known[0]
        place, self._next = self._next, (self._next + 1) % GRAMMARS_KEPT
        self._grammars[place] = grammar
        self._send(Prepare(place, grammar))
        return place

    def _answer(self, seconds: float, ask: Callable[[], None] = lambda: None) -> object:
        """What the process says next, to what it is asked or of itself; `Broke` if nothing."""
        process, late = self._process, threading.Event()

        def give_up() -> None:
            late.set()
            process.kill()

        timer = threading.Timer(seconds, give_up)
        timer.daemon = True
        timer.start()
        try:
            ask()
            assert process.stdout
            return pickle.load(process.stdout)
        except (OSError, EOFError, pickle.UnpicklingError):
            code = process.wait()
            return Broke(f"did not answer for {seconds:.0f} s" if late.is_set() else _ended(code))
        finally:
            timer.cancel()

    def _send(self, message: object) -> None:
        assert self._process.stdin
        with suppress(BrokenPipeError):  # it has ended: so its answer tells
            pickle.dump(message, self._process.stdin)
            self._process.stdin.flush()


def _end(process: subprocess.Popen[bytes]) -> None:
    process.kill()
    process.wait()
    for stream in (process.stdin, process.stdout):
        assert stream
        with suppress(OSError):  # what was not sent is not missed
            stream.close()


def _ended(code: int) -> str:
    """How a process ended, for people."""
    if code >= 0:
        return f"ended with exit code {code}"
    try:
        return f"was ended by {signal.Signals(-code).name}"
    except ValueError:
        return f"was ended by signal {-code}"
