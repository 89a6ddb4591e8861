"""A practice session with one photo marked and one not, and two counts, one of them finished; for looking at every page."""

from __future__ import annotations

from tests.web.pages.reading import read
from tests.web.shop import Phone

PRACTISED = (
    "/practice?job=J-0001", "/practice/1", "/practice/1/1", "/practice/1/2", "/count?job=J-0001", "/count/sump",
    "/count/sump/1", "/count/done/results",
)  # fmt: skip
"""Pages for Ola, once she has practised as the first thing in a log."""


def practise(app, name: str) -> None:
    """Practise and count on the photos of J-0001, which are called `name`."""
    phone = Phone(app).pair()
    phone.sign_in("Ola", "4711")
    fields = read(phone.get("/practice?job=J-0001")).all("input")
    photos = [
        f"{one['value'].split()[0]} {number} {name}" for number, one in enumerate(fields) if one.get("name") == "photos"
    ]
    assert (
        phone.post("/practice", data={"photos": photos}, follow_redirects=False).headers["location"] == "/practice/1/1"
    )
    phone.post("/practice/1/1/mark", data={"nothing": "yes"})
    for count in ("sump", "done"):
        phone.post("/count", data={"name": count, "photos": photos[:1], "points": 9})
    _count(phone)


def _count(phone: Phone) -> None:
    phone.post("/count/sump/1", data={"point": 1, "label": "1"})
    for point in range(1, 30):
        phone.post("/count/done/1", data={"point": point, "label": str(point % 3)})
    phone.post("/count/done/1", data={"point": 1, "do": "finish"})
    assert phone.post("/count/done/tool").status_code == 200
