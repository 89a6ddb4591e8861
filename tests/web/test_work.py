"""From a photo on a phone to an entry in the log: once, whatever happens in between."""

from __future__ import annotations

import time
from concurrent.futures import Future, ThreadPoolExecutor
from concurrent.futures.process import BrokenProcessPool

import pytest

from prepcheck import looking, tasks
from prepcheck.terms import State
from prepcheck.web import looker
from prepcheck.web.limits import WebLimits
from prepcheck.web.log_once import LogOnce
from prepcheck.web.pictures import Pictures
from prepcheck.web.work import Works
from tests import painted
from tests.web.shop import PATIENT, SETTINGS, Phone, open_page, plate_jpeg, two_spots

KEY = "question-of-the-phone"


def logged(app_or_folder):
    store = getattr(app_or_folder, "state", None)
    store = store.shop.store if store else tasks.open_log(app_or_folder, SETTINGS)[0]
    story = tasks.job_story(store, "J-0001")
    return [one for spot in story.spots for each in spot.passes for one in each.inspections]


def signed_in(app):
    phone = Phone(app).pair()
    assert phone.sign_in("Rune", "8080").status_code == 200
    return phone


def test_a_photo_that_is_sent_is_inspected_and_logged(phone):
    done = phone.inspect(plate_jpeg())
    assert (done["state"], done["inspection"]) == ("done", 1)
    told = phone.get("/api/inspections/1").json()
    assert told["record"]["standing"] == "residue left"
    assert (told["place"]["job"], told["place"]["spot"], told["place"]["person"]) == ("J-0001", 1, "Rune")


def test_what_is_logged_is_as_received(app, phone):
    data = plate_jpeg()
    phone.inspect(data)
    (one,) = logged(app)
    assert app.state.shop.archive.get(one.photo_sha256) == data
    assert one.photo_name == "spot.jpg"


def test_a_photo_that_a_phone_saved_again_is_flagged_as_such(phone):
    """Phones hand photos over re-encoded; the flag of the photo says so."""
    phone.inspect(plate_jpeg())
    codes = [flag["code"] for flag in phone.get("/api/inspections/1").json()["record"]["flags"]]
    assert "re_encoded" in codes


def test_the_same_question_is_logged_once_however_often_it_is_asked(app, phone):
    upload = phone.send(plate_jpeg())
    works = {phone.ask(upload, key=KEY).json()["work"] for _ in range(3)}
    assert len(works) == 1
    phone.follow(phone.ask(upload, key=KEY))
    assert phone.follow(phone.ask(upload, key=KEY))["inspection"] == 1
    assert len(logged(app)) == 1


def test_a_photo_whose_upload_is_repeated_after_it_was_logged_is_logged_once(app, phone):
    data = plate_jpeg()
    for _ in range(2):
        phone.follow(phone.ask(phone.send(data, key="key-of-the-photo"), key=KEY))
    assert len(logged(app)) == 1


def test_one_upload_cannot_be_logged_under_two_keys(phone):
    upload = phone.send(plate_jpeg())
    phone.follow(phone.ask(upload))
    answer = phone.ask(upload)
    assert (answer.status_code, answer.json()["error"]["code"]) == (409, "key_taken")


def test_a_key_of_another_question_is_refused(phone):
    phone.follow(phone.ask(phone.send(plate_jpeg()), key=KEY))
    answer = phone.ask(phone.send(plate_jpeg(seed=1)), key=KEY)
    assert (answer.status_code, answer.json()["error"]["code"]) == (409, "key_taken")


def test_an_upload_that_is_not_whole_is_not_inspected(phone):
    told = phone.post("/api/uploads", json={"key": "key-of-the-photo", "name": "a.jpg", "bytes": 10}).json()
    answer = phone.ask(told["id"])
    assert (answer.status_code, answer.json()["error"]["code"]) == (409, "clash")


@pytest.mark.parametrize(
    ("more", "status"),
    [({"job": "J-0009"}, 404), ({"job": "../x"}, 404), ({"pass_no": 0}, 422), ({"pass_no": 100}, 422), ({"spot": ""}, 400),
     ({"spot": "1000"}, 400), ({"kind": "set"}, 422), ({"mm_per_px": -1}, 422), ({"mm_per_px": 1e9}, 422),
     ({"note": "x" * 2001}, 422), ({"person": "Mika"}, 422)],
)  # fmt: skip
def test_what_cannot_be_logged_is_told_at_once_and_the_upload_stays(phone, more, status):
    upload = phone.send(plate_jpeg())
    assert phone.ask(upload, **more).status_code == status
    assert phone.follow(phone.ask(upload))["inspection"] == 1


