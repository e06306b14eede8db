"""A dictation in a process of its own, that is disturbed: typed words, real log, real clips."""

from __future__ import annotations

import errno
import json
import os
import signal
import sys
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, NoReturn

import numpy as np

from handsfree.cli import app as command_line
from handsfree.dialogue import Dialogue
from handsfree.errors import HandsfreeError
from handsfree.events import Logged
from handsfree.heard import Heard
from handsfree.job import Job
from handsfree.languages import load_language
from handsfree.log import encode_flac, open_job
from handsfree.log.opening import utc_now
from handsfree.plan import load_plan

_PLANS = Path(__file__).parents[1] / "data" / "plans" / "by-hand"
LOADED = load_plan(_PLANS / "flap-actuator-5wire.yaml")
DIALOGUE = Dialogue(LOADED.plan, load_language("en"))
SOUND = encode_flac(np.random.default_rng(0).uniform(-0.5, 0.5, 1600).astype(np.float32), 16_000)
SAID = """\
twelve point six volts
point oh two
correction point oh three
violet four point nine eight
point six one
strike that
point six two
note the seal is torn
point six
ground
over limit
what is expected
four nine
the second""".splitlines()

#: The last one is the dictation's.
CLOCK: list[Callable[[], datetime]] = [utc_now]
OPEN = os.open

#: Done in the dictation's own process before it begins.
Sabotage = Callable[[Path], None]


@dataclass(frozen=True)
class Outcome:
    """How a dictation ended.

    Attributes:
        told: events that were acknowledged, in order, as they were told.
        code: exit status; negative for a signal.
        said: what it wrote to standard error.
    """

    told: tuple[dict[str, Any], ...]
    code: int
    said: str

    @property
    def plain(self) -> bool:
        """Whether it ended without a traceback."""
        return "Traceback" not in self.said


def dictate(
    job: Path,
    sabotage: Sabotage = lambda _: None,
    meanwhile: Callable[[int, int], None] = lambda process, told: None,
) -> Outcome:
    """Dictate into a job, in a process of its own.

    Args:
        job: folder, new or to go on with.
        sabotage: done there before it begins.
        meanwhile: done here with its process id, and the pipe that tells its events, once the
            first event was told.
    """
    reading, writing = os.pipe()
    errors = job.with_suffix(".stderr")
    process = os.fork()
    if process == 0:
        os.close(reading)
        os.dup2(os.open(errors, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), 2)
        _run(job, writing, sabotage)
    os.close(writing)
    with os.fdopen(reading, "rb") as pipe:
        first = pipe.readline()
        if first:
            meanwhile(process, reading)
        lines = [first, *pipe.readlines()]
    _, status = os.waitpid(process, 0)
    told = tuple(json.loads(line) for line in lines if line.endswith(b"\n"))
    return Outcome(told, os.waitstatus_to_exitcode(status), errors.read_text(errors="replace"))


def _run(job: Path, told: int, sabotage: Sabotage) -> NoReturn:
    write = os.write  # the real one, whatever is done to it

    def tell(logged: Logged) -> None:
        write(told, json.dumps(logged.as_dict()).encode() + b"\n")

    def command() -> None:
        plan, title = LOADED.text.encode(), LOADED.plan.title
        with open_job(job, plan, title=title, clock=CLOCK[-1]) as log:
            session = Job(DIALOGUE, log, tell, lambda text: None)
            session.begin()
            for text in SAID:
                session.hear(Heard.of_text(text), SOUND)

    code = 1
    try:
        sys.stderr = os.fdopen(2, "w", buffering=1)
        command_line.app = command  # type: ignore[assignment]
        signal.signal(signal.SIGINT, signal.default_int_handler)
        sabotage(job)
        command_line.main()
        code = 0
    except SystemExit as ended:
        code = ended.code if isinstance(ended.code, int) else 1
    except BaseException:
        import traceback

        traceback.print_exc()
    finally:
        sys.stderr.flush()
        os._exit(code)


# Sabotage ---------------------------------------------------------------------------------------


def at_call(function: str, number: int, then: Callable[..., Any]) -> Sabotage:
    """Do something in place of the `number`-th call of a function of `os`."""

    def install(_: Path) -> None:
        real, calls = getattr(os, function), [0]

        def counted(*args: Any, **kwargs: Any) -> Any:
            calls[0] += 1
            return then(real, *args) if calls[0] == number else real(*args, **kwargs)

        setattr(os, function, counted)

    return install


def killed_inside(real: Callable[..., Any], descriptor: int, *data: bytes) -> None:
    """Half of a write, and no more of anything."""
    if data:
        real(descriptor, data[0][: len(data[0]) // 2])
    os.kill(os.getpid(), signal.SIGKILL)


def half_written(real: Callable[..., Any], descriptor: int, data: bytes) -> int:
    """A disk that becomes full within a write."""
    return int(real(descriptor, data[: len(data) // 2]))


def failing(number: int) -> Callable[..., NoReturn]:
    """A system call that fails."""

    def fail(*_: object) -> NoReturn:
        raise OSError(number, os.strerror(number))

    return fail


def from_then_on(number: int, error: int) -> Sabotage:
    """A disk that takes nothing from a call on, as one that the kernel makes read-only."""

    def install(_: Path) -> None:
        calls = [0]
        for name in ("write", "fsync", "ftruncate", "open", "rename", "replace", "mkdir"):
            real = getattr(os, name)

            def refused(*args: Any, real: Callable[..., Any] = real, **kwargs: Any) -> Any:
                calls[0] += 1
                reads = real is OPEN and not args[1] & (os.O_WRONLY | os.O_RDWR | os.O_CREAT)
                if calls[0] < number or reads:
                    return real(*args, **kwargs)
                raise OSError(error, os.strerror(error))

            setattr(os, name, refused)

    return install


def asleep(number: int, seconds: float) -> Sabotage:
    """The machine sleeps in the `number`-th event: all stands still, then the clock has jumped."""

    def install(_: Path) -> None:
        calls = [0]

        def now() -> datetime:
            calls[0] += 1
            if calls[0] == number:
                os.kill(os.getpid(), signal.SIGSTOP)
            return utc_now() + timedelta(seconds=seconds if calls[0] >= number else 0)

        CLOCK.append(now)

    return install


def out_of_memory(*_: object) -> NoReturn:
    """No memory is left."""
    raise MemoryError


ERRORS = (errno.ENOSPC, errno.EIO, errno.EROFS, errno.EDQUOT, errno.EACCES)

__all__ = ["DIALOGUE", "ERRORS", "LOADED", "SAID", "HandsfreeError", "Outcome", "dictate"]
