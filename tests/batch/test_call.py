"""What a call asks for: who works, and where the photos are."""

from __future__ import annotations

import os
from contextlib import closing

import pytest

from prepcheck.batch.call import crew_of, source_at
from prepcheck.batch.objects import Objects
from prepcheck.batch.sources import Folder
from prepcheck.errors import WrongUse
from prepcheck.settings import Settings


@pytest.mark.parametrize(("asked", "made"), [(3, 3), (None, os.cpu_count())])
def test_workers_are_as_many_as_asked_for_or_as_there_are_cores(asked, made):
    with closing(crew_of(asked, None, None)) as crew:
        assert len(crew._lanes) == made


def test_a_cluster_has_its_own_workers():
    with pytest.raises(WrongUse, match="a cluster has its own workers"):
        crew_of(2, "tcp://127.0.0.1:1", None)


def test_a_path_is_a_folder(tmp_path):
    assert isinstance(source_at(str(tmp_path), Settings()), Folder)


def test_an_address_is_an_object_store():
    pytest.importorskip("obstore")
    assert isinstance(source_at("s3://bucket/neck", Settings()), Objects)