def test_a_file_that_is_no_photo_is_told_and_not_logged(app, phone):
    told = phone.inspect(b"<html>no photo</html>")
    assert (told["state"], told["error"]["code"]) == ("failed", "not_a_photo")
    assert logged(app) == []


def bomb():
    """Return a PNG of some kilobytes that would fill 900 million pixels."""
    import struct
    import zlib

    def chunk(kind, data):
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    header = struct.pack(">IIBBBBB", 30_000, 30_000, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", header)
        + chunk(b"IDAT", zlib.compress(bytes(10**6)))
        + chunk(b"IEND", b"")
    )


def test_a_small_file_that_would_unfold_to_a_huge_picture_is_refused(app, phone):
    told = phone.inspect(bomb())
    assert (told["state"], told["error"]["code"]) == ("failed", "too_large")
    assert logged(app) == []


def test_a_file_is_what_its_bytes_are_whatever_the_phone_calls_it(phone):
    data = plate_jpeg()
    upload = phone.send(data, name="clip.mp4")
    assert phone.follow(phone.ask(upload))["inspection"] == 1


def test_texts_of_people_come_back_as_they_were_typed(phone):
    note = "<script>alert(1)</script> & 'quotes'"
    phone.inspect(plate_jpeg(), note=note)
    assert phone.get("/api/inspections/1").json()["logged"]["note"] == note
    page = phone.get("/inspections/1", headers={"Accept": "text/html"}).text
    assert "<script>alert" not in page
    assert "&lt;script&gt;alert" in page


def test_a_question_that_came_to_nothing_can_be_asked_again_with_the_same_key(app, phone, monkeypatch):
    from prepcheck.errors import StoreBusy

    def busy(*_):
        raise StoreBusy("is locked", "Try again")

    upload = phone.send(plate_jpeg())
    with monkeypatch.context() as patched:
        patched.setattr(looking, "log_seen", busy)
        assert phone.follow(phone.ask(upload, key=KEY))["error"]["code"] == "store_busy"
    assert phone.follow(phone.ask(upload, key=KEY))["inspection"] == 1
    assert len(logged(app)) == 1


def test_of_several_outlines_a_person_chooses_and_asks_again(app, phone):
    upload = phone.send(two_spots())
    told = phone.follow(phone.ask(upload, key=KEY))
    assert (told["state"], told["error"]["code"]) == ("failed", "choose_outline")
    assert [one["number"] for one in told["outlines"]] == [1, 2]
    assert len(told["outlines"][0]["outline"]) > 3
    assert phone.follow(phone.ask(upload, key=KEY, outline=2))["inspection"] == 1
    assert logged(app)[0].outline == 2


def test_a_moved_light_set_is_one_inspection(app, phone):
    uploads = [phone.send(plate_jpeg(seed=seed), name=f"{seed}.jpg") for seed in range(3)]
    assert phone.follow(phone.ask(*uploads, kind="set"))["inspection"] == 1
    assert logged(app)[0].photos == ("0.jpg", "1.jpg", "2.jpg")


def test_a_clip_is_one_inspection_under_the_name_that_the_phone_gave(app, phone, tmp_path):
    from tests.photo.test_clip import lit, written

    plate = painted.paint(painted.plate((State.OXIDE, 320, 240, 40)))
    frames = [lit(plate, across) for across in (0.1, 0.3, 0.5, 0.7, 0.9) for _ in range(6)]
    upload = phone.send(written(tmp_path, frames), name="sweep.mp4")
    assert phone.follow(phone.ask(upload, kind="clip"))["inspection"] == 1
    assert logged(app)[0].photo_name == "sweep.mp4"
    assert phone.get("/api/inspections/1/overlay.png").status_code == 200


def test_a_person_draws_an_outline_and_both_answers_stay(app, phone):
    phone.inspect(plate_jpeg())
    square = [[250, 170], [390, 170], [390, 310], [250, 310]]
    answer = phone.post(
        "/api/inspections/1/outlines", json={"key": KEY, "outlines": {"draw": [square], "refuse": {"1": "too wide"}}}
    )
    assert phone.follow(answer)["inspection"] == 2
    first, second = logged(app)
    assert (second.corrects, first.corrected_by) == (1, (2,))
    assert second.refused == {1: "too wide"}


