"""The commands of `handsfree`, and how an error leaves it.

Exit codes: 0 fine, 2 wrong use or bad input, 3 `verify` found damage, 4 a device, an
engine, a model or a voice is missing, 130 interrupted, 143 or 129 ended by the system.
"""

from __future__ import annotations

import gc
import os
import signal
import sys
from typing import Annotated, NoReturn

import typer

from handsfree import __version__
from handsfree.cli.commands import Commands
from handsfree.errors import HandsfreeError
from handsfree.showable import showable

app = typer.Typer(
    name="handsfree",
    cls=Commands,
    help="A voice-driven, hands-free test logger for electrical fault finding with a meter.",
    epilog="Exit codes: 0 fine, 2 wrong use or bad input, 3 damage found, 4 something is missing.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode="markdown",
)


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(__version__)
        raise typer.Exit


@app.callback()
def _options(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version.")
    ] = False,
) -> None:
    pass


class Ended(BaseException):
    """The system asked the program to end.

    Args:
        number: of the signal.
    """

    def __init__(self, number: int) -> None:
        super().__init__(number)
        self.number = number


def _end(number: int, _: object) -> NoReturn:
    """Unwind as Ctrl-C does, so that the log is closed and the terminal given back."""
    for each in _ENDING:
        signal.signal(each, signal.SIG_IGN)
    raise Ended(number)


#: Signals that ask a program to end, where the system has them.
_ENDING = tuple(getattr(signal, name) for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name))


#: New objects until the youngest are looked through for cycles: a grammar has tens of thousands,
#: which all stay, and to look through them took as long as to make it.
_COLLECT_EVERY = 20_000


def main() -> None:
    """Run the command line; a user's error ends with its message and exit code."""
    gc.set_threshold(_COLLECT_EVERY)
    for each in _ENDING:
        if signal.getsignal(each) is signal.SIG_DFL:  # nohup is left alone
            signal.signal(each, _end)
    try:
        app()
    except Ended as ended:
        sys.exit(128 + ended.number)
    except HandsfreeError as error:
        typer.secho(showable(f"handsfree: {error}"), err=True)
        sys.exit(error.exit_code)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(0)
    except KeyboardInterrupt:
        sys.exit(130)
    except OSError as error:
        if isinstance(error.__context__, Ended):  # the terminal is gone, so nothing can be told
            sys.exit(128 + error.__context__.number)
        raise
