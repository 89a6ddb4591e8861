"""A shop's own fit in the log: taken, refused, taken back, and not used where anything is not as it was logged."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from shutil import copytree

import cv2
import pytest

from prepcheck import looking, tasks
from prepcheck.archive import keys
from prepcheck.archive.shop_fit_file import FIT_FOLDER
from prepcheck.archive.statement import canonical, sha256
from prepcheck.errors import NotAllowed, WrongUse
from prepcheck.evaluate.fit_shop_drift import Disagreed
from prepcheck.evaluate.fit_shop_read import Read
from prepcheck.looking import Look, Place
from prepcheck.settings import PeopleSettings, PhotoSettings, Settings
from prepcheck.store import NewJob
from prepcheck.surface import ShopFit
from prepcheck.tasks.shop_fit import (
    check_drift,
    disagreed,
    fit_in_use,
    keep_fit,
    may_fit,
    model_of,
    shop_model,
    take_back,
)
from prepcheck.terms import State
from tests import painted
from tests.evaluate.shop_labels import shop
from tests.store.logs import copy_log

SETTINGS = Settings(people=PeopleSettings(hash_passes=1, hash_memory_kib=64, hash_lanes=1))
AT = datetime(2026, 11, 28, 9, 0, tzinfo=UTC)
MODEL = painted.model(sure=0.9)
HELPS = Read(shop(12, slope=0.3, shift=-0.5))
HELPS_NOT = Read(shop(12, wobble=0.0))


@pytest.fixture(scope="module")
def empty(tmp_path_factory):
    folder = tmp_path_factory.mktemp("empty")
    tasks.open_log(folder, SETTINGS)
    return folder


@pytest.fixture
def store(empty, tmp_path):
    folder = copytree(empty, tmp_path / "store")
    copy_log(empty, folder)
    return tasks.open_log(folder, SETTINGS)[0]


def keep(store, read=HELPS, at=AT, model=MODEL):
    return keep_fit(store, read, model, SETTINGS, person="Rune", at=at)


def unused(store, model=MODEL, settings=SETTINGS):
    """Return why the fit is not used, as both the log's state and the model say."""
    used = fit_in_use(store, model, settings)
    assert shop_model(store, settings, model).unused_fit == used.unused
    assert (shop_model(store, settings, model).origin == model.origin) == bool(used.unused or used.event is None)
    return used.unused


def file_of(store, kept):
    return store.folder / FIT_FOLDER / f"{kept.sha256}.json"


def rewrite(path, data):
    path.chmod(0o644)
    path.write_bytes(data)


def test_without_a_fit_the_model_is_its_own(store):
    assert shop_model(store, SETTINGS, MODEL) is not None
    assert unused(store) == ""
    assert shop_model(store, SETTINGS, MODEL).origin == MODEL.origin


def test_a_fit_that_helps_is_used_from_then_on(store):
    kept = keep(store)
    assert kept.event.entry.outcome == "taken"
    fit = shop_model(store, SETTINGS, MODEL).origin.shop_fit
    assert fit == ShopFit(kept.statement.slope, kept.statement.shift, kept.sha256, "2026-11-28")
    assert unused(store) == ""


def test_a_fit_that_does_not_help_is_kept_and_changes_nothing(store):
    kept = keep(store, HELPS_NOT)
    assert kept.event.entry.outcome == "refused"
    assert kept.event.entry.reasons == kept.statement.refused != ()
    assert file_of(store, kept).is_file()
    assert shop_model(store, SETTINGS, MODEL).origin == MODEL.origin


def test_nothing_labelled_is_refused_and_changes_nothing(store):
    kept = keep(store, Read(()))
    assert (kept.statement.slope, kept.statement.shift, len(kept.statement.refused)) == (1.0, 0.0, 3)
    assert shop_model(store, SETTINGS, MODEL).origin == MODEL.origin


def test_a_refused_fit_leaves_the_one_in_use(store):
    first = keep(store)
    keep(store, HELPS_NOT, AT + timedelta(hours=1))
    assert fit_in_use(store, MODEL, SETTINGS).sha256 == first.sha256


def test_a_later_fit_replaces_the_one_in_use_and_counts_the_tries(store):
    keep(store)
    keep(store, HELPS_NOT)
    third = keep(store, Read(shop(12, slope=0.3, shift=-0.3, seed=4)), AT + timedelta(hours=1))
    assert fit_in_use(store, MODEL, SETTINGS).sha256 == third.sha256
    assert third.statement.tries == 2


def test_a_fit_is_taken_back_with_one_entry_and_nothing_is_lost(store):
    kept = keep(store)
    take_back(store, person="Rune", reason="new lamps", at=AT + timedelta(hours=1))
    assert shop_model(store, SETTINGS, MODEL).origin == MODEL.origin
    assert unused(store) == ""
    assert [event.entry.outcome for event in store.events(None)] == ["taken", "back"]
    assert file_of(store, kept).is_file()


