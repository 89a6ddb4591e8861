"""The guard before every route: hosts, origins, sizes and speed of bodies, and the headers of every answer."""

from __future__ import annotations

import asyncio
import ipaddress
from collections.abc import Callable, Collection
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from prepcheck.errors import PrepcheckError
from prepcheck.web.errors import OtherOrigin, TooMuch, TooOften, TooSlow, UnknownHost, headers_of, told
from prepcheck.web.limits import Buckets, WebLimits

HEADERS = {
    "Content-Security-Policy": "default-src 'self'; img-src 'self' blob: data:; media-src 'self' blob:; object-src 'none';"
    " base-uri 'none'; form-action 'self'; frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",  # with no-referrer a browser would send no origin with a form
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(self), geolocation=(), microphone=()",
}
_CACHE = "no-store"
_READS = ("GET", "HEAD", "OPTIONS")
MostOf = Callable[[str, str], int]


class Guard:
    """ASGI middleware that refuses before a route is asked.

    Parameters
    ----------
    app : ASGI application
        What is guarded.
    names : collection of str
        Host names of this computer. Addresses in figures are always fine: no name server can turn them elsewhere.
    limits, buckets : WebLimits, Buckets
        Speed of bodies; requests of each phone.
    most_of : callable
        Most bytes of a body by method and path.
    """

    def __init__(
        self, app: ASGIApp, *, names: Collection[str], limits: WebLimits, buckets: Buckets, most_of: MostOf
    ) -> None:
        self._app, self._limits, self._buckets, self._most_of = app, limits, buckets, most_of
        self._names = {name.lower() for name in names}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Guard one request."""
        if scope["type"] != "http":
            await self._other(scope, receive, send)
            return
        answer = _with_headers(scope, send)
        try:
            self._check(scope)
        except PrepcheckError as error:
            await _refuse(error, scope, receive, answer)
            return
        body = Body(receive, self._most_of(scope["method"], scope["path"]), self._limits.idle_seconds)
        await _ask(self._app, scope, body, answer)

    async def _other(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
        elif scope["type"] == "websocket":
            await send({"type": "websocket.close", "code": 1008})

    def _check(self, scope: Scope) -> None:
        headers = Headers(scope=scope)
        host = headers.get("host", "")
        self._check_host(host)
        if scope["method"] not in _READS:
            _check_origin(headers, scope["scheme"], host)
        most = self._most_of(scope["method"], scope["path"])
        if _told_length(headers) > most:
            raise TooMuch(f"more than {most:,} bytes", "Send less at once")
        client = scope.get("client")
        if seconds := self._buckets.wait(self._limits.asked, client[0] if client else ""):
            raise TooOften(seconds)

    def _check_host(self, host: str) -> None:
        name = _name_in(host)
        if name.rstrip(".") not in self._names and not _in_figures(name):
            raise UnknownHost("this name is none of the shop's computer", "Use the address that it shows", host[:80])


def _name_in(host: str) -> str:
    """Return the name in a host header, in small letters; empty for one that cannot be."""
    if set(host) & set("/?#@\\ "):
        return ""
    try:
        return urlsplit(f"//{host}").hostname or ""
    except ValueError:
        return ""


def _in_figures(name: str) -> bool:
    try:
        ipaddress.ip_address(name.partition("%")[0])
    except ValueError:
        return False
    return True


def _check_origin(headers: Headers, scheme: str, host: str) -> None:
    """Refuse what another page makes a browser send; a browser tells the origin with every request that changes."""
    origin = headers.get("origin")
    if origin is None and headers.get("sec-fetch-site") in ("same-origin", "none"):
        return
    if origin is None or origin.lower() != f"{scheme}://{host}".lower():
        raise OtherOrigin("this came from another page", "Open the page of the shop's computer and try there")


def _told_length(headers: Headers) -> int:
    length = headers.get("content-length", "0")
    return int(length) if length.isascii() and length.isdigit() and len(length) < 20 else 0


class Body:
    """A body as it comes: its bytes are counted whatever its headers say, and one that stands still is given up.

    `fault` is why it was given up, None as long as it was not.
    """

    def __init__(self, receive: Receive, most: int, idle_seconds: float) -> None:
        self.fault: PrepcheckError | None = None
        self._receive, self._most, self._idle_seconds = receive, most, idle_seconds
        self._count, self._ended = 0, False

    async def receive(self) -> Message:
        """Return the next piece; `TooMuch` or `TooSlow` when there shall be none."""
        if self._ended:
            return await self._receive()
        try:
            message = await asyncio.wait_for(self._receive(), self._idle_seconds)
        except TimeoutError as error:
            self.fault = TooSlow(f"nothing came for {self._idle_seconds:g} s", "Send the rest again")
            raise self.fault from error
        self._count += len(message.get("body", b""))
        self._ended = message["type"] != "http.request" or not message.get("more_body", False)
        if self._count > self._most:
            self.fault = TooMuch(f"more than {self._most:,} bytes", "Send less at once")
            raise self.fault
        return message


async def _ask(app: ASGIApp, scope: Scope, body: Body, answer: Send) -> None:
    """Let `app` answer; where the body was given up that is told, whatever `app` made of it."""
    began = False

    async def unless_given_up(message: Message) -> None:
        nonlocal began
        if began or body.fault is None:
            began = True
            await answer(message)

    await app(scope, body.receive, unless_given_up)
    if body.fault is not None and not began:
        await _refuse(body.fault, scope, body.receive, answer)


async def _refuse(error: PrepcheckError, scope: Scope, receive: Receive, answer: Send) -> None:
    headers = {**headers_of(error), "Connection": "close"}
    response = told(Request(scope), error.http_status, error.code, error.plain, headers)
    await response(scope, receive, answer)


def _with_headers(scope: Scope, send: Send) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers.setdefault(name, value)
            if not scope["path"].startswith("/static/"):
                headers.setdefault("Cache-Control", _CACHE)
        await send(message)

    return sending
