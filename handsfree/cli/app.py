"""The commands of `handsfree`, and how an error leaves it.

Exit codes: 0 fine, 2 wrong use or bad input, 3 `verify` found damage, 4 a device, an
engine, a model or a voice is missing, 130 interrupted.
"""

from __future__ import annotations

import os
import sys
from typing import Annotated

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


def main() -> None:
    """Run the command line; a user's error ends with its message and exit code."""
    try:
        app()
    except HandsfreeError as error:
        typer.secho(showable(f"handsfree: {error}"), err=True)
        sys.exit(error.exit_code)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(0)
    except KeyboardInterrupt:
        sys.exit(130)