def test_nothing_can_be_taken_back_twice(store):
    keep(store)
    take_back(store, person="Rune", reason="new lamps", at=AT)
    with pytest.raises(WrongUse, match="no fit is in use"):
        take_back(store, person="Rune", reason="new lamps", at=AT)


def test_the_statement_holds_what_the_fit_rests_on_and_names_nobody(store):
    kept = keep(store)
    told = kept.statement
    assert (told.model_sha256, told.settings_sha256) == (MODEL.origin.sha256, SETTINGS.digest())
    assert [one.sha256 for one in told.photos] == [one.sha256 for one in HELPS.photos]
    assert told.data_sha256 == sha256(canonical([one.model_dump() for one in told.photos]))
    assert b"Rune" not in file_of(store, kept).read_bytes()


def test_the_signature_is_the_shops_over_the_statement(store):
    kept = keep(store)
    told = json.loads(file_of(store, kept).read_bytes())
    message = b"prepcheck shop fit 1\n" + canonical(told["fit"])
    assert keys.holds(keys.shop_key(store.folder, AT).public, bytes.fromhex(told["signature"]), message)


def test_a_changed_file_is_not_used(store):
    path = file_of(store, keep(store))
    rewrite(path, path.read_bytes().replace(b'"slope":0.', b'"slope":0.9', 1))
    assert unused(store) == "its file is not the one that was logged"


def test_a_lost_file_is_not_used(store):
    file_of(store, keep(store)).unlink()
    assert unused(store).startswith("its file cannot be read")


def log_forged(store, change, resign=None):
    """Change the statement of a fit, sign it anew or leave the signature, and log it as taken, as who can write both could."""
    kept = keep(store)
    told = json.loads(file_of(store, kept).read_bytes())
    change(told)
    if resign is not None:
        told["fit"]["public_key"] = resign.public
        told["signature"] = resign.sign(b"prepcheck shop fit 1\n" + canonical(told["fit"])).hex()
    data = canonical(told)
    (store.folder / FIT_FOLDER / f"{sha256(data)}.json").write_bytes(data)
    entry = kept.event.entry.model_copy(update={"sha256": sha256(data)})
    store.add_event(None, entry, "Somebody", AT)


def test_a_statement_changed_after_signing_is_not_used_even_if_it_is_logged(store):
    log_forged(store, lambda told: told["fit"].update(shift=2.0))
    assert unused(store) == "its signature is not right"


def test_a_fit_signed_by_another_shop_is_not_used(store, tmp_path):
    other = keys.shop_key(tmp_path / "other", AT)
    log_forged(store, lambda told: told["fit"].update(shift=2.0), other)
    assert unused(store) == "it was signed with a key that is none of this shop's"


def test_a_refused_fit_that_is_logged_as_taken_is_not_used(store):
    refused = keep(store, HELPS_NOT)
    store.add_event(None, refused.event.entry.model_copy(update={"outcome": "taken"}), "Somebody", AT)
    assert unused(store) == "it was refused"


@pytest.mark.parametrize("data", [b"", b"{}", b"\xff", b'{"fit": 1, "signature": "x"}', b"[" * 10_000])
def test_a_file_that_is_no_fit_is_not_used(store, data):
    kept = keep(store)
    (store.folder / FIT_FOLDER / f"{sha256(data)}.json").write_bytes(data)
    store.add_event(None, kept.event.entry.model_copy(update={"sha256": sha256(data)}), "Somebody", AT)
    assert unused(store) == "its file cannot be read as a fit"


def test_absurd_numbers_are_no_fit_even_signed_by_the_shop(store):
    log_forged(store, lambda told: told["fit"].update(slope=40.0), keys.shop_key(store.folder, AT))
    assert unused(store) == "its file cannot be read as a fit"


def test_a_fit_of_another_model_is_not_used(store):
    keep(store)
    other = replace(MODEL, origin=replace(MODEL.origin, name="newer", sha256="2" * 64))
    assert unused(store, other) == "it was made for the model palette, not for newer"


def test_with_other_settings_of_looking_it_is_not_used(store):
    keep(store)
    smoother = SETTINGS.model_copy(update={"photo": PhotoSettings(smoothing_px=3.0)})
    assert unused(store, settings=smoother) == "it was made with other settings of how photos are looked at"


def test_a_new_key_of_the_shop_still_knows_what_the_old_one_signed(store):
    keep(store)
    keys.rotate(store.folder, AT)
    assert unused(store) == ""


def test_without_the_shops_key_it_is_not_used_and_none_is_made(store):
    keep(store)
    (store.folder / keys.KEY_FOLDER / keys.KEY_FILE).unlink()
    assert unused(store) == "it was signed with a key that is none of this shop's"
    assert not keys.has_key(store.folder)


