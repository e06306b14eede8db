"""The page, opened to this machine or to the workshop."""

from __future__ import annotations

import socket
from dataclasses import dataclass
from pathlib import Path

from uvicorn import Config, Server

from handsfree.display.certificate import local_certificate
from handsfree.display.door import Door
from handsfree.display.pairing import Pairing, written_code
from handsfree.display.web_display import LOOPBACK, certificate_folder, own_address
from handsfree.errors import BadInput
from handsfree.review.jobs import Shop
from handsfree.review.places import REVIEW_PORT


@dataclass(frozen=True)
class ReviewSite:
    """A page that is ready to be served.

    Attributes:
        address: to open.
        pairing: who may see it from elsewhere; None if it is for this machine alone.
        fingerprint: SHA-256 of the certificate; empty without https.
    """

    address: str
    pairing: Pairing | None
    fingerprint: str
    _shop: Shop
    _door: Door
    _certificate: Path | None

    @classmethod
    def prepare(
        cls, shop: Shop, port: int = REVIEW_PORT, *, share: bool = False, https: bool = False
    ) -> ReviewSite:
        """Listen.

        Args:
            shop: the jobs.
            port: 0 for any that is free.
            share: open it to the workshop's network, with a pairing code.
            https: with a certificate made on this machine.

        Raises:
            BadInput: it cannot listen there, or there is no network to share it in.
        """
        host = own_address() if share else LOOPBACK
        try:
            door = Door("0.0.0.0" if share else LOOPBACK, port)
        except OSError as error:
            raise BadInput(
                f"the page cannot be served here: {error.strerror or error}",
                where=f"{host}:{port}",
                remedy="Choose another port with --port.",
            ) from error
        own = None
        if https:
            names = {host, LOOPBACK, "localhost", socket.gethostname()}
            own = local_certificate(certificate_folder(), names)
        scheme, port = "https" if own else "http", door.getsockname()[1]
        return cls(
            f"{scheme}://{host}:{port}/",
            Pairing() if share else None,
            own.fingerprint if own else "",
            shop,
            door,
            own.file if own else None,
        )

    @property
    def invitation(self) -> str:
        """What is read in the terminal to open it."""
        lines = [f"page: {self.address}"]
        if self.pairing:
            lines.append(f"pairing code: {written_code(self.pairing.code)}")
        if self.fingerprint:
            lines.append(f"certificate, SHA-256: {self.fingerprint}")
        return "\n".join(lines)

    def serve(self) -> None:
        """Answer until the program is asked to end."""
        self.server().run(sockets=[self._door])

    def server(self) -> Server:
        """What answers, not yet begun."""
        from handsfree.review.pages import review_app

        app = review_app(self._shop, self.pairing, secure=self._certificate is not None)
        config = Config(
            app,
            log_config=None,
            access_log=False,
            server_header=False,
            proxy_headers=False,
            ws="none",
            lifespan="off",
            loop="asyncio",
            timeout_keep_alive=10,
            timeout_graceful_shutdown=1,
            h11_max_incomplete_event_size=1 << 14,
            ssl_certfile=self._certificate,
        )
        return Server(config)

    @property
    def door(self) -> Door:
        """Where it listens."""
        return self._door
