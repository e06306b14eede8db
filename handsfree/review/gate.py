"""Who may ask the page for what: this machine's own names, the page's own forms, who is paired."""

from __future__ import annotations

import asyncio
from http.cookies import CookieError, SimpleCookie
from ipaddress import ip_address

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from handsfree.display.pages import STRICT, is_ours
from handsfree.display.pairing import Pairing

#: Nothing runs on the page, and nothing comes from elsewhere.
POLICY = (
    "default-src 'none'; style-src 'self'; font-src 'self'; img-src 'self' data:; "
    "media-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
_OWN = {
    "Content-Security-Policy": POLICY,
    "Permissions-Policy": "microphone=(), camera=(), geolocation=()",
    "Referrer-Policy": "same-origin",  # without one a browser sends its forms with no origin
}
PAIRED_COOKIE = "paired"
PAIR_PATH = "/pair"
#: What is given to anybody: it tells nothing of a job.
_OPEN = ("/review.css", "/barlow-500.woff2", "/barlow-700.woff2")
#: Bytes of a form, at most.
LARGEST_FORM = 1 << 14


class Gate:
    """Stands before the pages.

    Args:
        app: the pages.
        pairing: who may see them from another machine; None if they are for this one alone.
        secure: whether the page is served by https.
    """

    def __init__(self, app: ASGIApp, pairing: Pairing | None, *, secure: bool) -> None:
        self._app, self._pairing, self._secure = app, pairing, secure

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self._app(scope, receive, send)
            return

        async def strictly(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in {**STRICT, **_OWN}.items():
                    headers[name] = value
            await send(message)

        refused = self._refusal(scope, Headers(scope=scope))
        await (refused or self._app)(scope, receive, strictly)

    def _refusal(self, scope: Scope, headers: Headers) -> PlainTextResponse | None:
        """Why nothing is given; None if it is."""
        host = headers.get("host", "")
        if not is_ours(host):
            return PlainTextResponse("unknown host\n", 421)
        own = f"{'https' if self._secure else 'http'}://{host}"
        origin, method = headers.get("origin"), scope["method"]
        if method not in ("GET", "HEAD", "POST"):
            return PlainTextResponse("only GET and POST\n", 405)
        if origin != own and (origin is not None or method == "POST"):
            return PlainTextResponse("only for the page itself\n", 403)
        site, mode = headers.get("sec-fetch-site", "none"), headers.get("sec-fetch-mode", "")
        if site not in ("none", "same-origin") and mode != "navigate":
            return PlainTextResponse("only for the page itself\n", 403)
        length = headers.get("content-length", "0")
        if method == "POST" and not (length.isdecimal() and int(length) <= LARGEST_FORM):
            return PlainTextResponse("larger than any form\n", 413)
        if scope["path"] in (PAIR_PATH, *_OPEN) or self._admitted(scope, headers):
            return None
        if self._pairing:
            self._pairing.fresh()
        return PlainTextResponse("", 303, {"Location": PAIR_PATH})

    def _admitted(self, scope: Scope, headers: Headers) -> bool:
        if self._pairing is None:
            return True
        client = scope.get("client")
        if client and ip_address(client[0]).is_loopback:
            return True
        try:
            cookie = SimpleCookie(headers.get("cookie", "")).get(PAIRED_COOKIE)
        except CookieError:
            return False
        return cookie is not None and self._pairing.knows(cookie.value)


async def pair(pairing: Pairing, code: str, lasts: float) -> str | None:
    """The token of a browser that gives the code; a wrong one takes its time."""
    token = pairing.admit(code[:40])
    if token is None:
        await asyncio.sleep(lasts)
    return token
