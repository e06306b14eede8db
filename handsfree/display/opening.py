"""Opening a display: what is told to it goes to a terminal, to a page, or line by line."""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import Literal

from rich.console import Console

from handsfree.dialogue import Wording
from handsfree.display.consoles import ShowingConsole
from handsfree.display.pairing import written_code
from handsfree.display.showing import Display
from handsfree.display.web_display import Site, WebDisplay
from handsfree.events import Tell
from handsfree.languages import load_language
from handsfree.plan.schema import Plan

ScreenKind = Literal["terminal", "web", "off"]


def open_display(
    kind: ScreenKind,
    plan: Plan,
    *,
    plain: Tell = lambda _: None,
    site: Site | None = None,
    announce: Callable[[str], None] | None = None,
    console: Console | None = None,
) -> Display:
    """Open a display about a plan.

    Args:
        kind: "terminal" takes the whole screen, and is line by line where there is no terminal;
            "web" is a page besides the lines; "off" is line by line only.
        plan: what the events are about.
        plain: prints an event as a line.
        site: where the page is served.
        announce: prints how to open the page; on standard error if nothing is given.
        console: the terminal.

    Raises:
        BadInput: the page cannot be served there.
        Missing: the plan's language is not installed.
    """
    wording = Wording(load_language(plan.language), plan)
    if kind == "web":
        page = WebDisplay(wording, plain, site or Site())
        tell = announce or _announce
        tell(page.invitation(squares=announce is None and sys.stderr.isatty()))
        if page.pairing:
            page.pairing.announce = lambda code: tell(f"new pairing code: {written_code(code)}")
        return page
    console = console or ShowingConsole()
    if kind == "terminal" and console.is_terminal:
        from handsfree.display.terminal import TerminalScreen

        display = Display(wording, plain=lambda _: None)
        display.on(TerminalScreen(display.glance, console))
        return display
    return Display(wording, plain)


def _announce(text: str) -> None:
    print(text, file=sys.stderr, flush=True)
