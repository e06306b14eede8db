"""The view as a page: a web server in a thread of its own, and what it lets through.

Plain pages and one WebSocket, `/live`.  The page says who it is with its first message
({"code": …}, {"token": …} or {}); the server answers {"paired": …} and then sends what changed in
the view as {"glance": {…}}.  A page can become the microphone with {"microphone": {"rate": …}}
and sends sound in binary messages; {"microphone": null} ends it.
"""

from __future__ import annotations

import asyncio
import json
import ssl
import threading
from collections.abc import Callable, Mapping
from contextlib import suppress
from ipaddress import ip_address
from typing import Any

from websockets.asyncio.server import ServerConnection, serve
from websockets.exceptions import ConnectionClosed
from websockets.http11 import Request, Response

from handsfree.display.glance import Glance
from handsfree.display.pages import answer
from handsfree.display.pairing import Pairing
from handsfree.display.phone import Phone
from handsfree.errors import BadInput

PATIENCE = 10.0
"""Seconds in which a page must say who it is."""
MOST = 32
"""Pages that may be open at once."""
LARGEST = 2**16
"""Bytes in a message of a page."""

NOT_PAIRED, BUSY = 4401, 1013


class WebScreen:
    """Serves the latest view until it is closed.

    Args:
        glance: the first view.
        host, port: where to listen; port 0 for any that is free.
        context: for https; None for http.
        pairing: who may see it from elsewhere than this machine; None if nobody has to pair.
        sound: called with "back" or "lost" when a phone becomes or ceases to be the microphone,
            from the thread of the server.

    Attributes:
        port: where it listens.
        phone: the microphone of a phone.

    Raises:
        BadInput: it cannot listen there.
    """

    def __init__(
        self,
        glance: Glance,
        *,
        host: str = "127.0.0.1",
        port: int = 0,
        context: ssl.SSLContext | None = None,
        pairing: Pairing | None = None,
        sound: Callable[[str], None] = lambda _: None,
    ) -> None:
        self.phone = Phone()
        self._view = glance.plain()
        self._context, self._pairing, self._sound = context, pairing, sound
        self._pages: dict[ServerConnection, asyncio.Event] = {}
        self._loop = asyncio.new_event_loop()
        self._closing = asyncio.Event()
        self._started = threading.Event()
        self._refused: OSError | None = None
        self.port = port
        self._thread = threading.Thread(
            target=self._loop.run_until_complete, args=(self._serve(host),), daemon=True
        )
        self._thread.start()
        self._started.wait()
        if self._refused:
            raise BadInput(
                f"the page cannot be served here: {self._refused.strerror or self._refused}",
                where=f"{host}:{port}",
                remedy="Choose another port with --port.",
            )

    def show(self, glance: Glance) -> None:
        """Show this view soon; never waits for a page."""
        self._call(self._publish, glance)

    def close(self) -> None:
        """End the server."""
        self._call(self._closing.set)
        self._thread.join(timeout=5)
        self.phone.close()

    def _call(self, function: Callable[..., object], *arguments: object) -> None:
        with suppress(RuntimeError):  # the loop has ended
            self._loop.call_soon_threadsafe(function, *arguments)

    def _publish(self, glance: Glance) -> None:
        self._view = glance.plain()
        for news in self._pages.values():
            news.set()

    async def _serve(self, host: str) -> None:
        try:
            server = await serve(
                self._attend,
                host,
                self.port,
                ssl=self._context,
                process_request=self._answer,
                server_header=None,
                compression=None,
                max_size=LARGEST,
                ping_interval=10,
                ping_timeout=10,
                close_timeout=1,
            )
        except OSError as error:
            self._refused = error
            self._started.set()
            return
        self.port = next(iter(server.sockets)).getsockname()[1]
        self._started.set()
        async with server:
            await self._closing.wait()

    def _answer(self, connection: ServerConnection, request: Request) -> Response | None:
        return answer(request, secure=self._context is not None)

    async def _attend(self, connection: ServerConnection) -> None:
        with suppress(ConnectionClosed, TimeoutError, ValueError):
            async with asyncio.timeout(PATIENCE):
                hello = _message(await connection.recv())
            if not await self._admit(connection, hello):
                return
            if len(self._pages) >= MOST:
                await connection.close(BUSY, "too many pages are open")
                return
            self._pages[connection] = asyncio.Event()
            sending = asyncio.create_task(self._send(connection))
            try:
                async for message in connection:
                    await self._take(connection, message)
            finally:
                sending.cancel()
                del self._pages[connection]
                if self.phone.release(connection):
                    self._sound("lost")

    async def _admit(self, connection: ServerConnection, hello: Mapping[str, Any]) -> bool:
        """Whether the page may see the view; it is told so."""
        pairing = self._pairing
        if pairing is None or _from_here(connection):
            await connection.send(json.dumps({"paired": True}))
            return True
        if pairing.knows(str(hello.get("token", ""))):
            await connection.send(json.dumps({"paired": True}))
            return True
        code = "".join(filter(str.isdigit, str(hello.get("code", ""))))
        token = pairing.admit(code) if code else None
        if token:
            await connection.send(json.dumps({"paired": True, "token": token}))
            return True
        refusal = {"paired": False, "wrong": bool(code), "wait": round(pairing.wait, 1)}
        await connection.send(json.dumps(refusal))
        await connection.close(NOT_PAIRED, "not paired")
        return False

    async def _send(self, connection: ServerConnection) -> None:
        """Send what changed; a page that is slow gets the latest and not all in between."""
        sent: dict[str, Any] = {}
        news = self._pages[connection]
        news.set()
        with suppress(ConnectionClosed):
            while await news.wait():
                news.clear()
                view = self._view
                changed = {k: v for k, v in view.items() if k not in sent or sent[k] != v}
                if changed:
                    await connection.send(json.dumps({"glance": changed}))
                sent = view

    async def _take(self, connection: ServerConnection, message: str | bytes) -> None:
        if isinstance(message, bytes):
            self.phone.feed(connection, message)
            return
        wish = _message(message).get("microphone")
        if not isinstance(wish, dict):
            if self.phone.release(connection):
                self._sound("lost")
            return
        taken = self.phone.claim(connection, wish.get("rate"))
        await connection.send(json.dumps({"microphone": "on" if taken else "busy"}))
        if taken:
            self._sound("back")


def _message(text: str | bytes) -> dict[str, Any]:
    """A message of the page.

    Raises:
        ValueError: it is none.
    """
    message = json.loads(text)
    if not isinstance(message, dict):
        raise ValueError("not a message of the page")
    return message


def _from_here(connection: ServerConnection) -> bool:
    return ip_address(connection.remote_address[0]).is_loopback
