"""A display as a page: where it is served, and how a technician opens it."""

from __future__ import annotations

import io
import socket
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from platformdirs import user_data_path

from handsfree.dialogue import Wording
from handsfree.display.pairing import Pairing, written_code
from handsfree.display.showing import Display
from handsfree.errors import BadInput
from handsfree.events import Tell

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


class WebDisplay(Display):
    """A display as a page.

    Attributes:
        address: of the page.
        code: to pair with; empty if the page is for this machine only and no phone is heard.
        pairing: who may see the page or be the headset; None if nobody has to pair.
        shared: whether it is open to the network.
        fingerprint: SHA-256 of the certificate; empty without https.
        phone: the headset, once a phone has opened the page; None if there shall be none.
    """

    def __init__(self, wording: Wording, plain: Tell, site: Site) -> None:
        from handsfree.display.phone import Phone
        from handsfree.display.web import WebScreen

        super().__init__(wording, plain)
        self.phone = Phone() if site.phone else None
        self.pairing = Pairing() if site.share or site.phone else None
        self.shared = site.share
        host = own_address() if site.share else LOOPBACK
        certificate = _certificate(host) if site.https else None
        screen = WebScreen(
            self.glance,
            host="0.0.0.0" if site.share else LOOPBACK,
            port=site.port,
            context=certificate.context() if certificate else None,
            pairing=self.pairing,
            phone=self.phone,
        )
        scheme = "https" if certificate else "http"
        self.address = f"{scheme}://{host}:{screen.port}/"
        self.code = self.pairing.code if self.pairing else ""
        self.fingerprint = certificate.fingerprint if certificate else ""
        self.on(screen)

    def invitation(self, *, squares: bool) -> str:
        """What the technician reads in the terminal to open the page.

        Args:
            squares: with a QR code that opens and pairs it, in the colours of a terminal.
        """
        lines = [f"page: {self.address}"]
        if self.code:
            lines.append(f"pairing code: {written_code(self.code)}")
            lines.append(_squares(f"{self.address}#code={self.code}") if squares else "")
        if self.fingerprint:
            lines.append(f"certificate, SHA-256: {self.fingerprint}")
        elif self.shared and self.phone:
            lines.append("A phone gives its microphone to an https page only: add --https.")
        return "\n".join(filter(None, lines))


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


def certificate_folder() -> Path:
    """Where the page's certificate and its key are kept."""
    return user_data_path("handsfree") / "certificate"


def _certificate(host: str) -> Any:
    from handsfree.display.certificate import local_certificate

    return local_certificate(
        certificate_folder(), {host, LOOPBACK, "localhost", socket.gethostname()}
    )


def _squares(text: str) -> str:
    import segno

    drawn = io.StringIO()
    segno.make(text, error="l").terminal(drawn, border=2, compact=True)
    return drawn.getvalue().rstrip()
