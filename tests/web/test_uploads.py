"""Uploads go on where they stopped, and are never twice."""

from __future__ import annotations

import hashlib
import secrets

import pytest

from prepcheck.web.limits import WebLimits
from tests.web.shop import PATIENT, Phone, open_page

KEY = "key-of-the-phone-1"


def start(phone, size=10, key=KEY, name="a.jpg", **more):
    return phone.post("/api/uploads", json={"key": key, "name": name, "bytes": size, **more})


def patch(phone, id, offset, data):
    return phone.patch(f"/api/uploads/{id}", content=data, headers={"Upload-Offset": str(offset)})


def bytes_of(app, id):
    uploads = app.state.shop.uploads
    return uploads.path(uploads.find(id)).read_bytes()


def test_an_upload_comes_in_pieces(app, phone):
    id = start(phone).json()["id"]
    assert patch(phone, id, 0, b"01234").json()["offset"] == 5
    assert patch(phone, id, 5, b"56789").json()["offset"] == 10
    assert bytes_of(app, id) == b"0123456789"


def test_the_same_key_gives_the_same_upload_where_it_stands(phone):
    id = start(phone).json()["id"]
    patch(phone, id, 0, b"012")
    assert start(phone).json() == {"id": id, "offset": 3, "bytes": 10, "name": "a.jpg"}


@pytest.mark.parametrize("other", [{"size": 11}, {"name": "b.jpg"}, {"sha256": "0" * 64}])
def test_a_key_of_another_file_is_refused(phone, other):
    start(phone)
    answer = start(phone, **other)
    assert (answer.status_code, answer.json()["error"]["code"]) == (409, "key_taken")


@pytest.mark.parametrize("offset", [0, 2, 4, 10, 2**62])
def test_a_piece_that_does_not_fit_is_told_where_the_upload_stands(phone, offset):
    id = start(phone).json()["id"]
    patch(phone, id, 0, b"012")
    answer = patch(phone, id, offset, b"34")
    assert (answer.status_code, answer.json()["error"]["code"]) == (409, "wrong_offset")
    assert answer.headers["Upload-Offset"] == "3"


def test_more_bytes_than_were_told_are_refused_and_none_is_kept(app, phone):
    id = start(phone).json()["id"]
    assert patch(phone, id, 0, b"0123456789x").status_code == 413
    assert bytes_of(app, id) == b""


def test_a_photo_that_arrives_otherwise_than_it_was_sent_begins_anew(phone):
    told = {"sha256": hashlib.sha256(b"0123456789").hexdigest()}
    id = start(phone, **told).json()["id"]
    answer = patch(phone, id, 0, b"012345678x")
    assert (answer.status_code, answer.json()["error"]["code"]) == (422, "damaged_photo")
    assert patch(phone, id, 0, b"0123456789").json()["offset"] == 10


def test_a_file_larger_than_any_photo_or_clip_is_refused_before_a_byte_is_sent(phone):
    answer = start(phone, size=400_000_001)
    assert (answer.status_code, answer.json()["error"]["code"]) == (413, "too_large")


@pytest.mark.parametrize("size", [0, -1, 1.5, "many", 2**63, None])
def test_a_size_that_is_none_is_refused(phone, size):
    assert start(phone, size=size).status_code == 422


@pytest.mark.parametrize(
    ("name", "kept"),
    [
        ("../../etc/passwd", "passwd"),
        ("/absolute.jpg", "absolute.jpg"),
        ("C:\\photos\\spot.jpg", "spot.jpg"),
        ("<script>alert(1)<.jpg", "<script>alert(1)<.jpg"),
        ("  spot  1.jpg ", "spot 1.jpg"),
    ],
)
def test_a_name_never_becomes_a_path(app, folder, phone, name, kept):
    told = start(phone, name=name).json()
    assert told["name"] == kept
    assert app.state.shop.uploads.path(app.state.shop.uploads.find(told["id"])).parent == folder / "page/uploads"


