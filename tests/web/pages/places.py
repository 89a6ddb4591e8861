"""A log with everything in it, for looking at every page: each text that a person typed is one hostile text."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from prepcheck import tasks
from prepcheck.store import NewJob
from prepcheck.trade import entries as e
from prepcheck.trade.work import load_work
from tests.web.pages.practised import PRACTISED, practise
from tests.web.shop import NOON, SETTINGS, Phone, plate_jpeg

HOSTILE = "\"'><script>alert(1)</script><img src=x onerror=alert(2)>"
SHORT = "<b onclick=alert(3)>{{7*7}}</b>"
PAGES = (
    "/", "/jobs/new", "/jobs/J-0001", "/jobs/J-0002", "/jobs/J-0001/spots/1", "/jobs/J-0001/spots/1?a=1&b=2",
    "/jobs/J-0001/photo?spot=1", "/jobs/J-0001/photo?kind=set", "/jobs/J-0001/photo?kind=clip", "/inspections/1",
    "/inspections/2?marks=off", "/inspections/3", "/jobs/J-0001/steps/intake", "/jobs/J-0001/steps/open-up",
    "/jobs/J-0001/steps/strip", "/jobs/J-0001/readings", "/jobs/J-0001/readings?what=condition",
    "/jobs/J-0001/readings?what=certificate", "/jobs/J-0001/readings?what=wall", "/jobs/J-0001/readings?what=leak",
    "/jobs/J-0001/readings?what=note", "/plans", "/plans/clearing", "/plans/wall", "/plans/weld", "/plans/leak",
    "/jobs/J-0001/report", "/verify", "/people", "/sign-in", "/pair/invented", "/help", "/jobs/J-0999",
    *PRACTISED,
)  # fmt: skip


def fill(app) -> None:
    """Add to a log with two passes whatever a page can show."""
    practise(app, HOSTILE)
    store = app.state.shop.store
    told = {"person": "Rune", "at": NOON, "settings": SETTINGS}
    tasks.open_job(store, NewJob(HOSTILE, HOSTILE, SHORT, 5.0, HOSTILE, SHORT), person=SHORT, at=NOON)
    tasks.choose_work(store, "J-0001", load_work("closed-vessel"), **told)
    tasks.mark_step(store, "J-0001", "intake", note=HOSTILE, **told)
    condition = e.VesselCondition(condition="ventilated", previous_contents=HOSTILE, cleaning_done=HOSTILE, at=NOON)
    reading = e.GasReading(gas="oxygen", value=20.9, place=HOSTILE, meter=HOSTILE, of=SHORT, taken_at=NOON)
    for entry in (condition, reading, e.Note(text=HOSTILE), e.Certificate(certified_by=HOSTILE, rule=HOSTILE, at=NOON)):
        tasks.log_entry(store, "J-0001", entry, person=SHORT, at=NOON, settings=SETTINGS)
    tasks.mark_step(store, "J-0001", "open up", note=HOSTILE, **told)
    tasks.disagree(store, 1, standing="bright", reason=HOSTILE, person=SHORT, at=NOON)
    phone = Phone(app).pair()
    phone.sign_in("Rune", "8080")
    phone.inspect(plate_jpeg(seed=3), spot=SHORT, note=HOSTILE)


@contextmanager
def served(app) -> Iterator[str]:
    """Serve an app on a free port of this machine, and yield its address."""
    import socket
    import threading

    import uvicorn

    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    server = uvicorn.Server(uvicorn.Config(app, port=port, log_level="error", lifespan="off"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.02)
    yield f"http://127.0.0.1:{port}"
    server.should_exit = True
    thread.join(10)


STATIC = Path(__file__).parents[3] / "prepcheck" / "web" / "static"
