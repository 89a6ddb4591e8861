"""What only a page can refuse, and the one body in which every error is told."""

from __future__ import annotations

import logging
from http import HTTPStatus
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import HTMLResponse, JSONResponse, Response
from jinja2 import TemplateNotFound
from pydantic import BaseModel
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect

from prepcheck.errors import NotAllowed, PrepcheckError, WrongUse, printable

_LOG = logging.getLogger("prepcheck.web")


class Told(BaseModel):
    """Code and message of an error; `code` is stable, `message` is for people."""

    code: str
    message: str


class ErrorBody(BaseModel):
    """The body of every answer that is an error."""

    error: Told


class NotPaired(NotAllowed):
    """This phone is not paired with the shop, or its session was revoked or ran out."""

    code = "not_paired"
    http_status = 401

    def __init__(self) -> None:
        super().__init__("this phone is not paired with the shop's computer", "Scan the code that it shows")


class NotSignedIn(NotAllowed):
    """Nobody is signed in on this phone."""

    code = "not_signed_in"
    http_status = 401

    def __init__(self) -> None:
        super().__init__("nobody is signed in on this phone", "Sign in with your PIN")


class OtherOrigin(NotAllowed):
    """A request that another page made the browser send."""

    code = "other_origin"


class UnknownHost(WrongUse):
    """A name that is none of this computer's."""

    code = "unknown_host"
    http_status = 421


class UnknownPage(WrongUse):
    """No such page, upload or work."""

    code = "unknown_page"
    http_status = 404


class Clash(WrongUse):
    """It does not fit what is there already."""

    code = "clash"
    http_status = 409


class KeyTaken(WrongUse):
    """A key or an upload that belongs to something else."""

    code = "key_taken"
    http_status = 409


class Busy(PrepcheckError):
    """Too many photos wait for inspection."""

    code = "busy"
    http_status = 503

    def __init__(self) -> None:
        super().__init__("too many photos wait for inspection", "Wait a moment, then try again")


class TooMuch(WrongUse):
    """A body that holds more than the limits allow."""

    code = "too_much"
    http_status = 413


class TooSlow(WrongUse):
    """A body that stood still for too long."""

    code = "too_slow"
    http_status = 408


class TooOften(WrongUse):
    """More requests than a phone may make."""

    code = "too_often"
    http_status = 429

    def __init__(self, seconds: float) -> None:
        whole = max(1, round(seconds + 0.5))
        self.headers = {"Retry-After": str(whole)}
        super().__init__("this phone asks too often", f"Wait {whole} s, then try again")


def add_handlers(app: FastAPI) -> None:
    """Tell every error of `app` in the one body, or as a page to a browser that asked for one."""
    app.add_exception_handler(PrepcheckError, _ours)
    app.add_exception_handler(HTTPException, _http)
    app.add_exception_handler(RequestValidationError, _invalid)
    app.add_exception_handler(ClientDisconnect, _gone)
    app.add_exception_handler(Exception, _unknown)


def told(request: Request, status: int, code: str, message: str, headers: dict[str, str] | None = None) -> Response:
    """Return the answer for an error: a page where the browser asked for one outside ``/api``, JSON otherwise."""
    if request.url.path.startswith("/api/") or "text/html" not in request.headers.get("accept", ""):
        body = ErrorBody(error=Told(code=code, message=message))
        return JSONResponse(body.model_dump(), status, headers)
    return HTMLResponse(_page(request, status, code, message), status, headers)


def _page(request: Request, status: int, code: str, message: str) -> str:
    from prepcheck.web.pages import templates

    known: dict[str, Any] = {"request": request, "status": status, "code": code, "message": message, "shop": None}
    try:
        return templates.get_template("error.html").render(known)
    except TemplateNotFound:
        from markupsafe import escape

        return f"<!doctype html><title>prepcheck</title><p>{escape(message)}</p>"


def headers_of(error: PrepcheckError) -> dict[str, str]:
    """Return what an error says in headers too."""
    return dict(getattr(error, "headers", {}))


async def _ours(request: Request, error: Exception) -> Response:
    assert isinstance(error, PrepcheckError)
    if error.http_status >= 500:
        _LOG.error("%s %s: %s", request.method, printable(request.url.path), error.message)
    return told(request, error.http_status, error.code, error.plain, headers_of(error))


async def _http(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    phrase = HTTPStatus(error.status_code).phrase
    code = {404: "unknown_page", 405: "wrong_method"}.get(error.status_code, "wrong_use")
    said = error.detail if isinstance(error.detail, str) else phrase
    return told(request, error.status_code, code, f"{printable(said)}.", dict(error.headers or {}))


async def _invalid(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)
    return told(request, 422, "wrong_form", f"What was sent cannot be used: {printable(_first(error))[:300]}.")


def _first(error: RequestValidationError) -> str:
    fault = error.errors()[0]
    where = ".".join(str(part)[:40] for part in fault["loc"])
    return f"{where}: {fault['msg']}"


async def _gone(request: Request, error: Exception) -> Response:
    return told(request, 408, TooSlow.code, "The connection was lost.")  # nobody reads this


async def _unknown(request: Request, error: Exception) -> Response:
    _LOG.error("%s %s: %r", request.method, printable(request.url.path), error, exc_info=error)
    return told(request, 500, "fault", "prepcheck has a fault here. Try again, and tell who keeps this computer.")