def test_outlines_that_cannot_be_used_are_told(phone):
    phone.inspect(plate_jpeg())
    told = phone.follow(phone.post("/api/inspections/1/outlines", json={"key": KEY, "outlines": {"draw": [[[1, 1]]]}}))
    assert (told["state"], told["error"]["code"]) == ("failed", "bad_outlines")


def test_uploads_and_works_leave_nothing_behind(folder, phone):
    phone.inspect(plate_jpeg())
    deadline = time.monotonic() + 5
    while time.monotonic() < deadline and (
        left := [*(folder / "page/works").iterdir(), *(folder / "page/uploads").iterdir()]
    ):
        time.sleep(0.05)
    assert left == []


# ---- pictures


@pytest.mark.parametrize("what", ["photo.jpg", "overlay.png", "marked.jpg", "thumb.jpg"])
def test_each_picture_of_an_inspection_is_shown(phone, what):
    phone.inspect(plate_jpeg())
    answer = phone.get(f"/api/inspections/1/{what}")
    kind = "png" if what.endswith("png") else "jpeg"
    assert (answer.status_code, answer.headers["content-type"]) == (200, f"image/{kind}")


def test_the_marks_cover_the_residue_and_let_the_bright_metal_through(phone):
    import io

    import numpy as np
    from PIL import Image

    phone.inspect(plate_jpeg((State.OXIDE, 320, 240, 60)))
    marks = np.asarray(Image.open(io.BytesIO(phone.get("/api/inspections/1/overlay.png").content)))
    assert marks.shape == (480, 640, 4)
    assert (marks[200:280, 280:360, 3] > 128).mean() > 0.25  # hatched, with gaps
    assert (marks[140:160, 300:340, 3] == 0).all()


def test_pictures_that_were_lost_are_made_again(app, folder, phone):
    import shutil

    phone.inspect(plate_jpeg())
    before = phone.get("/api/inspections/1/overlay.png").content
    shutil.rmtree(folder / "page/pictures")
    assert phone.get("/api/inspections/1/overlay.png").content == before


def test_a_photo_that_was_cut_short_on_the_disk_is_made_again(folder, phone):
    phone.inspect(plate_jpeg())
    kept = folder / "page/pictures/1/photo.jpg"
    kept.write_bytes(kept.read_bytes()[:200])
    assert phone.get("/api/inspections/1/photo.jpg").status_code == 200


def test_a_photo_that_was_erased_is_shown_no_longer(app, clock, folder, phone):
    phone.inspect(plate_jpeg())
    shop = app.state.shop
    sha256 = logged(app)[0].photo_sha256
    tasks.erase_photo(
        shop.store, shop.archive, sha256, reason="a face", by="Ola", pin="4711", at=clock(), settings=SETTINGS
    )
    assert phone.get("/api/inspections/1/photo.jpg").status_code == 404
    assert not (folder / "page/pictures/1").exists()


@pytest.mark.parametrize(
    "path", ["2/photo.jpg", "0/photo.jpg", "1/..%2f..%2fpage.sqlite", "1/states.png", f"{2**63}/photo.jpg"]
)
def test_no_other_file_is_shown(phone, path):
    phone.inspect(plate_jpeg())
    assert phone.get(f"/api/inspections/{path}").status_code in (404, 422)


# ---- a server that dies


class Killed(BaseException):
    """Ends a thread as a kill would: nothing after it is done."""


def killed_at(folder, clock, monkeypatch, owner, name, before=False):
    """Send a photo to a server that dies in `name`, before or after that is done."""
    real = getattr(owner, name)

    def dies(*told):
        if not before:
            real(*told)
        raise Killed

    with monkeypatch.context() as patched, open_page(folder, clock=clock) as app:
        patched.setattr(owner, name, dies)
        phone = signed_in(app)
        work = phone.ask(phone.send(plate_jpeg()), key=KEY).json()["work"]
        wait_for(app)
        return work, phone.cookies["prepcheck_session"]


def wait_for(app):
    """Wait until the logging thread has come to its end with the only work."""
    works = app.state.shop.works
    deadline = time.monotonic() + 20
    while works._live and time.monotonic() < deadline:
        time.sleep(0.02)
    assert not works._live


