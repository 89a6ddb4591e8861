"""Puts the page together: the shop, the guard, the JSON side, the pages and the files that browsers load."""

from __future__ import annotations

import asyncio
import multiprocessing
import time
from collections.abc import AsyncIterator, Collection
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import asynccontextmanager
from datetime import datetime
from functools import partial
from pathlib import Path

from fastapi import FastAPI
from starlette.concurrency import run_in_threadpool
from starlette.staticfiles import StaticFiles

from prepcheck import __version__, tasks
from prepcheck.archive.durable import make_folder
from prepcheck.settings import Settings
from prepcheck.store import StoreAddress, address_of
from prepcheck.web import api, files, looker, readings
from prepcheck.web.book import Book, Hold
from prepcheck.web.errors import add_handlers
from prepcheck.web.guard import Guard, MostOf
from prepcheck.web.lan import host_names
from prepcheck.web.limits import Buckets, WebLimits
from prepcheck.web.looker import Fault
from prepcheck.web.pictures import Pictures
from prepcheck.web.reports import Reports, write_by
from prepcheck.web.session import Sessions
from prepcheck.web.shop import PAGE_FOLDER, Clock, Shop, shop_of
from prepcheck.web.uploads import Uploads
from prepcheck.web.work import Works
from prepcheck.web.workers import MakePool, Workers


def local_time() -> datetime:
    """Return now, with the time zone of this computer."""
    return datetime.now().astimezone()


def processes(workers: int) -> Executor:
    """Return a pool of fresh processes, which load the model when they start."""
    return ProcessPoolExecutor(workers, multiprocessing.get_context("spawn"), looker.begin)


def create(
    store: Path | StoreAddress,
    settings: Settings,
    *,
    clock: Clock = local_time,
    limits: WebLimits | None = None,
    names: Collection[str] = (),
    address: str = "http://127.0.0.1:8473",
    make_pool: MakePool = processes,
) -> FastAPI:
    """See `prepcheck.web.create_app`."""
    shop = _shop(address_of(store), settings, clock, limits or WebLimits(), address, make_pool)
    app = FastAPI(
        title="prepcheck",
        version=__version__,
        docs_url=None,
        redoc_url=None,
        openapi_url="/api/openapi.json",
        lifespan=_lifespan,
    )
    app.state.shop = shop
    add_handlers(app)
    app.include_router(api.router)
    app.include_router(readings.router)
    _add_pages(app)
    app.include_router(files.router, include_in_schema=False)
    app.mount("/static", StaticFiles(directory=files.STATIC), name="static")
    app.add_middleware(
        Guard, names={*host_names(), *names}, limits=shop.limits, buckets=shop.buckets, most_of=_most_of(shop)
    )
    return app


def _shop(
    place: StoreAddress, settings: Settings, clock: Clock, limits: WebLimits, address: str, make_pool: MakePool
) -> Shop:
    store, archive = tasks.open_log(place, settings)
    folder = place.folder
    book, page = Book(folder, settings.store), folder / PAGE_FOLDER
    make_folder(page)
    page.chmod(0o700)
    uploads = Uploads(page / "uploads", book, clock, limits, settings)
    workers = Workers(make_pool, limits.workers)

    def again(record: str, out: Path) -> Fault | None:
        return workers.begin(looker.show_again, store.address, settings, record, out).result()

    pictures = Pictures(page / "pictures", store, archive, again)
    works = Works(page / "works", book, (store, archive), uploads, pictures, clock, limits, settings, workers)
    return Shop(
        folder=folder,
        settings=settings,
        limits=limits,
        clock=clock,
        store=store,
        archive=archive,
        sessions=Sessions(book, store, clock, limits, settings),
        uploads=uploads,
        works=works,
        pictures=pictures,
        reports=Reports(partial(write_by, workers)),
        buckets=Buckets(time.monotonic),
        hold=Hold(page / "serving.sqlite"),
        address=address,
    )


@asynccontextmanager
async def _lifespan(app: FastAPI) -> AsyncIterator[None]:
    shop = shop_of(app)
    shop.hold.take()
    shop.uploads.mend()
    shop.works.take_up()
    sweeping = asyncio.create_task(_sweep(shop))
    try:
        yield
    finally:
        sweeping.cancel()
        await run_in_threadpool(shop.reports.stop)
        await run_in_threadpool(shop.works.stop)
        shop.hold.release()


async def _sweep(shop: Shop) -> None:
    """Remove what is old, now and once an hour."""
    while True:
        await run_in_threadpool(shop.uploads.sweep)
        await asyncio.sleep(3600)


def _add_pages(app: FastAPI) -> None:
    from prepcheck.web.pages import routers

    for router in routers:
        app.include_router(router, include_in_schema=False)


def _most_of(shop: Shop) -> MostOf:
    """Return how large a body may be: pieces of uploads and forms with files are larger than other forms."""
    limits, files = shop.limits, 6 * shop.settings.photo.max_bytes

    def most_of(method: str, path: str) -> int:
        if method == "PATCH" and path.startswith("/api/uploads/"):
            return shop.uploads.most_bytes
        if path == "/verify":
            return limits.bag_body
        if path.startswith("/jobs/") and path.endswith("/photo"):
            return max(files, shop.uploads.most_bytes)
        return limits.small_body

    return most_of
