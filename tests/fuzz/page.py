"""The page on a hostile network: requests and messages of strangers to a real server."""

from __future__ import annotations

import base64
import contextlib
import functools
import json
import logging
import os
import random
import socket
import struct
import sys
import traceback
from pathlib import Path
from typing import Any

from handsfree.display import web
from handsfree.display.pairing import Pairing
from handsfree.display.phone import Phone
from tests.fuzz.case import Outcome, need
from tests.fuzz.mutate import NASTY_BYTES, changed_bytes

sys.path.insert(0, str(Path(__file__).parents[1]))
from display_session import view

PATHS = (
    "/",
    "/live",
    "/glance.css",
    "/../x",
    "//x",
    "/live?x",
    "/%2e%2e/",
    "http://x/",
    "*",
    "/[",
    "//[",
)
MESSAGES: list[Any] = [
    {}, {"code": "00000000"}, {"code": None}, {"code": "\ud800"}, {"code": ["x"]}, {"code": 10**30},
    {"token": ""}, {"token": "é\ud800"}, {"token": {"a": 1}}, {"microphone": {"rate": 48000}},
    {"microphone": {"rate": True}}, {"microphone": {"rate": 10**300}},
    {"microphone": {"rate": "1"}},
    {"microphone": None}, {"microphone": []}, {"said": 1}, {"said": -(10**300)}, {"said": None},
    [], 1, None,
]  # fmt: skip


class Heard(logging.Handler):
    """Keeps what the server has to complain of: errors that nobody caught."""

    def __init__(self) -> None:
        super().__init__(logging.ERROR)
        self.errors: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        error = record.exc_info[1] if record.exc_info else None
        frames = traceback.extract_tb(error.__traceback__) if error else []
        # No request, no frame; or the library's own assertion: what follows a request before it is
        # answered is read as a frame, and where it is none the connection is ended twice.
        if not (error and ("websockets" in type(error).__module__ or _theirs(error, frames))):
            self.errors.append(f"{record.getMessage()}: {error!r}")


def _theirs(error: BaseException, frames: list[traceback.FrameSummary]) -> bool:
    return isinstance(error, AssertionError) and "/websockets/" in frames[-1].filename


class Site:
    """A server that takes everybody for a stranger."""

    def __init__(self) -> None:
        web._from_here = lambda _: False  # type: ignore[assignment]
        web.WRONG_LASTS = 0.0
        self.heard = Heard()
        for name in ("websockets.server", "asyncio"):
            logger = logging.getLogger(name)
            logger.addHandler(self.heard)
            logger.propagate = False
        self.phone, self.pairing = Phone(), Pairing()
        self.screen = web.WebScreen(view(0), pairing=self.pairing, phone=self.phone)
        self.port = self.screen.port

    def opened(self, patience: float = 0.05) -> socket.socket:
        """A connection that waits so long, in seconds, for what a broken request is answered."""
        guest = socket.create_connection(("127.0.0.1", self.port), timeout=3)
        guest.settimeout(patience)
        guest.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        return guest


@functools.cache
def site() -> Site:
    return Site()


def page(rng: random.Random) -> Outcome:
    """A request, or a WebSocket and messages; without the code nobody sees or is anything."""
    server = site()
    paired = rng.random() < 0.3
    request, messages = _request(rng, server), _messages(rng, server, paired)
    with contextlib.closing(server.opened()) as guest:
        answer = _talk(guest, request, messages)
    while not server.phone._inbox.empty():
        server.phone._inbox.get()
    errors, server.heard.errors = server.heard.errors, []
    need(not errors, "; ".join(errors))
    if not paired:
        need(b'"paired": true' not in answer, f"let in without the code: {messages}")
        need(b'glance":' not in answer, f"shown without the code: {messages}")
    if rng.random() < 0.01:
        with contextlib.closing(server.opened(5)) as guest:
            plain = b"GET / HTTP/1.1\r\nHost: localhost\r\n\r\n"
            answered = _talk(guest, plain, [])
            need(answered.startswith(b"HTTP/1.1 200"), f"served no more: {answered[:80]!r}")
    return "taken" if answer.startswith((b"HTTP/1.1 200", b"HTTP/1.1 101")) else "refused"


def _talk(guest: socket.socket, request: bytes, messages: list[bytes]) -> bytes:
    """Everything that is answered until nothing more comes."""
    answer = b""
    with contextlib.suppress(ConnectionError, TimeoutError):
        guest.sendall(request)
        if messages:
            answer = guest.recv(1 << 16)
            if answer.startswith(b"HTTP/1.1 101"):
                guest.sendall(b"".join(messages) + _frame(b"\x03\xe8", 8))
        while part := guest.recv(1 << 16):
            answer += part
    return answer


def _request(rng: random.Random, site: Site) -> bytes:
    own = f"127.0.0.1:{site.port}"
    path, host = "/live", own
    if rng.random() < 0.4:
        path, host = (
            rng.choice(PATHS),
            rng.choice((own, "localhost", "evil.example", "[::1", "[", "")),
        )
    key = base64.b64encode(os.urandom(16)).decode()
    lines = [
        f"GET {path} HTTP/1.1", f"Host: {host}", f"Origin: http://{host}", "Upgrade: websocket",
        "Connection: Upgrade", f"Sec-WebSocket-Key: {key}", "Sec-WebSocket-Version: 13",
    ]  # fmt: skip
    if path != "/live" and rng.random() < 0.5:
        lines = lines[:2]
    request = "\r\n".join([*lines, "", ""]).encode()
    return changed_bytes(request, rng, 3) if rng.random() < 0.4 else request


def _messages(rng: random.Random, site: Site, paired: bool) -> list[bytes]:
    """Frames of a page; the first gives the code if it is to be paired."""
    made = [_frame(json.dumps({"code": site.pairing.code}).encode(), 1)] if paired else []
    for _ in range(rng.randint(1, 6)):
        if rng.random() < 0.3:
            sound = struct.pack("<II", rng.choice((0, 1, 2**32 - 1)), rng.choice((0, 1, 7)))
            made.append(_frame(sound + os.urandom(rng.choice((0, 1, 2, 640, 9000))), 2))
            continue
        text = json.dumps(rng.choice(MESSAGES)).encode()
        if rng.random() < 0.4:
            text = changed_bytes(text, rng, 3)
        if rng.random() < 0.03:
            text = rng.choice((b"[", b'{"code":')) * rng.choice((300, 900, 990, 5000)) + b"1"
        made.append(_frame(text, rng.choice((1, 1, 1, 1, 2, 0, 9, 3))))
    if rng.random() < 0.1:
        made[-1] = changed_bytes(made[-1], rng, 2) + rng.choice(NASTY_BYTES)
    return made


def _frame(payload: bytes, kind: int) -> bytes:
    """A masked frame (RFC 6455, section 5.2) with a mask of zeros."""
    size = len(payload)
    length = bytes([0x80 | size]) if size < 126 else b"\xfe" + struct.pack(">H", size)
    return bytes([0x80 | kind]) + length + b"\0\0\0\0" + payload
