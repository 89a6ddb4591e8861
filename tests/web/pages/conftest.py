from __future__ import annotations

import shutil

import pytest

from prepcheck import tasks
from prepcheck.terms import State
from prepcheck.trade.work import load_work
from tests import painted
from tests.store.logs import copy_log
from tests.web.shop import NOON, SETTINGS, Phone, at_work, new_shop, plate_jpeg

PLATES = {1: plate_jpeg(), 2: plate_jpeg((State.OXIDE, 320, 240, 4))}
"""By grinding pass of spot 1: residue left, then a speck."""


@pytest.fixture(scope="session")
def logs(tmp_path_factory):
    """Folders of logs without photos, with one pass, and with two, made once and copied for each test."""
    place = tmp_path_factory.mktemp("logs")
    new_shop(place / "0")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("prepcheck.web.looker.load_model", lambda: painted.model())
        for pass_no, data in PLATES.items():
            with at_work(place / str(pass_no - 1), place / str(pass_no)) as phone:
                told = phone.inspect(data, pass_no=pass_no)
                assert told["inspection"] == pass_no, told
    return place


@pytest.fixture
def folder(request, logs, tmp_path):
    """A log with as many passes as the test asks for."""
    asked = request.fixturenames
    passes = 2 if "two_passes" in asked else 1 if "inspected" in asked else 0
    shutil.copytree(logs / str(passes), tmp_path / "store")
    copy_log(logs / str(passes), tmp_path / "store")
    return tmp_path / "store"


@pytest.fixture
def inspected():
    """The number of an inspection of spot 1, pass 1, that found residue."""
    return 1


@pytest.fixture
def two_passes():
    """The numbers of inspections of spot 1, passes 1 and 2."""
    return 1, 2


@pytest.fixture
def store(app):
    return app.state.shop.store


@pytest.fixture
def planned(store):
    """The job has the steps of a closed vessel, and its first one is done."""
    told = {"person": "Rune", "at": NOON, "settings": SETTINGS}
    tasks.choose_work(store, "J-0001", load_work("closed-vessel"), **told)
    tasks.mark_step(store, "J-0001", "intake", **told)
    return store


@pytest.fixture
def releaser(app):
    """A phone on which Mika, who may release, is signed in."""
    phone = Phone(app).pair()
    assert phone.sign_in("Mika", "1234").status_code == 200
    return phone
