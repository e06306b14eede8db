"""The view as a page: a web server in a thread of its own, and what it lets through.

Plain pages and one WebSocket, `/live`.  The page says who it is with its first message
({"code": …}, {"token": …} or {}); the server answers {"paired": …} and then sends what changed in
the view as {"glance": {…}}.  A page that gave the code, be it on this machine, becomes the headset
with {"microphone": {"rate": …}}, and
ceases to be it with {"microphone": null}; sound is in binary messages (see
`handsfree.display.phone`), and {"said": …} tells that a breath was heard.
"""

from __future__ import annotations

import asyncio
import json
import logging
import ssl
import threading
from collections import deque
from collections.abc import Callable, Mapping
from contextlib import closing, suppress
from dataclasses import dataclass, field
from functools import partial
from ipaddress import ip_address
from typing import Any, Literal

from websockets.asyncio.server import ServerConnection, serve
from websockets.exceptions import ConnectionClosed
from websockets.http11 import Request, Response

from handsfree.display.door import Door
from handsfree.display.glance import Glance
from handsfree.display.pages import page_for
from handsfree.display.pairing import Pairing
from handsfree.display.phone import Phone
from handsfree.errors import BadInput

OPENED_WITHIN, PAIRED_WITHIN = 5.0, 10.0
"""Seconds in which a connection must be made, and a page must say who it is."""
WRONG_LASTS = 1.0
"""Seconds for which a wrong guess keeps its connection."""
MOST_PAGES = 32
"""Pages that may be open at once."""
LARGEST_MESSAGE = 2**16
"""Bytes in a message of a page."""

NOT_PAIRED, BUSY = 4401, 1013

# What a stranger's connection ends with is nothing for the terminal: where nobody has asked for the
# library's log, Python would print its errors there.
for _name in ("websockets", "asyncio"):
    logging.getLogger(_name).addHandler(logging.NullHandler())


class WebScreen:
    """Serves the latest view until it is closed.

    Args:
        glance: the first view.
        host, port: where to listen; port 0 for any that is free.
        context: for https; None for http.
        pairing: who may see it from elsewhere than this machine, and be the headset; None if
            nobody has to pair, and nobody can be the headset.
        phone: takes the sound of a page; None if nobody would listen to it.

    Attributes:
        port: where it listens.

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
        phone: Phone | None = None,
    ) -> None:
        self._view = glance.plain()
        self._context, self._pairing, self._phone = context, pairing, phone
        self._pages: set[_Page] = set()
        self._loop = asyncio.SelectorEventLoop()  # takes its guests from the door
        self._closing = asyncio.Event()
        self._started = threading.Event()
        self._refused: OSError | None = None
        self.port = port
        self._thread = threading.Thread(target=self._run, args=(host,), daemon=True)
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

    def _call(self, function: Callable[..., object], *arguments: object) -> None:
        with suppress(RuntimeError):  # the loop has ended
            self._loop.call_soon_threadsafe(function, *arguments)

    def _publish(self, glance: Glance) -> None:
        self._view = glance.plain()
        for page in self._pages:
            page.news.set()

    def _run(self, host: str) -> None:
        with closing(self._loop):
            self._loop.run_until_complete(self._serve(host))

    async def _serve(self, host: str) -> None:
        try:
            server = await serve(
                self._attend,
                sock=Door(host, self.port),
                ssl=self._context,
                open_timeout=OPENED_WITHIN,
                process_request=self._answer,
                server_header=None,
                compression=None,
                max_size=LARGEST_MESSAGE,
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
        return page_for(request, secure=self._context is not None)

    async def _attend(self, connection: ServerConnection) -> None:
        with suppress(ConnectionClosed, TimeoutError, ValueError):
            async with asyncio.timeout(PAIRED_WITHIN):
                hello = _message(await connection.recv())
            admitted = await self._admit(connection, hello)
            if admitted is None:
                return
            if len(self._pages) >= MOST_PAGES:
                await connection.close(BUSY, "too many pages are open")
                return
            page = _Page(connection, paired=admitted == "paired")
            self._pages.add(page)
            sending = asyncio.create_task(self._send(page))
            try:
                async for message in connection:
                    self._take(page, message)
            finally:
                sending.cancel()
                self._pages.discard(page)
                if self._phone:
                    self._phone.release(page)

    async def _admit(
        self, connection: ServerConnection, hello: Mapping[str, Any]
    ) -> Literal["paired", "here"] | None:
        """Whether the page gave the code, or may see the view without; it is told so."""
        pairing = self._pairing
        welcome: dict[str, Any] = {"paired": True, "phone": self._phone is not None}
        if pairing is None:
            await connection.send(json.dumps(welcome))
            return "here"
        code = str(hello.get("code", ""))
        known, token = pairing.knows(str(hello.get("token"))), None
        if code and not known:
            token = pairing.admit(code)
        elif not known:
            pairing.fresh()  # so that the code that is shown is one that is taken
        if not known and token is None and (code or not _from_here(connection)):
            await asyncio.sleep(WRONG_LASTS if code else 0)
            await connection.send(json.dumps({"paired": False, "wrong": bool(code)}))
            await connection.close(NOT_PAIRED, "not paired")
            return None
        if token:
            welcome["token"] = token
        await connection.send(json.dumps(welcome))
        return "paired" if known or token else "here"

    async def _send(self, page: _Page) -> None:
        """Send what changed; a page that is slow gets the latest and not all in between."""
        sent: dict[str, Any] = {}
        page.news.set()
        with suppress(ConnectionClosed):
            while await page.news.wait():
                page.news.clear()
                while page.outbox:
                    await page.connection.send(page.outbox.popleft())
                view = self._view
                changed = {k: v for k, v in view.items() if k not in sent or sent[k] != v}
                if changed:
                    await page.connection.send(json.dumps({"glance": changed}))
                sent = view

    def _take(self, page: _Page, message: str | bytes) -> None:
        """What a page sends: sound, a wish to be the headset, that a breath was heard."""
        if self._phone is None:
            return
        if isinstance(message, bytes):
            self._phone.feed(page, message)
            return
        match _message(message):
            case {"microphone": {"rate": _}} if not page.paired:
                page.put(json.dumps({"microphone": "code"}))
            case {"microphone": {"rate": rate}}:
                taken = self._phone.claim(page, rate, partial(self._call, page.put))
                page.put(json.dumps({"microphone": "on" if taken else "busy"}))
            case {"microphone": None}:
                self._phone.release(page)
            case {"said": number}:
                self._phone.heard(page, number)


@dataclass(eq=False)
class _Page:
    """A page that is open.

    Attributes:
        paired: whether it gave the code.
        news: set when there is something to send.
        outbox: messages besides the view.
    """

    connection: ServerConnection
    paired: bool = False
    news: asyncio.Event = field(default_factory=asyncio.Event)
    outbox: deque[str | bytes] = field(default_factory=deque)

    def put(self, message: str | bytes) -> None:
        self.outbox.append(message)
        self.news.set()


def _message(text: str | bytes) -> dict[str, Any]:
    """A message of the page.

    Raises:
        ValueError: it is none.
    """
    try:
        message = json.loads(text)
    except RecursionError as error:
        raise ValueError("nested too deeply") from error
    if not isinstance(message, dict):
        raise ValueError("not a message of the page")
    return message


def _from_here(connection: ServerConnection) -> bool:
    return ip_address(connection.remote_address[0]).is_loopback
