"""What the web server answers to a request: pure, a request in and a response out.

Nothing here tells anything of the job: the page is empty until its WebSocket is let in.
"""

from __future__ import annotations

import socket
from functools import cache
from http import HTTPStatus
from importlib.resources import files
from ipaddress import ip_address
from urllib.parse import urlsplit

from websockets.datastructures import Headers
from websockets.http11 import Request, Response

LIVE_PATH = "/live"

_FILES = {
    "/": ("glance.html", "text/html; charset=utf-8"),
    "/glance.css": ("glance.css", "text/css; charset=utf-8"),
    "/glance.js": ("glance.js", "text/javascript; charset=utf-8"),
    "/microphone.js": ("microphone.js", "text/javascript; charset=utf-8"),
    "/voice.js": ("voice.js", "text/javascript; charset=utf-8"),
    "/capture.js": ("capture.js", "text/javascript; charset=utf-8"),
    "/barlow-500.woff2": ("barlow-500.woff2", "font/woff2"),
    "/barlow-700.woff2": ("barlow-700.woff2", "font/woff2"),
}

#: Of every page that is served here: nobody may frame it, nothing of it is kept.
STRICT = {
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Cache-Control": "no-store",
}
#: Only what comes from here is loaded, and only the microphone is asked for.
_LIVE = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; font-src 'self'; "
        "connect-src 'self'; img-src data:; base-uri 'none'; form-action 'none'; "
        "frame-ancestors 'none'"
    ),
    "Permissions-Policy": "microphone=(self), screen-wake-lock=(self), camera=(), geolocation=()",
    **STRICT,
}


def page_for(request: Request, *, secure: bool) -> Response | None:
    """The response, or None for a WebSocket that may be opened.

    Args:
        request: of a browser.
        secure: whether it came by https.
    """
    host = request.headers.get("Host", "")
    if not is_ours(host):
        return _response(HTTPStatus.MISDIRECTED_REQUEST, b"unknown host\n")
    path = _path(request.path)
    if path == LIVE_PATH:
        own = f"{'https' if secure else 'http'}://{host}"
        if request.headers.get("Origin") != own:
            return _response(HTTPStatus.FORBIDDEN, b"only for the page itself\n")
        return None
    if path not in _FILES:
        return _response(HTTPStatus.NOT_FOUND, b"there is no such page\n")
    name, kind = _FILES[path]
    return _response(HTTPStatus.OK, _content(name), kind)


def _path(target: str) -> str:
    """The path of what is asked for; empty for what is no address."""
    try:
        return urlsplit(target).path
    except ValueError:
        return ""


def is_ours(host: str) -> bool:
    """Whether a Host header names this machine: an address, or a name that it has.

    A name that somebody else's DNS points here is refused, so that no foreign page can pass
    itself off as this one (DNS rebinding).
    """
    try:
        name = (urlsplit(f"//{host}").hostname or "").lower()
    except ValueError:
        return False
    own = socket.gethostname().lower()
    if name in ("localhost", own, f"{own.split('.')[0]}.local"):
        return True
    try:
        return bool(ip_address(name))
    except ValueError:
        return False


@cache
def _content(name: str) -> bytes:
    return (files("handsfree.display") / "page" / name).read_bytes()


def _response(status: HTTPStatus, body: bytes, kind: str = "text/plain; charset=utf-8") -> Response:
    headers = Headers(_LIVE)
    headers["Content-Type"] = kind
    headers["Content-Length"] = str(len(body))
    headers["Connection"] = "close"
    return Response(status.value, status.phrase, headers, body)