def test_a_fit_whose_entry_was_erased_is_not_used(store):
    kept = keep(store)
    store.erase_event(kept.event.number, reason="asked", by="Rune", at=AT)
    assert unused(store) == "its entry in the log was erased"
    take_back(store, person="Rune", reason="erased", at=AT)
    assert unused(store) == ""


def test_where_the_log_has_a_keeper_only_the_keeper_fits(store):
    assert may_fit(store, "Ola", None, AT, SETTINGS) == ""
    tasks.add_person(store, "Rune", "keeper", "2468", at=AT, settings=SETTINGS)
    with pytest.raises(NotAllowed):
        may_fit(store, "Ola", None, AT, SETTINGS)
    assert may_fit(store, "Rune", "2468", AT, SETTINGS) == "keeper"


def test_an_old_answer_is_read_again_with_the_fit_that_it_was_read_with(store):
    first = keep(store)
    keep(store, Read(shop(12, slope=0.3, shift=-0.3, seed=4)))
    assert model_of(store, SETTINGS, first.sha256, MODEL).origin.shop_fit.sha256 == first.sha256
    assert model_of(store, SETTINGS, None, MODEL).origin == MODEL.origin
    assert model_of(store, SETTINGS, "0" * 64, MODEL).unused_fit.startswith("its file cannot be read")


@pytest.fixture
def photo(tmp_path):
    path = tmp_path / "plate.png"
    cv2.imwrite(str(path), painted.paint(painted.plate((State.OXIDE, 320, 240, 40)))[..., ::-1])
    return path


def place(store, spot="1"):
    job = tasks.open_job(store, NewJob("Bowser, pitted seam"), person="Ola", at=AT)
    return Place(store, tasks.open_log(store.folder, SETTINGS)[1], job.number, spot, 1, "Ola")


def test_answers_in_a_log_are_read_with_its_fit_and_never_taken_from_those_without(store, photo):
    look, where = Look(SETTINGS, MODEL), place(store)
    before = looking.look_at(photo, looking.at_shop(look, store), where, AT)
    kept = keep(store)
    after = looking.look_at(photo, looking.at_shop(look, store), where, AT)
    again = looking.look_at(photo, looking.at_shop(look, store.folder), where, AT)
    assert [one.line.origin.shop_fit for one in (before, after, again)] == [None, kept.sha256, kept.sha256]
    assert before.line.bright_share is not None
    assert after.line.interval != before.line.interval


def test_earlier_passes_are_looked_at_again_with_the_fit_too(store, photo, monkeypatch):
    from prepcheck import light_set

    where, look, seen = place(store), Look(SETTINGS, MODEL), []
    looking.look_at(photo, look, where, AT)
    kept = keep(store)
    own = light_set.inspect
    monkeypatch.setattr(
        light_set, "inspect", lambda one, model, *more, **named: seen.append(model) or own(one, model, *more, **named)
    )
    second = looking.look_at(photo, looking.at_shop(look, store), replace(where, pass_no=2), AT)
    assert [model.origin.shop_fit.sha256 for model in seen] == [
        kept.sha256
    ] * 2  # of the new photo and of the pass before
    assert second.line.since_last_pass.shares is not None


def test_without_a_store_no_fit_is_ever_used(store, photo):
    keep(store)
    assert looking.look_at(photo, Look(SETTINGS, MODEL), None, AT).line.origin.shop_fit is None


def test_a_folder_without_a_log_has_no_fit(tmp_path, sqlite_only):
    look = Look(SETTINGS, MODEL)
    assert looking.at_shop(look, tmp_path / "nothing") is look
    assert not (tmp_path / "nothing").exists()


def test_a_fit_that_is_not_used_is_told_with_each_answer(store, photo):
    file_of(store, keep(store)).unlink()
    line = looking.look_at(photo, looking.at_shop(Look(SETTINGS, MODEL), store), None, AT).line
    assert line.origin.shop_fit is None
    assert "shop_fit_not_used" in [flag.code for flag in line.flags]


def test_disagreements_are_counted_before_and_since_the_fit(store, photo):
    where, look = place(store), Look(SETTINGS, MODEL)
    hours = [-2, -1, 1, 2, 3]
    logged = [looking.look_at(photo, look, where, AT + timedelta(hours=hour)).logged for hour in hours]
    tasks.disagree(
        store, logged[3].inspection, standing="bright", reason="wiped", person="Ola", at=AT + timedelta(hours=4)
    )
    assert disagreed(store, AT) == Disagreed(1, 3, 0, 2)


def test_photos_that_the_fit_has_seen_are_no_evidence_of_drift(store):
    kept = keep(store)
    again = check_drift(store, kept.statement, HELPS)
    assert again[0].chance is None
    new = check_drift(store, kept.statement, Read(shop(20, slope=0.4, shift=2.0, seed=9, start=100)))
    assert new[0].speaks_against(0.01)