@pytest.mark.parametrize("name", ["", "/", "..\x00.jpg", "a\u202eb.jpg", "x" * 300, "\ud800"])
def test_a_name_that_cannot_be_kept_is_refused(phone, name):
    import json

    body = json.dumps({"key": KEY, "name": name, "bytes": 10})
    answer = phone.post("/api/uploads", content=body, headers={"Content-Type": "application/json"})
    assert answer.status_code in (400, 422), answer.text


@pytest.mark.parametrize("id", ["0" * 32, "..%2f..%2flog.sqlite", "x", "0" * 31 + "/"])
def test_an_upload_that_is_not_there_is_told_so(phone, id):
    assert phone.get(f"/api/uploads/{id}").status_code in (404, 422)


def test_what_was_not_synced_when_the_server_died_is_sent_again(app, folder, phone):
    id = start(phone).json()["id"]
    patch(phone, id, 0, b"012")
    with (folder / "page/uploads" / id).open("ab") as file:
        file.write(b"xx")  # written, but the server died before it said so in its book
    app.state.shop.uploads.mend()
    assert patch(phone, id, 3, b"3456789").json()["offset"] == 10
    assert bytes_of(app, id) == b"0123456789"


def test_a_file_that_was_lost_is_begun_anew(app, folder, phone):
    id = start(phone).json()["id"]
    patch(phone, id, 0, b"012")
    (folder / "page/uploads" / id).unlink()
    app.state.shop.uploads.mend()
    assert start(phone).json()["offset"] == 0
    assert patch(phone, id, 0, b"0123456789").json()["offset"] == 10


def test_an_upload_that_nobody_goes_on_with_is_removed(app, clock, folder, phone):
    id = start(phone).json()["id"]
    clock.move(hours=95)
    app.state.shop.uploads.sweep()
    assert (folder / "page/uploads" / id).exists()
    clock.move(hours=2)
    app.state.shop.uploads.sweep()
    assert not (folder / "page/uploads" / id).exists()
    assert list((folder / "page/uploads").iterdir()) == []


def limited(folder, clock, **limits):
    return open_page(folder, clock=clock, limits=WebLimits(**{**vars(PATIENT), **limits}))


@pytest.mark.parametrize("limits", [{"uploads_open": 2}, {"uploads_bytes": 25}, {"free_bytes": 2**60}])
def test_a_disk_is_not_filled_by_uploads(folder, clock, limits):
    with limited(folder, clock, **limits) as app:
        phone = Phone(app).pair()
        phone.sign_in()
        answers = [start(phone, key=secrets.token_hex(8)) for _ in range(3)]
        assert answers[-1].status_code == 507
        assert answers[-1].json()["error"]["code"] == "store_full"


def test_the_older_of_two_requests_for_one_upload_ends_and_the_newer_goes_on(app, phone):
    """A phone that lost its network comes back before its first connection is noticed to be dead."""
    import asyncio

    from prepcheck.web.uploads import WrongOffset

    uploads, id = app.state.shop.uploads, start(phone).json()["id"]

    async def both():
        stuck = asyncio.Event()

        async def slow():
            yield b"01"
            await stuck.wait()
            yield b"XXXXXXXX"

        async def quick():
            yield b"0123456789"

        older = asyncio.create_task(uploads.add(id, 0, slow()))
        await asyncio.sleep(0)
        newer = await uploads.add(id, 0, quick())
        stuck.set()
        with pytest.raises(WrongOffset):
            await older
        return newer

    assert asyncio.run(both()).whole
    assert bytes_of(app, id) == b"0123456789"


def test_what_came_before_the_connection_was_lost_stays(app, phone):
    import asyncio

    from starlette.requests import ClientDisconnect

    uploads, id = app.state.shop.uploads, start(phone).json()["id"]

    async def lost():
        yield b"0123"
        raise ClientDisconnect

    with pytest.raises(ClientDisconnect):
        asyncio.run(uploads.add(id, 0, lost()))
    assert start(phone).json()["offset"] == 4
