from __future__ import annotations

import pytest

from tests import painted
from tests.web.shop import Clock, Phone, new_shop, open_page


@pytest.fixture(autouse=True)
def painted_eyes(monkeypatch):
    """Makes workers in this process use the model that reads painted plates."""
    monkeypatch.setattr("prepcheck.web.looker.load_model", lambda: painted.model())


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def folder(tmp_path):
    new_shop(tmp_path / "store")
    return tmp_path / "store"


@pytest.fixture
def app(folder, clock):
    with open_page(folder, clock=clock) as app:
        yield app


@pytest.fixture
def stranger(app):
    """A phone that is not paired."""
    return Phone(app)


@pytest.fixture
def paired(app):
    """A phone on which nobody is signed in."""
    return Phone(app).pair()


@pytest.fixture
def phone(app):
    """A phone on which Rune, who welds, is signed in."""
    phone = Phone(app).pair()
    assert phone.sign_in("Rune", "8080").status_code == 200
    return phone


@pytest.fixture
def keeper(app):
    """A phone on which Ola, who keeps the log, is signed in."""
    phone = Phone(app).pair()
    assert phone.sign_in("Ola", "4711").status_code == 200
    return phone
