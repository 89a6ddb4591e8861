"""A stand-in for the shop's computer: answers a browser's requests in the test's own process, and can fail as told."""

from __future__ import annotations

import json
import mimetypes
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from playwright.sync_api import Request, Route

STATIC = Path(__file__).parents[3] / "prepcheck" / "web" / "static"
PHONE: dict[str, Any] = {"viewport": {"width": 360, "height": 740}, "has_touch": True, "is_mobile": True}

TAKE = """<!doctype html><html lang="en" data-person="{person}"><title>photo</title>
<form data-take {now}><input name="job" value="J-0001"><input name="spot" value="{spot}"><input name="pass_no" value="2">
<input type="hidden" name="kind" value="{kind}"><input type="file" data-take-files multiple>
<label data-take-button data-ready="Take a photo" data-more="Next photo"><svg></svg>Take a photo</label>
<ol data-take-shots><li>left</li><li>right</li><li>above</li><li>below</li><li>near</li><li>far</li></ol>
<p role="status" data-take-status></p><progress max="1" hidden data-take-progress></progress>
<ul hidden data-take-queue></ul><button data-take-send>Send</button></form>
<script type="module" src="/static/take.js"></script></html>"""


@dataclass
class StandIn:
    """What the shop's computer holds, and how it is to fail.

    `fail` maps "METHOD /path" to a function that answers in place of the contract, or returns False to keep it.
    """

    person: str = "Ola"
    session: str = "Ola"
    pages: dict[str, str] = field(default_factory=dict)
    uploads: dict[str, dict[str, Any]] = field(default_factory=dict)
    logged: list[dict[str, Any]] = field(default_factory=list)
    requests: list[str] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)
    fail: dict[str, Callable[[Route], Any]] = field(default_factory=dict)
    away: bool = False
    outlines: list[int] = field(default_factory=list)

    def answer(self, route: Route) -> None:
        """Answer one request of the browser."""
        request = route.request
        path = "/" + request.url.split("/", 3)[3].split("?")[0]
        if path.startswith("/api/"):
            self.requests.append(f"{request.method} {path}")
        if self.away and path.startswith("/api/"):
            return route.abort("connectionrefused")
        for key, fails in list(self.fail.items()):
            method, prefix = key.split(" ")
            if request.method == method and path.startswith(prefix) and fails(route) is not False:
                return None
        return self._api(route, request, path) if path.startswith("/api/") else self._page(route, path)

    def _page(self, route: Route, path: str) -> None:
        if path.startswith("/static/"):
            file = STATIC / path.removeprefix("/static/")
            return route.fulfill(
                body=file.read_bytes(), content_type=mimetypes.guess_type(file.name)[0] or "text/plain"
            )
        made = {
            "/photo": TAKE.format(person=self.person, now="data-now", kind="photo", spot="1"),
            "/set": TAKE.format(person=self.person, now="", kind="set", spot="1"),
            **self.pages,
        }
        return route.fulfill(body=made.get(path, f"<title>{path}</title>"), content_type="text/html")

    def _api(self, route: Route, request: Request, path: str) -> None:
        parts = path.split("/")[2:]
        if request.method == "POST" and parts == ["uploads"]:
            return self._begin(route, request.post_data_json)
        if request.method == "PATCH" and parts[0] == "uploads":
            return self._add(route, request, self.uploads[parts[1]])
        if request.method == "GET" and parts[0] == "uploads":
            return json_of(route, {"id": parts[1], "offset": len(self.uploads[parts[1]]["data"])})
        if parts == ["session"]:
            return json_of(route, {"session": {"person": self.session}})
        if request.method == "POST" and parts == ["inspections"]:
            return self._inspect(route, request.post_data_json)
        if request.method == "GET" and parts[0] == "work":
            return self._work(route, int(parts[1]))
        return json_of(route, {"error": {"code": "unknown_page", "message": "no such page"}}, 404)

    def _begin(self, route: Route, told: dict[str, Any]) -> None:
        found = next((u for u in self.uploads.values() if u["key"] == told["key"]), None)
        if found is None:
            found = {**told, "id": f"u{len(self.uploads)}", "data": b""}
            self.uploads[found["id"]] = found
        json_of(route, {"id": found["id"], "offset": len(found["data"])})

    def _add(self, route: Route, request: Request, upload: dict[str, Any]) -> None:
        if int(request.headers["upload-offset"]) != len(upload["data"]):
            return json_of(route, {"error": {"code": "wrong_offset", "message": "not there"}}, 409)
        upload["data"] += request.post_data_buffer or b""
        return json_of(route, {"id": upload["id"], "offset": len(upload["data"])})

    def _inspect(self, route: Route, told: dict[str, Any]) -> None:
        if not any(one["key"] == told["key"] and one.get("outline") == told.get("outline") for one in self.logged):
            if not self.outlines or told.get("outline"):
                self.logged.append(told)
            else:
                return json_of(route, {"work": 999}, 202)
        at = next(k for k, one in enumerate(self.logged) if one["key"] == told["key"])
        return json_of(route, {"work": at + 1}, 202)

    def _work(self, route: Route, number: int) -> None:
        if number == 999:
            told = [{"number": n, "outline": [[9 * n, 1], [9 * n + 8, 1], [9 * n + 8, 9]]} for n in self.outlines]
            error = {"code": "choose_outline", "message": "shows several outlines"}
            return json_of(route, {"state": "failed", "share": 1, "text": "", "outlines": told, "error": error})
        return json_of(route, {"state": "done", "share": 1, "text": "done", "inspection": number})


def json_of(route: Route, body: Any, status: int = 200, headers: dict[str, str] | None = None) -> None:
    """Answer with JSON."""
    route.fulfill(status=status, body=json.dumps(body), content_type="application/json", headers=headers)


def photo(name: str = "IMG_1.jpg", size: int = 200_000, fill: bytes = b"\xff") -> dict[str, Any]:
    """Make a file as a camera hands it over."""
    kind = mimetypes.guess_type(name)[0] or "image/jpeg"
    return {"name": name, "mimeType": kind, "buffer": fill * size}
