"""What a worker process does: look at photos, compare them, and keep what is shown of them. It never writes to the log.

Arguments and answers are plain data. Only the server logs, so a worker that outlives a killed server logs nothing.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from prepcheck import looking, tasks
from prepcheck.errors import ChooseOutline, PrepcheckError
from prepcheck.looking import Look, Place, Seen, Sight
from prepcheck.outline_file import parse_outlines
from prepcheck.passes import look_again
from prepcheck.record import Record
from prepcheck.settings import Settings
from prepcheck.store import StoreAddress
from prepcheck.surface import Model, load_model
from prepcheck.tasks.shop_fit import model_of, shop_model

if TYPE_CHECKING:
    from datetime import datetime

    from prepcheck.archive import Archive
    from prepcheck.report.card_sheet import Paper
    from prepcheck.store.store import Store
    from prepcheck.trade.units import System

STAGE_FILE = "stage"
_NICE = 5


@dataclass(frozen=True)
class Task:
    """One photo, clip or set to look at.

    Parameters
    ----------
    store : Path
        The store's folder.
    out : Path
        Folder of this work, for its stage and what is shown later.
    paths, names
        The files, and what phones call them.
    settings : Settings
        Thresholds.
    job, spot, pass_no, person, note, outline
        Where it belongs in the log, as in `prepcheck.looking.Place`.
    mm_per_px : float or None
        A stated scale.
    outlines : str
        What a person drew or refused, as JSON of `prepcheck.outline_file`; empty for nothing.
    """

    store: StoreAddress
    out: Path
    paths: tuple[Path, ...]
    names: tuple[str, ...]
    settings: Settings
    job: str
    spot: str
    pass_no: int
    person: str
    note: str = ""
    outline: int | None = None
    mm_per_px: float | None = None
    outlines: str = ""


@dataclass(frozen=True)
class Fault:
    """An error of prepcheck as plain data; `outlines` are those among which a person must choose, by number."""

    code: str
    message: str
    status: int
    outlines: dict[int, list[tuple[float, float]]] | None = None


def begin() -> None:
    """Prepare a worker process: it ends when its server does, and the model is warm."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        signal.signal(signal.SIGINT, signal.SIG_IGN)  # who stops the server with Ctrl+C stops it in an orderly way
        threading.Thread(target=_end_with, args=(parent,), daemon=True).start()
        _give_way()
    load_model()


def ready() -> None:
    """Do nothing: asked for when a pool is made, so that its processes start before the first photo comes."""


def _end_with(parent: multiprocessing.process.BaseProcess) -> None:
    parent.join()
    os._exit(1)


def _give_way() -> None:
    """Let the page go first where processes compete."""
    if hasattr(os, "nice"):
        os.nice(_NICE)


def look(task: Task) -> Seen | Fault:
    """Look at the photos of a task and compare them with earlier passes; errors are told, not raised."""
    try:
        sight, place, how = _see(task)
    except PrepcheckError as error:
        return _fault(error)
    try:
        say_stage(task.out, "comparing")
        seen = looking.compare(sight, how, place)
        _keep_shown(task.out, sight)
    except ChooseOutline as error:
        _keep_choice(task.out, sight)
        return _fault(error, sight.record)
    except PrepcheckError as error:
        return _fault(error)
    return seen


def _see(task: Task) -> tuple[Sight, Place, Look]:
    store, archive = _log(task.store, task.settings)
    outlines = parse_outlines(task.outlines, task.names[0]) if task.outlines else None
    how = Look(task.settings, shop_model(store, task.settings, load_model()), task.mm_per_px, outlines)
    place = Place(store, archive, task.job, task.spot, task.pass_no, task.person, task.outline, task.note)
    sight = looking.see(
        task.paths, how, store, names=task.names, keep_maps=True, told=lambda stage: say_stage(task.out, stage)
    )
    return sight, place, how


def _keep_shown(out: Path, sight: Sight) -> None:
    from prepcheck.web.pictures import keep

    assert sight.inspection is not None
    keep(out, sight.inspection)


def _keep_choice(out: Path, sight: Sight) -> None:
    from prepcheck.web.pictures import keep_choice

    assert sight.inspection is not None
    keep_choice(out, sight.inspection, sight.record)


def show_again(store: StoreAddress, settings: Settings, record_json: str, out: Path) -> Fault | None:
    """Make again what is shown of a logged inspection, from its archived photos."""
    from prepcheck.web.pictures import keep

    try:
        log, archive = _log(store, settings)
        record = Record.model_validate_json(record_json)
        keep(out, look_again(record, archive, model_of(log, settings, record.origin.shop_fit, load_model()), settings))
    except PrepcheckError as error:
        return _fault(error)
    return None


@dataclass(frozen=True)
class ReportAsked:
    """The report of a job that is asked for: on paper as a PDF, without `paper` as a page."""

    store: StoreAddress
    settings: Settings
    job: str
    at: datetime
    system: System
    paper: Paper | None = None


def write_report(asked: ReportAsked) -> bytes | Fault:
    """Write the report of a job; its photos are read and hatched anew, which takes seconds."""
    from prepcheck.report.job.build import report_of
    from prepcheck.report.job.gather import gather
    from prepcheck.report.job.page import page_of
    from prepcheck.report.job.write import report_pdf

    try:
        store, archive = _log(asked.store, asked.settings)
        story = tasks.job_story(store, asked.job)

        def model() -> Model:
            return shop_model(store, asked.settings, load_model())

        told = gather(store, archive.get, story, asked.at, asked.settings, asked.system, model)
        report = report_of(told)
        return page_of(report).encode() if asked.paper is None else report_pdf(report, asked.paper)
    except PrepcheckError as error:
        return _fault(error)


@lru_cache(maxsize=1)
def _open(store: StoreAddress, settings_json: str) -> tuple[Store, Archive]:
    return tasks.open_log(store, Settings.model_validate_json(settings_json), create=False)


def _log(store: StoreAddress, settings: Settings) -> tuple[Store, Archive]:
    return _open(store, settings.model_dump_json())


def say_stage(out: Path, stage: str) -> None:
    """Say how far this work is; who reads it may miss a stage, never read half of one."""
    beside = out / f"{STAGE_FILE}.new"
    beside.write_text(stage, encoding="ascii")
    beside.replace(out / STAGE_FILE)


def _fault(error: PrepcheckError, record: Record | None = None) -> Fault:
    if record is None:
        return Fault(error.code, error.plain, error.http_status)
    spots = record.spots if record.by_person is None else record.by_person.spots
    outlines = {spot.number: [(float(x), float(y)) for x, y in spot.outline] for spot in spots}
    return Fault(error.code, error.plain, error.http_status, outlines)
