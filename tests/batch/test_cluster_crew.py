"""The crew on a cluster against a client that is played. Default tier; the real one is in test_cluster."""

from __future__ import annotations

import pickle
import shutil
import sys
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from unittest.mock import Mock

import pytest
from distributed.scheduler import KilledWorker

from prepcheck.archive import open_archive
from prepcheck.batch import cluster, cluster_work
from prepcheck.batch.again import AgainTask
from prepcheck.batch.cluster import Cluster, check_machines, key_of, travelling
from prepcheck.batch.cluster_work import Kit, Refused, own_kit, work_there
from prepcheck.batch.objects import Objects
from prepcheck.batch.sources import Folder, Item, Most
from prepcheck.batch.work import Done, LookKey, PhotoTask
from prepcheck.errors import ClusterFault, WrongUse

KIT = Kit("1.0", "abc", "5.0", "3.11", "2026.8")
HERE = "tcp://127.0.0.1:8786"


@dataclass(frozen=True)
class Say:
    """A task that answers its own number."""

    number: int
    name: str = "a.jpg"

    def work(self) -> Done:
        return Done(self.number, self.name, "00", "{}")


class Future:
    """What the played cluster says of a task."""

    def __init__(self, status: str, result: Any = None, error: Exception | None = None) -> None:
        self.status, self._result, self._error = status, result, error

    def result(self) -> Any:
        return self._result

    def exception(self) -> Exception | None:
        return self._error

    def add_done_callback(self, call: Callable[[Any], None]) -> None:
        call(self)


@dataclass
class Client:
    """A client of a cluster with one worker that does each task at once."""

    status: str = "running"
    scheduler: Any = field(default_factory=lambda: SimpleNamespace(address=HERE))
    threads: dict[str, int] = field(default_factory=lambda: {"tcp://127.0.0.1:1": 1})
    kits: dict[str, Any] = field(default_factory=lambda: {"tcp://127.0.0.1:1": own_kit()})
    kit: Any = field(default_factory=own_kit)
    answer: Callable[..., Future] = field(default=lambda work, *given: Future("finished", work(*given, "here")))
    most: int = 0
    held: int = 0

    def submit(self, work: Any, *given: Any, key: str, pure: bool) -> Future:
        self.held += 1
        self.most = max(self.most, self.held)
        return self.answer(work, *given)

    def nthreads(self) -> dict[str, int]:
        return self.threads

    def run(self, _what: Any, on_error: str) -> dict[str, Any]:
        return self.kits

    def run_on_scheduler(self, _what: Any) -> Any:
        return self.kit

    def close(self, timeout: float) -> None:
        self.status = "closed"


@pytest.fixture
def client(monkeypatch: pytest.MonkeyPatch) -> Client:
    made = Client()
    monkeypatch.setattr(cluster, "_connect", lambda address, keys: made)
    monkeypatch.setattr(cluster, "_PATIENCE", 0.01)
    return made


def test_each_task_is_answered_once_under_its_own_number(client):
    assert sorted(done.number for done in Cluster(HERE).work(map(Say, range(20)))) == list(range(20))


def test_only_as_many_tasks_are_handed_out_as_there_are_threads_and_one_more_each(client):
    client.threads = {"tcp://127.0.0.1:1": 3}
    for _ in Cluster(HERE).work(map(Say, range(50))):
        client.held -= 1
    assert client.most == 6


def test_large_tasks_are_handed_out_one_by_one(client, monkeypatch):
    monkeypatch.setattr(cluster, "_MOST_BYTES", 1)
    for _ in Cluster(HERE).work(map(Say, range(5))):
        client.held -= 1
    assert client.most == 1


def test_tasks_are_taken_only_as_workers_come_free(client):
    taken: list[int] = []
    answers = Cluster(HERE).work(Say(number) for number in range(1000) if not taken.append(number))
    next(answers)
    assert len(taken) <= 2


def test_an_answer_that_was_shared_with_another_client_gets_the_number_of_this_one(client):
    client.answer = lambda *given: Future("finished", Done(77, "a.jpg"))
    assert [done.number for done in Cluster(HERE).work([Say(5)])] == [5]


def test_a_photo_that_kills_its_workers_is_an_error_and_the_rest_go_on(client):
    killer = Future("error", error=KilledWorker("look", SimpleNamespace(address="x"), 3))
    client.answer = lambda work, kit, packed: (
        killer if pickle.loads(packed).number == 1 else Future("finished", work_there(kit, packed))
    )
    assert sorted((done.number, done.error) for done in Cluster(HERE).work(map(Say, range(3)))) == [
        (0, ""), (1, "lost_worker"), (2, "")
    ]  # fmt: skip


