"""A person's work as told from the log, for an invented apprentice."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from prepcheck.errors import UnknownRecord, WrongUse
from prepcheck.progress.gather import tell_person
from prepcheck.progress.misses import Place
from prepcheck.progress.tally import Tally
from prepcheck.settings import ProgressSettings
from prepcheck.terms import State
from tests.progress.made import BRIGHT, LEFT, Workshop, copied, patch
from tests.store.records import MODEL

USUAL = ProgressSettings()


@pytest.fixture(scope="module")
def seeded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Mika's twelve spots on twelve days, and one of Rune's in the same job."""
    folder = tmp_path_factory.mktemp("seeded")
    made = Workshop(folder)
    made.job()
    made.day_by_day("rb", "rrb", "b", "r", "b", "c", "rb", "b", "b", "t", "b", "b")
    made.day_by_day("b", person="Rune", first=20)
    return folder


@pytest.fixture
def shop(seeded: Path, tmp_path: Path) -> Workshop:
    """A copy of the seeded log, to add to."""
    made = Workshop(copied(seeded, tmp_path))
    made.count = 100
    return made


def test_a_person_is_told_from_their_own_spots(shop: Workshop) -> None:
    work = tell_person(shop.store, "Mika", USUAL)
    assert (len(work.spots), work.firsts.tally, work.jobs) == (12, Tally(6, 10), 1)
    assert (work.needed.bright, work.needed.open) == ({1: 6, 2: 2, 3: 1}, {1: 3})
    assert (work.days, work.models, work.invented) == ((date(2026, 9, 2), date(2026, 9, 13)), (MODEL,), True)
    assert [block.tally for block in work.blocks] == [Tally(6, 10)]


def test_only_spots_begun_on_the_days_asked_for_are_told(shop: Workshop) -> None:
    work = tell_person(shop.store, "Mika", USUAL, date(2026, 9, 3), date(2026, 9, 5))
    assert (work.firsts.tally, work.needed.bright, work.needed.open) == (Tally(1, 3), {1: 1, 3: 1}, {1: 1})


def test_days_the_wrong_way_round_are_refused(shop: Workshop) -> None:
    with pytest.raises(WrongUse, match="ends before it begins"):
        tell_person(shop.store, "Mika", USUAL, date(2026, 9, 3), date(2026, 9, 2))


def test_a_stranger_is_unknown(shop: Workshop) -> None:
    with pytest.raises(UnknownRecord):
        tell_person(shop.store, "Ida", USUAL)


def test_who_logged_nothing_has_no_spots(shop: Workshop) -> None:
    work = tell_person(shop.store, "Ola", USUAL)
    assert (work.spots, work.days, work.firsts.tally, work.blocks) == ((), None, Tally(0, 0), ())


def test_what_was_left_is_told_of_first_passes_with_residue_alone(shop: Workshop) -> None:
    shop.log(LEFT, 31, largest=patch((14, 40), "coating"))
    shop.log(LEFT, 31, 2, largest=patch((50, 40), "pit"))
    left = tell_person(shop.store, "Mika", USUAL).left
    assert [(one.shot.spot, one.miss.state, one.miss.place) for one in left if one.miss.share] == [
        (31, State.COATING, Place.RIM)
    ]
    assert [one.shot.spot for one in left] == [1, 2, 4, 7, 31]


def test_the_rim_is_as_wide_as_the_shop_sets_it(shop: Workshop) -> None:
    shop.log(LEFT, 31, largest=patch((14, 40)))
    narrow = tell_person(shop.store, "Mika", ProgressSettings(rim_share=0.01), date(2026, 12, 1))
    assert [one.miss.place for one in narrow.left] == [Place.RIM]
    shop.log(LEFT, 32, largest=patch((19, 40)))
    narrow = tell_person(shop.store, "Mika", ProgressSettings(rim_share=0.01), date(2026, 12, 1))
    assert [one.miss.place for one in narrow.left] == [Place.RIM, Place.MIDDLE]


def test_answers_with_a_fit_of_the_shops_own_are_counted(shop: Workshop) -> None:
    assert tell_person(shop.store, "Mika", USUAL).fitted == 0
    shop.log(BRIGHT, 31, shop_fit="f" * 64)
    shop.log(BRIGHT, 31, 2, shop_fit="f" * 64)
    assert tell_person(shop.store, "Mika", USUAL).fitted == 1
