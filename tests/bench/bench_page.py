"""Measure the page on this machine: one photo alone, eight phones at once, a report, pages meanwhile, memory.

    python -m tests.bench.bench_page [--phones 8]

Starts `prepcheck serve` with a throw-away log, sends made-up 12 MP photos as a phone would (in pieces of 1 MB), and prints
seconds from the last byte to the answer, and the peak of the server's memory (proportional set size, Linux).
"""

from __future__ import annotations

import argparse
import asyncio
import io
import json
import re
import secrets
import subprocess
import tempfile
import time
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from statistics import median
from typing import TypeVar

import httpx
import numpy as np
from PIL import Image

from prepcheck import tasks
from prepcheck.resources import folder
from prepcheck.settings import Settings
from prepcheck.store import NewJob

PIECE = 1_000_000
T = TypeVar("T")
PIN = "471100"


@dataclass(frozen=True)
class Took:
    """Seconds of upload and from the last byte to the answer; the number under which it was logged."""

    upload: float
    answer: float
    inspection: int


def twelve_megapixels(seed: int) -> bytes:
    """Enlarge a sample photo and give it other noise, so that no two are alike."""
    rgb = Image.open(folder("sample_images") / "clean-torch.jpg").convert("RGB").resize((4032, 3024))
    noise = np.random.default_rng(seed).integers(-6, 7, (3024, 4032, 1))
    file = io.BytesIO()
    Image.fromarray(np.clip(np.asarray(rgb).astype(np.int16) + noise, 0, 255).astype(np.uint8)).save(
        file, "JPEG", quality=88
    )
    return file.getvalue()


async def paired(home: str, link: str) -> httpx.AsyncClient:
    """Pair a phone and sign in; as fast as the server's limits on both allow."""
    phone = httpx.AsyncClient(base_url=home, headers={"Origin": home}, timeout=120)
    for path, body in (("pair", {"token": link}), ("sign-in", {"name": "Ola", "pin": PIN})):
        while (answer := await phone.post(f"/api/{path}", json=body)).status_code == 429:
            await asyncio.sleep(3)
        answer.raise_for_status()
    return phone


async def send(phone: httpx.AsyncClient, photo: bytes, spot: int) -> Took:
    """Send a photo in pieces, ask for its inspection, wait for the answer."""
    told = {"key": secrets.token_hex(16), "name": "a.jpg", "bytes": len(photo)}
    upload = (await phone.post("/api/uploads", json=told)).json()["id"]
    start = time.perf_counter()
    for at in range(0, len(photo), PIECE):
        piece = photo[at : at + PIECE]
        (
            await phone.patch(f"/api/uploads/{upload}", content=piece, headers={"Upload-Offset": str(at)})
        ).raise_for_status()
    last = time.perf_counter()
    asked = {"key": secrets.token_hex(16), "uploads": [upload], "job": "J-0001", "spot": str(spot), "pass_no": 1}
    work = (await phone.post("/api/inspections", json=asked)).json()["work"]
    while (state := (await phone.get(f"/api/work/{work}", params={"wait": 5})).json())["state"] not in (
        "done",
        "failed",
    ):
        pass
    return Took(last - start, time.perf_counter() - last, state["inspection"])


def memory_mb(server: int) -> float:
    """Proportional set size of a process and all its children."""
    parents: dict[int, list[int]] = {}
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            parents.setdefault(int(stat.read_text().rsplit(")", 1)[1].split()[1]), []).append(int(stat.parent.name))
        except OSError:
            continue
    family = [server]
    for one in family:
        family += parents.get(one, [])
    return sum(_pss(one) for one in family) / 1000


def _pss(process: int) -> int:
    try:
        found = re.search(r"^Pss: +(\d+)", Path(f"/proc/{process}/smaps_rollup").read_text(), re.M)
    except OSError:
        return 0
    return int(found[1]) if found else 0


async def measure(home: str, link: str, server: int, count: int) -> None:
    first = await paired(home, link)
    links = [(await first.post("/api/links")).json()["link"].rsplit("/", 1)[1] for _ in range(count - 1)]
    phones = [first, *[await paired(home, one) for one in links]]
    photos = [await asyncio.to_thread(twelve_megapixels, k) for k in range(count + 5)]
    alone = [await send(first, photo, 50 + k) for k, photo in enumerate(photos[count:])]
    print("one photo alone, last byte to answer, s:", ", ".join(f"{one.answer:.2f}" for one in alone))
    sending = asyncio.gather(
        *[send(phone, photo, k) for k, (phone, photo) in enumerate(zip(phones, photos[:count], strict=True), 1)]
    )
    took, pages, peak = await meanwhile(first, server, sending)
    whole = sorted(one.upload + one.answer for one in took)
    print(f"{count} phones at once, upload included, s: {', '.join(f'{one:.2f}' for one in whole)}")
    print(f"logged: {len({one.inspection for one in took})} of {count}; peak memory {peak:.0f} MB")
    print(f"a page meanwhile: median {median(pages):.2f} s, slowest {max(pages):.2f} s of {len(pages)}")
    await report(first, server)


async def meanwhile(phone: httpx.AsyncClient, server: int, going_on: asyncio.Future[T]) -> tuple[T, list[float], float]:
    """Look at a page again and again while something goes on; return how that ended, seconds of each page, most memory."""
    pages, peak = [], 0.0
    while not going_on.done():
        start = time.perf_counter()
        (await phone.get("/jobs/J-0001")).raise_for_status()
        pages.append(time.perf_counter() - start)
        peak = max(peak, await asyncio.to_thread(memory_mb, server))
        await asyncio.sleep(0.1)
    return await going_on, pages, peak


async def written(phone: httpx.AsyncClient, kind: str) -> None:
    """Ask for the report until it is there, as the waiting page does."""
    while (answer := await phone.get(f"/jobs/J-0001/report.{kind}")).status_code == 202:
        await asyncio.sleep(0.5)
    answer.raise_for_status()


async def report(phone: httpx.AsyncClient, server: int) -> None:
    """Ask for the job's report, twice, and look at a page meanwhile."""
    for kind in ("pdf", "html"):
        start = time.perf_counter()
        _, pages, _ = await meanwhile(phone, server, asyncio.ensure_future(written(phone, kind)))
        took = time.perf_counter() - start
        slowest = max(pages, default=0.0)
        print(f"report ({kind}): {took:.1f} s; a page meanwhile: median {median(pages):.2f} s, slowest {slowest:.2f} s")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--phones", type=int, default=8)
    parser.add_argument("--port", type=int, default=8497)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as place:
        store, _ = tasks.open_log(Path(place), Settings())
        at = datetime.now().astimezone()
        tasks.add_person(store, "Ola", "keeper", PIN, at=at)
        tasks.open_job(store, NewJob("Bowser (invented)"), person="Ola", at=at)
        command = ["prepcheck", "serve", "--store", place, "--port", str(options.port), "--json"]
        server = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        try:
            assert server.stdout is not None
            told = json.loads(server.stdout.readline())
            asyncio.run(measure(told["address"], told["pair"].rsplit("/", 1)[1], server.pid, options.phones))
        finally:
            server.terminate()
            server.wait(20)


if __name__ == "__main__":
    main()