def test_a_photo_that_was_by_chance_with_workers_that_ended_is_tried_again(client):
    given_up = iter([Future("error", error=KilledWorker("look", SimpleNamespace(address="x"), 3))] * 2)
    client.answer = lambda *given: next(given_up, None) or Future("finished", work_there(*given[1:], "here"))
    assert [done.error for done in Cluster(HERE).work([Say(1)])] == [""]
    assert client.held == 3


@pytest.mark.parametrize("status", ["cancelled", "lost"])
def test_a_scheduler_that_is_gone_ends_the_run_with_words(client, status):
    client.answer = lambda *given: Future(status)
    with pytest.raises(ClusterFault, match="the scheduler is gone; what was done is kept"):
        list(Cluster(HERE).work([Say(1)]))


def test_a_connection_that_is_gone_ends_the_run_with_words(client):
    crew = Cluster(HERE)
    client.status = "connecting"
    with pytest.raises(ClusterFault, match="the scheduler is gone"):
        list(crew.work([Say(1)]))


def test_an_answer_that_cannot_be_fetched_ends_the_run_with_words(client, monkeypatch):
    def lost(self: Future) -> None:
        raise OSError("gone")

    monkeypatch.setattr(Future, "result", lost)
    with pytest.raises(ClusterFault, match="the scheduler is gone"):
        list(Cluster(HERE).work([Say(1)]))


@pytest.mark.parametrize("future", [Future("error", error=ImportError("prepcheck")), Future("finished", "no answer")])
def test_a_worker_that_cannot_do_the_work_ends_the_run_with_words(client, future):
    client.answer = lambda *given: future
    with pytest.raises(ClusterFault, match="a worker could not do the work"):
        list(Cluster(HERE).work([Say(1)]))


def test_a_worker_of_another_version_that_came_later_is_named(client):
    client.answer = lambda *given: Future("finished", Refused("tls://10.0.0.9:1", "prepcheck is 0.1, here 0.2"))
    with pytest.raises(ClusterFault, match=r"tls://10.0.0.9:1: another version came \(prepcheck is 0.1, here 0.2\)"):
        list(Cluster(HERE).work([Say(1)]))


def test_a_cluster_that_lost_all_workers_is_waited_for_and_then_given_up(client, monkeypatch):
    monkeypatch.setattr(cluster, "_SECONDS_WITHOUT_WORKER", 0.03)
    monkeypatch.setattr(Future, "add_done_callback", lambda self, call: None)  # nothing is ever done
    crew = Cluster(HERE)
    client.threads = {}
    with pytest.raises(ClusterFault, match="no worker is left"):
        list(crew.work([Say(1)]))


def test_a_refused_cluster_is_left(client):
    client.kits = {}
    with pytest.raises(ClusterFault, match="has no worker"):
        Cluster(HERE)
    assert client.status == "closed"


def test_a_client_that_cannot_be_closed_is_marked_as_closed_and_its_thread_ended(client, monkeypatch):
    ended: list[bool] = []
    client._loop_runner = SimpleNamespace(stop=lambda: ended.append(True))
    monkeypatch.setattr(client, "close", Mock(side_effect=OSError("met while it connected anew")))
    Cluster(HERE).close()
    assert (client.status, ended) == ("closed", [True])


