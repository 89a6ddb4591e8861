"""The keys of a cluster on the command line. Default tier; the cluster itself is in tests/batch/test_cluster."""

from __future__ import annotations

import json

import pytest

from prepcheck.batch import cluster
from prepcheck.batch.cluster_work import own_kit


def test_keys_are_made_and_it_is_told_how_the_cluster_is_started(command):
    done = command("cluster", "keys", "keys")
    assert (done.code, done.err) == (0, "")
    assert "dask scheduler --protocol tls --port 8786 --tls-ca-file keys/ca.pem" in done.out
    assert "prepcheck batch SOURCE --out FOLDER --cluster tls://HOST:8786 --cluster-keys keys" in done.out
    assert sorted(path.name for path in (command.folder / "keys").iterdir()) == ["ca.pem", "cert.pem", "key.pem"]


def test_keys_that_are_there_stay(command):
    command("cluster", "keys", "keys")
    done = command("cluster", "keys", "keys")
    assert (done.code, done.complaint) == (2, "keys: there are keys already. Name a new folder.")


@pytest.mark.parametrize("call", [("cluster", "check"), ("batch", ".", "--out", "../out", "--cluster")])
def test_another_computer_is_not_spoken_to_unencrypted(command, call):
    (command.folder / "a.jpg").write_bytes(b"x")
    done = command(*call, "tcp://10.0.0.7:8786")
    assert done.code == 2
    assert "would send photos unencrypted to another computer" in done.err


def test_the_workers_are_told(command, monkeypatch):
    class Client:
        status = "running"

        def nthreads(self):
            return {"tls://10.0.0.9:1": 1, "tls://10.0.0.9:2": 1}

        def close(self, timeout):
            pass

    monkeypatch.setattr(cluster, "_connect", lambda address, keys: Client())
    monkeypatch.setattr(cluster, "check_machines", lambda client, kit: None)
    done = command("cluster", "check", "tcp://127.0.0.1:8786")
    assert done.out.splitlines()[0] == "tls://10.0.0.9:1: 1 at once"
    assert "2 workers, 2 photos at once. All have, as here: prepcheck " in done.out
    told = json.loads(command("cluster", "check", "tcp://127.0.0.1:8786", "--json").out)
    assert told["kit"]["prepcheck"] == own_kit().prepcheck
    assert told["workers"] == {"tls://10.0.0.9:1": 1, "tls://10.0.0.9:2": 1}
