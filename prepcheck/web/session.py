"""Paired phones and who is signed in on them.

A phone is paired once with a link from the shop's computer; then people sign in on it by PIN. The cookie holds a random
token of which the book keeps only the SHA-256. PINs and sessions guard the page; who copies the store's folder needs
neither.
"""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Annotated, Any

import sqlalchemy as sa
from fastapi import Depends, Request, Response

from prepcheck import tasks
from prepcheck.errors import NotAllowed, printable
from prepcheck.settings import Settings
from prepcheck.store.words import folded
from prepcheck.tasks import Role
from prepcheck.web import book as b
from prepcheck.web.book import Book, moment
from prepcheck.web.errors import NotPaired, NotSignedIn, TooOften
from prepcheck.web.limits import Rate, WebLimits
from prepcheck.web.pins import Pins
from prepcheck.web.shop import Clock, Shop, TheShop

if TYPE_CHECKING:
    from prepcheck.store.store import Store

COOKIE = "prepcheck_session"
_SEEN_EVERY = timedelta(minutes=1)
_MOST_DEVICE = 60
_SYSTEMS = {
    "iPhone": "iPhone", "iPad": "iPad", "Android": "Android", "Windows": "Windows", "Mac OS": "Mac", "Linux": "Linux",
}  # fmt: skip
_BROWSERS = {
    "Edg": "Edge",
    "Firefox": "Firefox",
    "FxiOS": "Firefox",
    "Chrom": "Chrome",
    "CriOS": "Chrome",
    "Safari": "Safari",
}
"""Signs of systems and browsers in what a browser says of itself; the first that is found holds."""


@dataclass(frozen=True)
class Session:
    """A paired phone; `person` and `role` are empty until somebody signs in on it."""

    number: int
    device: str
    made_at: str
    seen_at: str
    expires_at: str
    person: str = ""
    role: str = ""

    def may(self, role: Role) -> bool:
        """Say whether who is signed in may do what `role` may do."""
        return self.role in list(Role) and Role(self.role).includes(role)


class Sessions:
    """The paired phones of a shop."""

    def __init__(self, book: Book, store: Store, clock: Clock, limits: WebLimits, settings: Settings) -> None:
        self._book, self._store, self._clock = book, store, clock
        self._limits, self._settings = limits, settings
        self._pins = Pins(store, settings)

    def new_link(self) -> str:
        """Return the token of a new link to pair one phone; it works once, and not for long."""
        token, now = secrets.token_urlsafe(24), self._clock()
        until = now + timedelta(minutes=self._limits.pairing_minutes)
        with self._book.writing() as connection:
            connection.execute(sa.delete(b.pairings).where(b.pairings.c.expires_at < moment(now - timedelta(days=1))))
            connection.execute(sa.insert(b.pairings).values(token_sha256=_hashed(token), expires_at=moment(until)))
        return token

    def link_holds(self, token: str) -> bool:
        """Say whether a phone can still be paired with this link."""
        with self._book.reading() as connection:
            found = connection.execute(self._open_link(token, sa.select(b.pairings.c.token_sha256))).first()
        return found is not None

    def pair(self, token: str, device: str) -> str:
        """Use up a link and return the token of a new session.

        Raises
        ------
        NotAllowed
            No such link, used already, or too old.
        """
        session, now = secrets.token_urlsafe(32), self._clock()
        until = now + timedelta(days=self._limits.session_days)
        with self._book.writing() as connection:
            used = connection.execute(self._open_link(token, sa.update(b.pairings)).values(used_at=moment(now)))
            if used.rowcount != 1:
                raise NotAllowed("this link was used already or is too old", "Ask the shop's computer for a new one")
            connection.execute(
                sa.insert(b.sessions).values(
                    token_sha256=_hashed(session),
                    device=_device(device),
                    made_at=moment(now),
                    seen_at=moment(now),
                    expires_at=moment(until),
                )
            )
        return session

    def _open_link(self, token: str, query: Any) -> Any:
        p = b.pairings.c
        return query.where(p.token_sha256 == _hashed(token), p.used_at.is_(None), p.expires_at > moment(self._clock()))

    def find(self, token: str) -> Session | None:
        """Return the session with this token, unless it was revoked or ran out."""
        now = self._clock()
        s = b.sessions.c
        with self._book.reading() as connection:
            row = connection.execute(
                sa.select(b.sessions).where(s.token_sha256 == _hashed(token), s.expires_at > moment(now))
            ).first()
        if row is None:
            return None
        if datetime.fromisoformat(row.seen_at) < now - _SEEN_EVERY:
            self._change(row.number, seen_at=moment(now))
        return self._session(row)

    def all(self) -> list[Session]:
        """Return all sessions that hold, newest first."""
        s = b.sessions.c
        with self._book.reading() as connection:
            query = sa.select(b.sessions).where(s.expires_at > moment(self._clock()))
            rows = connection.execute(query.order_by(s.number.desc())).all()
        return [self._session(row) for row in rows]

    def revoke(self, number: int) -> None:
        """End a session for good; one that is gone is fine."""
        with self._book.writing() as connection:
            connection.execute(sa.delete(b.sessions).where(b.sessions.c.number == number))

    def sign_in(self, session: Session, name: str, pin: str) -> Session:
        """Sign a person in on a phone. In a log without a keeper the first one becomes it, with this PIN.

        Raises
        ------
        WrongPin, PinLocked
            See `prepcheck.web.pins`.
        """
        now = self._clock()
        if self.has_keeper():
            person = self._pins.check(name, pin, now)
        else:
            person = tasks.add_person(self._store, name, Role.KEEPER, pin, at=now, settings=self._settings)
        until = now + timedelta(hours=self._limits.sign_in_hours)
        self._change(session.number, person=person.name, signed_until=moment(until))
        return Session(**{**vars(session), "person": person.name, "role": person.role})

    def sign_out(self, session: Session) -> None:
        """Sign out who is signed in on a phone; it stays paired."""
        self._change(session.number, person="", signed_until="")

    def has_keeper(self) -> bool:
        """Say whether somebody keeps this log; until then the first to sign in becomes its keeper."""
        return any(one.has_pin and one.role == Role.KEEPER for one in tasks.list_people(self._store))

    def _change(self, number: int, **values: str) -> None:
        with self._book.writing() as connection:
            connection.execute(sa.update(b.sessions).where(b.sessions.c.number == number).values(values))

    def _session(self, row: Any) -> Session:
        """A person who was erased, or whose sign-in ran out, is signed in no longer; a role is the one of now."""
        told = {name: getattr(row, name) for name in ("number", "device", "made_at", "seen_at", "expires_at")}
        if not row.person or row.signed_until <= moment(self._clock()):
            return Session(**told)
        people = tasks.list_people(self._store)
        person = next((one for one in people if one.has_pin and folded(one.name) == folded(row.person)), None)
        return Session(**told) if person is None else Session(**told, person=person.name, role=person.role)