def test_without_the_optional_part_the_way_to_it_is_told(monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(WrongUse, match=r"prepcheck\[cluster\]"):
        cluster._connect(HERE, None)


@pytest.mark.parametrize("name", ["prepcheck", "models", "opencv", "python", "dask"])
def test_a_worker_that_differs_in_anything_is_refused_by_name(name):
    client = Client(kits={"tls://10.0.0.9:1": replace(KIT, **{name: "other"})}, kit=KIT)
    with pytest.raises(ClusterFault, match=f"tls://10.0.0.9:1: is of another version \\({name} is other, here"):
        check_machines(client, KIT)


def test_a_scheduler_of_another_version_is_refused():
    with pytest.raises(ClusterFault, match="the scheduler: is of another version"):
        check_machines(Client(kits={HERE: KIT}, kit=replace(KIT, dask="1")), KIT)


def test_a_worker_without_prepcheck_is_refused_by_name():
    with pytest.raises(ClusterFault, match=r"tls://10.0.0.9:1: has no prepcheck that can be asked"):
        check_machines(Client(kits={"tls://10.0.0.9:1": ImportError("prepcheck")}, kit=KIT), KIT)


def test_a_scheduler_that_cannot_be_asked_is_refused(monkeypatch):
    def fail(self: Client, _what: Any) -> None:
        raise ImportError("prepcheck")

    monkeypatch.setattr(Client, "run_on_scheduler", fail)
    with pytest.raises(ClusterFault, match="versions cannot be asked"):
        check_machines(Client(), KIT)


def test_an_unencrypted_worker_on_another_computer_is_refused():
    with pytest.raises(ClusterFault, match=r"tcp://10.0.0.9:1: is spoken to unencrypted"):
        check_machines(Client(kits={HERE: KIT, "tcp://10.0.0.9:1": KIT}, kit=KIT), KIT)


def test_equal_machines_are_told():
    assert check_machines(Client(kits={"tls://10.0.0.9:1": KIT}, kit=KIT), KIT) == {"tls://10.0.0.9:1": KIT}


def test_work_of_another_version_is_not_even_unpacked(monkeypatch):
    monkeypatch.setattr(cluster_work, "pickle", None)
    assert work_there(replace(own_kit(), prepcheck="9"), b"", "me").why.startswith("prepcheck is ")


def photo(place: Any, **changed: Any) -> PhotoTask:
    spec = SimpleNamespace(key=LookKey("1", "model", "settings"))
    return replace(PhotoTask(1, Item("a.jpg", 3, "stamp"), place, spec), **changed)


def test_a_photo_of_this_computer_travels_with_its_bytes(tmp_path: Path):
    (tmp_path / "a.jpg").write_bytes(b"abc")
    assert travelling(photo(Folder(tmp_path, Most(10, 10)))).files == (b"abc",)
    assert travelling(photo(Objects(f"file://{tmp_path}", Most(10, 10)))).files == (b"abc",)


def test_a_photo_in_an_object_store_is_read_by_the_worker():
    assert travelling(photo(Objects("s3://shop/photos", Most(10, 10)))).files is None


def test_a_photo_that_cannot_be_read_here_is_answered_here(client, tmp_path: Path):
    (done,) = Cluster(HERE).work([photo(Folder(tmp_path, Most(10, 10)))])
    assert (done.error, client.most) == ("unreadable", 0)


@dataclass(frozen=True)
class Before:
    """What a logged record says of its photos."""

    photos: tuple[Any, ...]


def again(folder: Path, sha256: str) -> AgainTask:
    return AgainTask(1, "J-0001/spot 1", None, folder, Before((SimpleNamespace(sha256=sha256),)), 1)


def test_photos_of_a_log_on_this_computer_travel_with_the_task(tmp_path: Path):
    sha256 = open_archive(tmp_path).put(b"abc")
    packed = pickle.dumps(travelling(again(tmp_path, sha256)))
    shutil.rmtree(tmp_path / "photos")
    assert pickle.loads(packed).archive.get(sha256) == b"abc"


def test_photos_of_a_log_on_a_server_are_read_by_the_worker(tmp_path: Path):
    (tmp_path / "photos.toml").write_text('place = "s3://shop/photos"')
    assert travelling(again(tmp_path, "0" * 64)).archive.place == "s3://shop/photos"


def test_a_photo_of_a_log_that_is_lost_does_not_travel(tmp_path: Path):
    assert travelling(again(tmp_path, "0" * 64)) is None


def test_the_same_photo_model_and_settings_are_one_computation(tmp_path: Path):
    source = Folder(tmp_path, Most(10, 10))
    assert key_of(photo(source)) == key_of(photo(source, number=99))


@pytest.mark.parametrize(
    "changed",
    [
        {"item": Item("b.jpg", 3, "stamp")},
        {"item": Item("a.jpg", 3, "later")},
        {"spec": SimpleNamespace(key=LookKey("1", "other", "settings"))},
        {"spec": SimpleNamespace(key=LookKey("1", "model", "other"))},
        {"known": frozenset({"00"})},
        {"source": Folder(Path("elsewhere"), Most(10, 10))},
    ],
)
def test_another_photo_model_or_setting_is_another_computation(tmp_path: Path, changed):
    source = Folder(tmp_path, Most(10, 10))
    assert key_of(photo(source)) != key_of(photo(source, **changed))
