"""The page on a phone in the shop: one app factory, one module per page; no logic of its own."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fastapi import FastAPI

    from prepcheck.settings import Settings
    from prepcheck.store import StoreAddress


def create_app(store: Path | StoreAddress, settings: Settings, **more: Any) -> FastAPI:
    """Make the page of the log in `store`, which is made if there is none.

    Parameters
    ----------
    store : Path or StoreAddress
        The store's folder, or its address.
    settings : Settings
        The shop's thresholds.
    **more
        `clock` (now, with time zone), `limits` (`prepcheck.web.limits.WebLimits`), `names` (of this computer beside its own),
        `address` (at which phones reach it), `make_pool` (makes the executor in which photos are looked at).

    Raises
    ------
    StoreFault
        The log or the page's own book cannot be used.
    """
    from prepcheck.web.app import create

    return create(store, settings, **more)
