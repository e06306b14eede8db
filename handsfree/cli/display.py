"""`handsfree glance`: a job on a screen that can be read from two metres, while it is dictated."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from handsfree.cli.output import console, print_event
from handsfree.display import PORT, Site, open_display
from handsfree.errors import BadInput
from handsfree.events import JobFinished


class ScreenName(StrEnum):
    """Where the view is shown."""

    terminal = "terminal"
    web = "web"
    off = "off"


ScreenOption = Annotated[ScreenName, typer.Option("--screen", help="Where to show it.")]
Port = Annotated[int, typer.Option("--port", help="Port of the page.", min=0, max=65535)]
ShareOption = Annotated[
    bool, typer.Option("--share", help="Open the page to the network, with a pairing code.")
]
Https = Annotated[
    bool,
    typer.Option("--https", help="Certificate made here; a phone's microphone needs it."),
]


def register(app: typer.Typer) -> None:
    """Add this command."""
    app.command(epilog="Example: handsfree glance jobs/van --screen web --share --https")(glance)


def site(port: int, *, share: bool, https: bool, screen: ScreenName) -> Site:
    """Where the page is served.

    Raises:
        BadInput: sharing is asked for, but no page.
    """
    if (share or https) and screen is not ScreenName.web:
        raise BadInput("there is no page to share", where="--share", remedy="Add --screen web.")
    return Site(port, share, https)


def glance(
    job: Annotated[Path, typer.Argument(help="The job folder.")],
    screen: ScreenOption = ScreenName.terminal,
    port: Port = PORT,
    share: ShareOption = False,
    https: Https = False,
) -> None:
    """Show a job on one screen, and go on showing it while it is dictated. Ends with Ctrl-C.

    Where there is no terminal it is line by line, to the end of the job.
    """
    from handsfree.display.follow import Followed

    where = site(port, share=share, https=https, screen=screen)
    followed = Followed(job)
    display = open_display(
        screen.value,
        followed.plan,
        plain=print_event,
        site=where,
        console=console,
    )
    ends = screen is not ScreenName.web and not console.is_terminal
    try:
        for logged in followed.events():
            display.tell(logged)
            if ends and isinstance(logged.event, JobFinished):
                break
    except KeyboardInterrupt:
        pass
    finally:
        display.close()
