"""A batch of photos on a server that speaks S3, looked at by a real Dask cluster whose workers read there. Services tier."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import islice
from pathlib import Path

import pytest

from prepcheck.archive.bucket import Found
from prepcheck.batch import objects
from prepcheck.batch.work import Done, Task, work_on
from prepcheck.errors import Unreadable
from tests.archive.s3_server import BUCKET, S3Server, s3_server
from tests.batch.machines import look_through, machines, make_photos, tables

pytestmark = [pytest.mark.services, pytest.mark.filterwarnings("ignore::DeprecationWarning")]

COUNT = 20


def test_workers_read_from_the_server_and_the_table_is_that_of_the_folder(tmp_path: Path, monkeypatch) -> None:
    photos = make_photos(tmp_path / "photos", COUNT)
    look_through(photos, tmp_path / "here", Here())
    with s3_server(monkeypatch) as server, machines(tmp_path) as cluster:
        address = filled(server, photos)
        crew = cluster.crew()
        monkeypatch.setattr(objects.Objects, "read", lambda *given: pytest.fail("was read here"))
        assert look_through(address, tmp_path / "there", crew) == COUNT
        crew.close()
        assert tables(address, tmp_path / "there") == tables(photos, tmp_path / "here")


@pytest.fixture(autouse=True)
def no_server_of_another_test() -> None:
    """Each test has a server of its own at the same address."""
    objects._opened.cache_clear()


class Here:
    """Works in this process, and so with the surroundings of the test."""

    def work(self, tasks: Iterable[Task]) -> Iterator[Done]:
        yield from map(work_on, tasks)

    def close(self) -> None:
        pass


def filled(server: S3Server, photos: Path) -> str:
    """Put all photos on the server and return their address."""
    for path in photos.iterdir():
        server.put(f"spots/{path.name}", path.read_bytes())
    return f"s3://{BUCKET}/spots"


def test_a_server_that_is_gone_in_the_middle_is_told_and_the_next_run_goes_on(tmp_path: Path, monkeypatch) -> None:
    photos, names = make_photos(tmp_path / "photos", COUNT), objects.Bucket.names
    with s3_server(monkeypatch) as server, monkeypatch.context() as patch:

        def cut(self: objects.Bucket) -> Iterator[Found]:
            yield from islice(names(self), COUNT // 2)
            server.stop()
            yield from names(self)

        patch.setattr(objects.Bucket, "names", cut)
        with pytest.raises(Unreadable, match="does not answer"):
            look_through(filled(server, photos), tmp_path / "out", Here())
    objects._opened.cache_clear()  # another server stands for the one that comes back
    with s3_server(monkeypatch) as server:
        address = filled(server, photos)
        assert look_through(address, tmp_path / "out", Here()) == COUNT - COUNT // 2
        look_through(photos, tmp_path / "here", Here())
        assert tables(address, tmp_path / "out") == tables(photos, tmp_path / "here")
