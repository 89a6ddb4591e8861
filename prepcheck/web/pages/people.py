"""``GET, POST /people``: who works with this log, on which phones, and links to pair another one."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

import segno
from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse
from markupsafe import Markup

from prepcheck import tasks
from prepcheck.errors import NotAllowed, PrepcheckError, WrongUse
from prepcheck.store import Person
from prepcheck.tasks import Role
from prepcheck.web.pages.forms import Field, Form, Said, SentForm, needed, whole
from prepcheck.web.pages.render import show
from prepcheck.web.pages.said import when
from prepcheck.web.session import Session, SignedIn
from prepcheck.web.shop import Shop, TheShop

router = APIRouter()
_ROLES = {
    "welder": "logs",
    "releaser": "logs and releases hold points",
    "keeper": "logs, releases, names people, erases",
}
_NEW_PIN = Field("new_pin", "New PIN", kind="pin", needed=True, complete="new-password")
_OWN_PIN = Field("pin", "Your own PIN", kind="pin", needed=True, complete="current-password")


@dataclass(frozen=True)
class PersonRow:
    """A person in the log."""

    name: str
    words: str


@dataclass(frozen=True)
class SessionRow:
    """A paired phone."""

    key: int
    name: str
    words: str


@dataclass(frozen=True)
class PairLink:
    """A link that pairs one phone, with its code to scan."""

    url: str
    until: str
    code: Markup


@dataclass(frozen=True)
class PeoplePage:
    """People and phones; `keeps` says whether who asks may change them."""

    who: str
    role: str
    people: tuple[PersonRow, ...]
    sessions: tuple[SessionRow, ...]
    keeps: bool
    new_person: Form
    own_pin: Form
    pair: PairLink | None = None
    done: str = ""
    title: str = "People and phones"


@router.get("/people")
def people(request: Request, shop: TheShop, session: SignedIn) -> HTMLResponse:
    """Show people and phones."""
    return show(request, "people.html", people_page(shop, session), session.person)


@router.post("/people")
def change(request: Request, shop: TheShop, session: SignedIn, said: SentForm) -> HTMLResponse:
    """Name a person, change a PIN, make a link for a phone, or take a phone's right away."""
    link, done, error = None, "", None
    try:
        if said.get("do") == "pair":
            link = _link(shop, session)
        else:
            done = _changed(shop, session, said)
    except PrepcheckError as found:
        error = found
    page = people_page(shop, session, said if error else {}, error, link, done)
    return show(request, "people.html", page, session.person, error.http_status if error else 200)


def people_page(
    shop: Shop,
    session: Session,
    said: Said | None = None,
    error: PrepcheckError | None = None,
    link: PairLink | None = None,
    done: str = "",
) -> PeoplePage:
    """Return the page of people and phones."""
    keeps, zone = session.may(Role.KEEPER), shop.clock().tzinfo
    phones = shop.sessions.all() if keeps else []
    kept = {name: value for name, value in (said or {}).items() if name in ("do", "name", "role")}
    return PeoplePage(
        who=session.person,
        role=session.role,
        people=tuple(_row(one) for one in tasks.list_people(shop.store)),
        sessions=tuple(
            SessionRow(one.number, one.device, f"{one.person or 'nobody signed in'}, seen {when(one.seen_at, zone)}")
            for one in phones
        ),
        keeps=keeps,
        new_person=_new_person(kept, error if kept.get("do") == "add" else None),
        own_pin=_own_pin(error if kept.get("do") != "add" else None),
        pair=link,
        done=done,
    )


def _row(one: Person) -> PersonRow:
    if not one.role:
        return PersonRow(one.name, "no role; was named with an entry")
    return PersonRow(one.name, f"{one.role}: {_ROLES.get(one.role, '')}{'' if one.has_pin else ', no PIN yet'}")


def _new_person(said: Said, error: PrepcheckError | None) -> Form:
    roles = tuple((role.value, f"{role.value}: {_ROLES[role]}") for role in Role)
    fields = (
        Field("name", "Name", needed=True),
        Field("role", "Role", kind="choice", choices=roles, needed=True),
        Field("new_pin", "PIN for this person", "They can change it here", "pin", needed=True, complete="new-password"),
        _OWN_PIN,
    )
    return Form("/people", "Name this person", fields, hidden=(("do", "add"),), said=said, error=error, prefix="add-")


def _own_pin(error: PrepcheckError | None) -> Form:
    return Form("/people", "Change my PIN", (_OWN_PIN, _NEW_PIN), hidden=(("do", "pin"),), error=error, prefix="pin-")


def _changed(shop: Shop, session: Session, said: Said) -> str:
    """Do what was asked, and say what was done."""
    match said.get("do"):
        case "add":
            return _add(shop, session, said)
        case "pin":
            new, old = needed(said, "new_pin", "the new PIN"), needed(said, "pin", "your own PIN")
            tasks.set_pin(shop.store, session.person, new, old_pin=old, at=shop.clock(), settings=shop.settings)
            return "Your PIN is changed."
        case "revoke":
            _check_keeper(session)
            shop.sessions.revoke(whole(said, "session", "the phone") or 0)
            return "That phone has to be paired again."
    raise WrongUse("nobody said what to do", "Press one of the buttons")


def _add(shop: Shop, session: Session, said: Said) -> str:
    person = tasks.add_person(
        shop.store,
        needed(said, "name", "the name"),
        needed(said, "role", "the role"),
        needed(said, "new_pin", "the PIN"),
        at=shop.clock(),
        by=session.person,
        by_pin=needed(said, "pin", "your own PIN"),
        settings=shop.settings,
    )
    return f"{person.name} is {person.role} now, with a PIN."


def _link(shop: Shop, session: Session) -> PairLink:
    _check_keeper(session)
    url = f"{shop.address}/pair/{shop.sessions.new_link()}"
    until = shop.clock() + timedelta(minutes=shop.limits.pairing_minutes)
    code = segno.make(url, error="m").svg_inline(
        border=4, light="#fff", dark="#000", omitsize=True, title="Code with the link below"
    )
    return PairLink(url, f"{until:%H:%M}", Markup(code))  # made of our own link alone


def _check_keeper(session: Session) -> None:
    if not session.may(Role.KEEPER):
        raise NotAllowed("only a keeper may do this", "Ask the keeper of the log", session.person)
