"""A sealed bag holds the signed file of the shop's own fit that its answers were read with, and `verify` looks at it."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from shutil import copytree

import cv2
import pytest

from prepcheck import looking, tasks
from prepcheck.archive.job_seal import JobSealed, seal_job
from prepcheck.archive.keys import KEY_FILE, KEY_FOLDER, rotate
from prepcheck.archive.seal import Evidence
from prepcheck.archive.shop_fit_file import FIT_FOLDER
from prepcheck.archive.statement import canonical, sha256
from prepcheck.archive.verify import NO_FIT
from prepcheck.errors import StoreFault
from prepcheck.looking import Look, Place
from prepcheck.store import NewJob
from prepcheck.store.store import Store
from prepcheck.tasks.shop_fit import Kept, keep_fit
from prepcheck.terms import State
from tests import painted
from tests.archive import sealed as s
from tests.store.logs import copy_log
from tests.tasks.test_shop_fit import AT, HELPS, MODEL, SETTINGS

OLD_BAG = Path(__file__).parents[1] / "archive" / "bag_without_fit.zip"
"""Sealed by the program before fits were put into bags, from an invented job with one painted picture."""
OLD_FIT = "5ae1124639fa913479a0bbe61c54f2d0069429aa5d3cee177c93433696269854"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Kept]:
    """A log with a fit and one answer that was read with it."""
    folder = tmp_path_factory.mktemp("made")
    store, archive = tasks.open_log(folder, SETTINGS)
    job = tasks.open_job(store, NewJob("Bowser, pitted seam"), person="Ola", at=AT)
    picture = folder / "plate.jpg"
    cv2.imwrite(str(picture), painted.paint(painted.plate((State.OXIDE, 320, 240, 40)))[..., ::-1])
    kept = keep_fit(store, HELPS, MODEL, SETTINGS, person="Rune", at=AT)
    look = looking.at_shop(Look(SETTINGS, MODEL), store)
    looking.look_at(picture, look, Place(store, archive, job.number, "1", 1, "Ola"), AT)
    return folder, kept


@pytest.fixture
def store(made: tuple[Path, Kept], tmp_path: Path) -> Store:
    folder = copytree(made[0], tmp_path / "store")
    copy_log(made[0], folder)
    return tasks.open_log(folder, SETTINGS)[0]


@pytest.fixture
def fit(made: tuple[Path, Kept]) -> str:
    return made[1].sha256


def seal(store: Store, out: Path) -> JobSealed:
    _, archive = tasks.open_log(store.folder, SETTINGS)
    return seal_job(store, archive, "J-0001", out, person="Ola", at=AT + timedelta(hours=1))


def missing(bag: Path) -> list[str]:
    """Return the fits that `verify` says are not in a bag in which it finds no fault."""
    found = s.looked(bag)
    assert found.faults == ()
    return [line.removeprefix(f"{NO_FIT}: ") for line in found.told if line.startswith(NO_FIT)]


def sealed_with(
    store: Store, out: Path, monkeypatch: pytest.MonkeyPatch, change: Callable[[dict[str, bytes]], object]
) -> list[tuple[str, str]]:
    """Seal with other files of fits, as a shop could that writes its own program; return the faults."""
    from prepcheck.archive import job_seal

    def forged(evidence: Evidence, *more: object, **named: object) -> object:
        change(evidence.fits)  # type: ignore[arg-type]
        return own(evidence, *more, **named)  # type: ignore[arg-type]

    own = job_seal.seal
    monkeypatch.setattr(job_seal, "seal", forged)
    monkeypatch.setattr(job_seal, "_refuse_faults", lambda *_: [])
    seal(store, out)
    return [(fault.where, fault.what) for fault in s.looked(out).faults]


def test_the_signed_file_of_the_fit_is_in_the_bag_and_verified(store, fit, tmp_path):
    assert seal(store, tmp_path / "bag").fits == (fit,)
    inside = tmp_path / "bag" / "data" / FIT_FOLDER / f"{fit}.json"
    assert inside.read_bytes() == (store.folder / FIT_FOLDER / f"{fit}.json").read_bytes()
    assert missing(tmp_path / "bag") == []


def test_a_bag_of_a_job_without_a_fit_holds_none(store, tmp_path):
    other = tasks.open_job(store, NewJob("Lid"), person="Ola", at=AT)
    _, archive = tasks.open_log(store.folder, SETTINGS)
    seal_job(store, archive, other.number, tmp_path / "bag", person="Ola", at=AT + timedelta(hours=1))
    assert not (tmp_path / "bag" / "data" / FIT_FOLDER).exists()
    assert missing(tmp_path / "bag") == []


def test_a_bag_from_before_stays_valid_and_what_it_lacks_is_told():
    assert missing(OLD_BAG) == [OLD_FIT]


def test_a_lost_file_keeps_no_job_from_being_sealed_and_is_told(store, fit, tmp_path):
    (store.folder / FIT_FOLDER / f"{fit}.json").unlink()
    done = seal(store, tmp_path / "bag")
    assert done.fits == ()
    assert done.fits_left_out == (f"shop's fit {fit}: its file cannot be read (No such file or directory)",)
    assert missing(tmp_path / "bag") == [fit]


def test_a_file_that_is_not_the_one_named_is_left_out(store, fit, tmp_path):
    path = store.folder / FIT_FOLDER / f"{fit}.json"
    path.chmod(0o644)
    path.write_bytes(path.read_bytes() + b" ")
    assert seal(store, tmp_path / "bag").fits_left_out == (
        f"shop's fit {fit}: its file is not the one that was logged",
    )
    assert missing(tmp_path / "bag") == [fit]


def test_a_fit_signed_with_a_key_that_is_gone_is_left_out(store, fit, tmp_path):
    (store.folder / KEY_FOLDER / KEY_FILE).unlink()
    assert seal(store, tmp_path / "bag").fits == ()
    assert missing(tmp_path / "bag") == [fit]


def test_a_fit_signed_with_an_earlier_key_of_the_shop_is_verified(store, fit, tmp_path):
    rotate(store.folder, AT)
    assert seal(store, tmp_path / "bag").fits == (fit,)
    assert missing(tmp_path / "bag") == []


def test_a_changed_byte_of_the_fit_is_a_fault(store, fit, tmp_path):
    seal(store, tmp_path / "bag")
    bag = s.opened(tmp_path / "bag")
    path = bag / "data" / FIT_FOLDER / f"{fit}.json"
    path.write_bytes(path.read_bytes().replace(b'"slope":0.', b'"slope":0.9', 1))
    assert ("changed", f"data/{FIT_FOLDER}/{fit}.json") in s.faults(bag)


def test_another_file_in_the_place_of_the_fit_is_a_fault(store, fit, tmp_path, monkeypatch):
    found = sealed_with(store, tmp_path / "bag", monkeypatch, lambda fits: fits.update({fit: b"{}"}))
    assert found == [(f"data/{FIT_FOLDER}/{fit}.json", "the shop's own fit: its file is not the one that was logged")]


def test_a_fit_that_no_answer_names_is_a_fault(store, tmp_path, monkeypatch):
    found = sealed_with(store, tmp_path / "bag", monkeypatch, lambda fits: fits.update({"0" * 64: b"{}"}))
    assert found == [(f"data/{FIT_FOLDER}/{'0' * 64}.json", "is no fit that an answer of the job was read with")]


def test_a_fit_of_another_model_is_a_fault(store, fit, tmp_path, monkeypatch):
    """The record names a fit that the shop signed for another model, as one could who writes the log by hand."""
    from prepcheck.archive import bindings

    monkeypatch.setattr(bindings, "_fits_named", lambda *_: iter([(fit, "2" * 64)]))
    with pytest.raises(StoreFault, match="was made for another model than the one that answered"):
        seal(store, tmp_path / "bag")


def test_a_record_that_names_no_hash_raises_nothing(store, tmp_path, monkeypatch):
    from prepcheck.archive import bindings

    seal(store, tmp_path / "bag")
    strange = {"origin": {"shop_fit": "../../x\x00", "model_sha256": None}}
    monkeypatch.setattr(bindings, "logged_record", lambda *_: strange)
    told = s.looked(tmp_path / "bag").told
    assert any("../../x" in line for line in told)


def test_the_file_in_the_bag_says_what_the_fit_rests_on(store, fit, tmp_path):
    seal(store, tmp_path / "bag")
    told = json.loads((tmp_path / "bag" / "data" / FIT_FOLDER / f"{fit}.json").read_bytes())["fit"]
    assert [one["sha256"] for one in told["photos"]] == [one.sha256 for one in HELPS.photos]
    assert sha256(canonical(told["photos"])) == told["data_sha256"]
