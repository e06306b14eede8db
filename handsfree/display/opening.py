"""Opening a display: what is told to it goes to a terminal, to a page, or line by line."""

from __future__ import annotations

import io
import socket
import sys
import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal, Protocol

from platformdirs import user_data_path
from rich.console import Console

from handsfree.dialogue import Wording
from handsfree.display.fold import begin, fold
from handsfree.display.glance import Glance
from handsfree.errors import BadInput
from handsfree.events import Logged, SoundLevel
from handsfree.languages import load_language
from handsfree.plan.schema import Plan

Kind = Literal["terminal", "web", "off"]
Tell = Callable[[Logged], None]

PORT = 8710
LOOPBACK = "127.0.0.1"


@dataclass(frozen=True, slots=True)
class Site:
    """Where the page is served.

    Attributes:
        port: to listen on; 0 for any that is free.
        share: open it to the workshop's network, with a pairing code.
        https: with a certificate made on this machine, so that a phone gives its microphone.
        phone: whether a phone may become the headset.
    """

    port: int = PORT
    share: bool = False
    https: bool = False
    phone: bool = False


class Screen(Protocol):
    """Something that shows the latest view."""

    def show(self, glance: Glance) -> None:
        """Show this view soon, without making the caller wait."""
        ...

    def close(self) -> None:
        """Stop showing."""
        ...


class Display:
    """Shows what is told to it; may be told from any thread.

    Args:
        wording: says wires, states and prompts.
        plain: is told every event that is not shown on a full screen; levels never.

    Attributes:
        glance: the view now.
    """

    def __init__(self, wording: Wording, plain: Tell) -> None:
        self.glance = begin(wording.plan)
        self._wording = wording
        self._plain = plain
        self._lock = threading.Lock()
        self._screen: Screen | None = None

    def tell(self, logged: Logged) -> None:
        """Take up an event of the job, a level, or that a microphone was lost or is back."""
        with self._lock:
            self.glance = fold(self.glance, logged.event, self._wording)
            if self._screen:
                self._screen.show(self.glance)
        if not isinstance(logged.event, SoundLevel):
            self._plain(logged)

    def on(self, screen: Screen) -> None:
        """Show the view on this screen from now on."""
        with self._lock:
            self._screen = screen
            screen.show(self.glance)

    def close(self) -> None:
        """Stop showing, and give the terminal or the port back."""
        with self._lock:
            screen, self._screen = self._screen, None
        if screen:
            screen.close()


class WebDisplay(Display):
    """A display as a page.

    Attributes:
        address: of the page.
        code: to pair with; empty if the page is for this machine only.
        fingerprint: SHA-256 of the certificate; empty without https.
        phone: the headset, once a phone has opened the page; None if there shall be none.
    """

    def __init__(self, wording: Wording, plain: Tell, site: Site) -> None:
        from handsfree.display.pairing import Pairing
        from handsfree.display.phone import Phone
        from handsfree.display.web import WebScreen

        super().__init__(wording, plain)
        self.phone = Phone() if site.phone else None
        pairing = Pairing() if site.share else None
        host = own_address() if site.share else LOOPBACK
        certificate = _certificate(host) if site.https else None
        screen = WebScreen(
            self.glance,
            host="0.0.0.0" if site.share else LOOPBACK,
            port=site.port,
            context=certificate.context() if certificate else None,
            pairing=pairing,
            phone=self.phone,
        )
        scheme = "https" if certificate else "http"
        self.address = f"{scheme}://{host}:{screen.port}/"
        self.code = pairing.code if pairing else ""
        self.fingerprint = certificate.fingerprint if certificate else ""
        self.on(screen)

    def invitation(self, *, squares: bool) -> str:
        """What the technician reads in the terminal to open the page.

        Args:
            squares: with a QR code that opens and pairs it, in the colours of a terminal.
        """
        lines = [f"page: {self.address}"]
        if self.code:
            lines.append(f"pairing code: {self.code[:3]} {self.code[3:]}")
            lines.append(_squares(f"{self.address}#code={self.code}") if squares else "")
        if self.fingerprint:
            lines.append(f"certificate, SHA-256: {self.fingerprint}")
        elif self.code and self.phone:
            lines.append("A phone gives its microphone to an https page only: add --https.")
        return "\n".join(filter(None, lines))


def open_display(
    kind: Kind,
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
        if announce:
            announce(page.invitation(squares=False))
        else:
            print(page.invitation(squares=sys.stderr.isatty()), file=sys.stderr, flush=True)
        return page
    console = console or Console()
    if kind == "terminal" and console.is_terminal:
        from handsfree.display.terminal import TerminalScreen

        display = Display(wording, plain=lambda _: None)
        display.on(TerminalScreen(display.glance, console))
        return display
    return Display(wording, plain)


def own_address() -> str:
    """This machine's address in the network that leads outside; nothing is sent to find it.

    Raises:
        BadInput: there is no network.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # TEST-NET-1 of RFC 5737: nobody is there
            return str(probe.getsockname()[0])
        except OSError as error:
            raise BadInput(
                "this machine is in no network, so the page cannot be shared",
                where="--share",
                remedy="Join the workshop's network, or leave --share out.",
            ) from error


def _certificate(host: str) -> Any:
    from handsfree.display.certificate import local_certificate

    folder = user_data_path("handsfree") / "certificate"
    return local_certificate(folder, {host, LOOPBACK, "localhost", socket.gethostname()})


def _squares(text: str) -> str:
    import segno

    drawn = io.StringIO()
    segno.make(text, error="l").terminal(drawn, border=2, compact=True)
    return drawn.getvalue().rstrip()