def _hashed(token: str) -> str:
    return hashlib.sha256(token.encode(errors="surrogateescape")).hexdigest()


def _device(told: str) -> str:
    """Return what a phone says it is, or, where a browser says that, its system and the browser's name."""
    if told.startswith("Mozilla/"):
        told = ", ".join(one for one in (_first(told, _SYSTEMS), _first(told, _BROWSERS)) if one) or "a browser"
    return printable(" ".join(told.split()))[:_MOST_DEVICE] or "a phone"


def _first(told: str, names: Mapping[str, str]) -> str:
    return next((name for sign, name in names.items() if sign in told), "")


def cookie_name(request: Request) -> str:
    """Return the cookie's name: with https one that no other host and no plain page can set."""
    return f"__Host-{COOKIE}" if request.url.scheme == "https" else COOKIE


def set_cookie(request: Request, response: Response, token: str, limits: WebLimits) -> None:
    """Give the phone its session."""
    response.set_cookie(
        cookie_name(request),
        token,
        max_age=round(limits.session_days * 86_400),
        path="/",
        httponly=True,
        samesite="strict",
        secure=request.url.scheme == "https",
    )


def limit(request: Request, shop: Shop, rate: Rate) -> None:
    """Count this request of a phone; `TooOften` when there were too many."""
    seconds = shop.buckets.wait(rate, request.client.host if request.client else "")
    if seconds:
        raise TooOften(seconds)


def found_session(request: Request, shop: TheShop) -> Session | None:
    """Return the session of this phone, or None."""
    token = request.cookies.get(cookie_name(request), "")
    return shop.sessions.find(token) if token else None


def paired(found: Annotated[Session | None, Depends(found_session)]) -> Session:
    """Return the session of this phone; `NotPaired` without one."""
    if found is None:
        raise NotPaired
    return found


def signed_in(session: Annotated[Session, Depends(paired)]) -> Session:
    """Return the session of this phone on which somebody is signed in; `NotSignedIn` otherwise."""
    if not session.person:
        raise NotSignedIn
    return session


def keeping(session: Annotated[Session, Depends(signed_in)]) -> Session:
    """Return the session of a keeper; `NotAllowed` for anybody else."""
    if not session.may(Role.KEEPER):
        raise NotAllowed("only a keeper may do this", "Ask the keeper of the log", session.person)
    return session


Paired = Annotated[Session, Depends(paired)]
SignedIn = Annotated[Session, Depends(signed_in)]
Keeper = Annotated[Session, Depends(keeping)]
"""Types of a route's argument that takes the session and says who may ask."""