@pytest.mark.parametrize(
    ("owner", "name", "before"),
    [
        (LogOnce, "log", True),
        (looking, "log_seen", True),
        (looking, "log_seen", False),
        (Works, "_done", True),
        (Works, "_done", False),
    ],
)
def test_a_server_that_dies_while_it_logs_logs_once(folder, clock, monkeypatch, owner, name, before):
    work, cookie = killed_at(folder, clock, monkeypatch, owner, name, before)
    with open_page(folder, clock=clock) as app:
        phone = Phone(app)
        phone.cookies.set("prepcheck_session", cookie)
        deadline = time.monotonic() + 20
        while (told := phone.get(f"/api/work/{work}").json())["state"] != "done" and time.monotonic() < deadline:
            time.sleep(0.05)
        assert (told["state"], told["inspection"]) == ("done", 1)
        assert len(logged(app)) == 1
        assert phone.get("/api/inspections/1/photo.jpg").status_code == 200


@pytest.mark.parametrize("error", [OSError(28, "No space left on device"), RuntimeError("a fault of ours")])
def test_a_fault_after_it_was_logged_logs_nothing_twice(app, phone, monkeypatch, error):
    def fails(*_):
        raise error

    upload = phone.send(plate_jpeg())
    with monkeypatch.context() as patched:
        patched.setattr(Pictures, "take", fails)
        assert phone.follow(phone.ask(upload, key=KEY))["inspection"] == 1
    assert phone.follow(phone.ask(upload, key=KEY))["inspection"] == 1
    assert len(logged(app)) == 1


def test_a_fault_of_the_store_that_came_after_all_was_written_logs_nothing_twice(app, phone, monkeypatch):
    from prepcheck.errors import StoreFault

    real = looking.log_seen

    def logs_and_fails(*told):
        real(*told)
        raise StoreFault("is refused by SQLite", "Try again")

    upload = phone.send(plate_jpeg())
    with monkeypatch.context() as patched:
        patched.setattr(looking, "log_seen", logs_and_fails)
        assert phone.follow(phone.ask(upload, key=KEY))["inspection"] == 1
    assert len(logged(app)) == 1


def test_a_work_that_waited_when_the_server_ended_is_done_by_the_next(folder, clock):
    class Never(ThreadPoolExecutor):
        def submit(self, *_):
            return Future()

    with open_page(folder, clock=clock, make_pool=Never) as app:
        phone = signed_in(app)
        assert (
            phone.get(f"/api/work/{phone.ask(phone.send(plate_jpeg()), key=KEY).json()['work']}").json()["state"]
            == "waiting"
        )
    with open_page(folder, clock=clock) as app:
        deadline = time.monotonic() + 20
        while not logged(app) and time.monotonic() < deadline:
            time.sleep(0.05)
        assert len(logged(app)) == 1


def test_two_servers_do_not_work_on_one_log(folder, clock):
    from prepcheck.errors import StoreBusy

    with open_page(folder, clock=clock), pytest.raises(StoreBusy), open_page(folder, clock=clock):
        pass


class Dying(ThreadPoolExecutor):
    """A pool in which a process dies at each photo of `bad`, as often as it is told."""

    deaths = 0

    def submit(self, call, *told):
        if call is looker.look and Dying.deaths:
            Dying.deaths -= 1
            future = Future()
            future.set_exception(BrokenProcessPool())
            return future
        return super().submit(call, *told)


@pytest.mark.parametrize(("deaths", "state", "count"), [(1, "done", 1), (2, "failed", 0)])
def test_a_photo_at_which_a_worker_dies_is_tried_once_more(folder, clock, deaths, state, count):
    Dying.deaths = deaths
    with open_page(folder, clock=clock, make_pool=Dying) as app:
        phone = signed_in(app)
        assert phone.inspect(plate_jpeg())["state"] == state
        assert len(logged(app)) == count
        assert phone.inspect(plate_jpeg(seed=1))["state"] == "done"


def test_too_many_waiting_photos_are_refused_for_a_while(folder, clock):
    class Never(ThreadPoolExecutor):
        def submit(self, *_):
            return Future()

    with open_page(folder, clock=clock, make_pool=Never, limits=WebLimits(**{**vars(PATIENT), "waiting": 1})) as app:
        phone = signed_in(app)
        assert phone.ask(phone.send(plate_jpeg())).status_code == 202
        answer = phone.ask(phone.send(plate_jpeg()))
        assert (answer.status_code, answer.json()["error"]["code"]) == (503, "busy")
