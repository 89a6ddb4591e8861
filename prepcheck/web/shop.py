"""What every route needs: the shop's log, its book, its uploads and its works, in one frozen object."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from fastapi import Depends, FastAPI, Request

from prepcheck.archive import Archive
from prepcheck.settings import Settings
from prepcheck.web.limits import Buckets, WebLimits

if TYPE_CHECKING:
    from prepcheck.store.store import Store
    from prepcheck.web.book import Hold
    from prepcheck.web.pictures import Pictures
    from prepcheck.web.reports import Reports
    from prepcheck.web.session import Sessions
    from prepcheck.web.uploads import Uploads
    from prepcheck.web.work import Works

PAGE_FOLDER = "page"
"""In the store's folder: uploads, works, pictures to show, certificates."""
Clock = Callable[[], datetime]


@dataclass(frozen=True, eq=False)
class Shop:
    """One shop's page.

    Parameters
    ----------
    folder : Path
        The store's folder.
    settings, limits : Settings, WebLimits
        Thresholds of the shop and limits of the page.
    clock : callable
        Now, with time zone.
    store, archive : Store, Archive
        The log and its photos; what a route gives to the use cases of `prepcheck.tasks`.
    sessions, uploads, works, pictures, reports
        Paired phones, what phones send, what is being inspected, what is shown of it, and reports of jobs.
    buckets : Buckets
        Requests of each phone.
    hold : Hold
        Lets one server at a time work on the store.
    address : str
        The address at which phones reach this page, such as ``http://192.168.1.5:8473``.
    """

    folder: Path
    settings: Settings
    limits: WebLimits
    clock: Clock = field(repr=False)
    store: Store = field(repr=False)
    archive: Archive = field(repr=False)
    sessions: Sessions = field(repr=False)
    uploads: Uploads = field(repr=False)
    works: Works = field(repr=False)
    pictures: Pictures = field(repr=False)
    reports: Reports = field(repr=False)
    buckets: Buckets = field(repr=False)
    hold: Hold = field(repr=False)
    address: str = "http://127.0.0.1:8473"


def the_shop(request: Request) -> Shop:
    """Return the shop of this page."""
    return shop_of(request.app)


def shop_of(app: FastAPI) -> Shop:
    """Return the shop of an application that `prepcheck.web.create_app` made."""
    shop = app.state.shop
    assert isinstance(shop, Shop)
    return shop


TheShop = Annotated[Shop, Depends(the_shop)]
"""Type of a route's argument that takes the shop."""
