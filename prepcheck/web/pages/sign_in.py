"""``/sign-in``, ``/sign-out`` and ``/pair/{token}``: a phone is paired once, then people sign in on it by PIN."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from prepcheck import tasks
from prepcheck.errors import PrepcheckError
from prepcheck.web.limits import Rate
from prepcheck.web.pages.desk import Visitor
from prepcheck.web.pages.forms import Field, Form, Said, SentForm, needed
from prepcheck.web.pages.render import show
from prepcheck.web.session import Paired, limit, set_cookie
from prepcheck.web.shop import Shop, TheShop

router = APIRouter()
_PIN = Field("pin", "PIN", kind="pin", needed=True, complete="current-password")
_NOTE = "A PIN guards this page and ties what is logged to a person. It does not guard a copy of the log's folder."
_FIRST = "Nobody keeps this log yet: who signs in now becomes its keeper, with this PIN. " + _NOTE
_PLAIN = (
    "This is plain http: whoever is on the same network can read along and take over a phone's session. Use it on a network "
    "that only the shop uses. Without a network the page does not open; what was photographed waits on the phone."
)
_HTTPS = (
    "This is https with the shop's own certificate: nobody reads along. The page opens without a network once the phone "
    "trusts the certificate."
)


@dataclass(frozen=True)
class SignInPage:
    """Name and PIN."""

    form: Form
    note: str
    title: str = "Sign in"


@dataclass(frozen=True)
class PairPage:
    """Asks whether to use this phone; without a `token` it says why not."""

    heading: str
    words: str
    connection: str
    token: str = ""
    error: PrepcheckError | None = None

    @property
    def title(self) -> str:
        """The heading."""
        return self.heading


@router.get("/sign-in")
def ask(request: Request, shop: TheShop, session: Paired, back: str = "/") -> HTMLResponse:
    """Ask for name and PIN."""
    return show(request, "sign_in.html", _page(shop, {"back": back}), session.person)


@router.post("/sign-in")
def sign_in(request: Request, shop: TheShop, session: Paired, said: SentForm) -> Response:
    """Sign a person in on this phone."""
    limit(request, shop, _rate(shop))
    try:
        shop.sessions.sign_in(session, needed(said, "name", "your name"), needed(said, "pin", "your PIN"))
    except PrepcheckError as error:
        return show(request, "sign_in.html", _page(shop, said, error), "", error.http_status)
    return RedirectResponse(inside(said.get("back", "/")), 303)


@router.post("/sign-out")
def sign_out(shop: TheShop, session: Paired) -> Response:
    """Sign out; the phone stays paired."""
    shop.sessions.sign_out(session)
    return RedirectResponse("/sign-in", 303)


@router.get("/pair/{token}")
def ask_pair(request: Request, shop: TheShop, who: Visitor, token: str) -> HTMLResponse:
    """Ask whether this phone shall be paired; the link is used up only when that is said."""
    limit(request, shop, shop.limits.pairing)
    if shop.sessions.link_holds(token):
        words = "This pairs the phone with the shop's computer, for a month. Then everybody signs in on it with their own PIN."
        return show(request, "pair.html", PairPage("Use this phone here", words, _connection(request), token), who)
    gone = PairPage("This link is used up", "It works once, and not for long. Ask for a new one.", _connection(request))
    return show(request, "pair.html", gone, who, 403)


@router.post("/pair/{token}")
def pair(request: Request, shop: TheShop, who: Visitor, token: str) -> Response:
    """Pair this phone."""
    limit(request, shop, shop.limits.pairing)
    try:
        session = shop.sessions.pair(token, request.headers.get("user-agent", ""))
    except PrepcheckError as error:
        page = PairPage("This phone was not paired", "", _connection(request), error=error)
        return show(request, "pair.html", page, who, error.http_status)
    response = RedirectResponse("/sign-in", 303)
    set_cookie(request, response, session, shop.limits)
    return response


def inside(path: str) -> str:
    """Return a path of this page; the jobs for anything that leads elsewhere."""
    return path if path.startswith("/") and not path.startswith(("//", "/\\")) and path.isprintable() else "/"


def _rate(shop: Shop) -> Rate:
    return shop.limits.signing_in


def _connection(request: Request) -> str:
    return _HTTPS if request.url.scheme == "https" else _PLAIN


def _page(shop: Shop, said: Said, error: PrepcheckError | None = None) -> SignInPage:
    kept = {name: value for name, value in said.items() if name in ("name", "back")}
    hidden = (("back", inside(kept.get("back", "/"))),)
    form = Form("/sign-in", "Sign in", (_name(shop), _PIN), hidden=hidden, said=kept, error=error)
    return SignInPage(form, _NOTE if shop.sessions.has_keeper() else _FIRST)


def _name(shop: Shop) -> Field:
    """Ask for one of those who have a PIN, or for the name of the first keeper."""
    names = tuple((one.name, one.name) for one in tasks.list_people(shop.store) if one.has_pin)
    if not names:
        return Field("name", "Your name", needed=True, complete="username")
    return Field("name", "Your name", kind="list", choices=names, needed=True)
