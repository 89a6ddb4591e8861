"""People's work over time on the command line, for two invented apprentices at a co-op's workshop."""

from __future__ import annotations

import json
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from prepcheck import tasks
from tests import painted
from tests.cli.shop import Shop
from tests.progress.made import BRIGHT, LEFT, Workshop, copied, day, patch
from tests.report.apprentice import photo_of, record_for
from tests.tasks.shop import PINS, QUICK, START

MIKA = ("rb", "rrb", "b", "r", "b", "c", "rb", "b", "b", "t", "b", "b")
WORDS_THAT_ARE_NO_COUNTS = {"best", "worst", "better", "worse", "rank", "winner", "safe", "cheat", "cheated"}


@pytest.fixture(scope="module")
def seeded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Mika's twelve spots and Rune's three, with coating left at a rim, a disagreement and a photo logged twice."""
    folder = tmp_path_factory.mktemp("seeded")
    made = Workshop(folder)
    made.job()
    made.day_by_day(*MIKA)
    made.day_by_day("b", "rb", "b", person="Rune", first=20)
    rim = made.log(LEFT, 40, largest=patch((14, 40), "coating"), at=day(40), data=b"twice")
    made.log(BRIGHT, 41, person="Rune", at=day(41), data=b"twice")
    made.log(BRIGHT, 42, person="Rune", at=day(42), taken=(day(42) - timedelta(days=30)).isoformat())
    tasks.disagree(made.store, rim, standing="bright", reason="it is the light", person="Mika", at=day(41))
    named: dict[str, Any] = {"at": START, "settings": QUICK}
    tasks.add_person(made.store, "Rune", "keeper", PINS["Rune"], **named)
    return folder


@pytest.fixture(scope="module")
def shop(seeded: Path) -> Shop:
    """The workshop as seeded; nothing is added to it."""
    return Shop(seeded)


@pytest.fixture
def own(seeded: Path, tmp_path: Path) -> Shop:
    """A copy of the workshop, to change."""
    return Shop(copied(seeded, tmp_path))


def objects(shop: Shop, *arguments: object) -> list[dict[str, Any]]:
    return [json.loads(line) for line in shop.good("people", *arguments, "--json").splitlines()]


def flat(text: str) -> str:
    return " ".join(text.split())


def test_everybody_is_listed(shop: Shop) -> None:
    said = shop.good("people", "list")
    assert flat(said.splitlines()[1]) == "Mika 17 photos in 1 job, 2026-09-02 to 2026-10-11"
    assert [(one["name"], one["inspections"], one["erased"]) for one in objects(shop, "list")] == [
        ("Ola", 0, False),
        ("Mika", 17, False),
        ("Rune", 6, False),
    ]


def test_much_is_read_with_few_searches_for_circles_of_objects(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[int] = []
    monkeypatch.setattr("gc.set_threshold", asked.append)
    shop.good("people", "show", "mika")
    assert asked == [200_000]


def test_a_persons_spots_are_told_with_intervals(shop: Shop) -> None:
    said = flat(shop.good("people", "show", "mika", width=200))
    assert "Mika: 13 spots in 1 job, 2026-09-02 to 2026-10-11" in said
    assert "bright at the first pass 6 of 11 spots, 55% (95% interval 23 to 84)" in said
    assert "counted apart, no misses 1 cannot tell, 1 to retake" in said
    assert "1 pass: 6, 2 passes: 2, 3 passes: 1; not bright yet: 4 after 1 pass" in said
    assert "coating left 1 of 5, too few to tell" in said
    assert "1 x tool residue left, person bright" in said


def test_what_is_shown_says_how_far_to_trust_it(shop: Shop) -> None:
    said = flat(shop.good("people", "show", "Mika"))
    assert "the tool is wrong at times" in said
    assert "Spots differ" in said
    assert "Clopper and Pearson 1934 (exact)" in said


def test_the_object_has_the_counts_behind_every_share(shop: Shop) -> None:
    (told,) = objects(shop, "show", "Mika")
    assert told["first_pass"]["bright"]["hits"] == 6
    assert told["first_pass"]["bright"]["of"] == 11
    # Clopper-Pearson of 6 of 11, from scipy.stats.binomtest(6, 11).proportion_ci()
    assert told["first_pass"]["bright"]["interval"] == pytest.approx([0.233794, 0.832512], abs=1e-6)
    assert told["passes"] == {"bright": {"1": 6, "2": 2, "3": 1}, "not_bright_yet": {"1": 4}, "with_others": 0}
    assert told["against_tool"] == [{"tool": "residue left", "person": "bright", "cases": 1}]
    assert told["left"]["by_place"].keys() == {"spread", "rim"}
    assert [block["of"] for block in told["over_time"]["by_spots"]] == [10, 1]


def test_days_bound_what_is_told(shop: Shop) -> None:
    (told,) = objects(shop, "show", "Mika", "--since", "2026-09-03", "--until", "2026-09-05")
    assert (told["since"], told["until"], told["spots"]) == ("2026-09-03", "2026-09-05", 3)


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (("--since", "tomorrow"), "--since is no day"),
        (("--since", "2026-09-05", "--until", "2026-09-03"), "ends before it begins"),
        (("--by", "week"), "--by"),
        (("--plot", "plot.gif"), "a chart is written as .svg"),
    ],
)
def test_a_question_that_cannot_be_answered_is_refused(shop: Shop, options: tuple[str, ...], says: str) -> None:
    said = shop("people", "show", "Mika", *options)
    assert (said.code, said.out) == (2, "")
    assert says in said.err


def test_days_without_a_spot_say_so(shop: Shop) -> None:
    assert "no spot whose first pass" in flat(shop.good("people", "show", "Mika", "--since", "2027-01-01"))


def test_the_plot_is_written_by_spots_or_by_month(shop: Shop, tmp_path: Path) -> None:
    for by, label in (("spots", "1-10"), ("month", "2026-09")):
        plot = tmp_path / f"{by}.svg"
        assert f"Written: {plot}" in shop.good("people", "show", "Mika", "--by", by, "--plot", plot)
        assert f">{label}</text>" in plot.read_text()


@pytest.mark.parametrize("command", [("show",), ("kept",), ("sheet", "--out", "a.pdf"), ("compare", "Mika")])
def test_a_stranger_is_refused_with_where_to_look(shop: Shop, command: tuple[str, ...]) -> None:
    said = shop("people", command[0], "Ida", *command[1:])
    assert said.code == 2
    assert "See prepcheck people list" in said.err


def test_people_stand_side_by_side_in_the_order_in_which_they_are_named(shop: Shop) -> None:
    said = shop.good("people", "compare", "Rune", "Mika")
    assert said.index("Rune: 5 spots") < said.index("Mika: 13 spots")
    assert "4 of 5 spots, too few to tell" in flat(said)
    assert "this is no order of people" in flat(said)
    assert [one["person"] for one in objects(shop, "compare", "Rune", "Mika")] == ["Rune", "Mika"]


@pytest.mark.parametrize("names", [("Mika",), ("Mika", "mika"), ("Mika", "Rune", "MIKA")])
def test_a_comparison_takes_two_people_or_more(shop: Shop, names: tuple[str, ...]) -> None:
    said = shop("people", "compare", *names)
    assert (said.code, "takes two people or more" in said.err) == (2, True)


@pytest.mark.parametrize("command", [("show", "Mika"), ("compare", "Mika", "Rune"), ("reused",), ("kept", "Mika")])
def test_nobody_is_ranked_or_accused(shop: Shop, command: tuple[str, ...]) -> None:
    said = shop.good("people", *command).lower().replace(",", " ").replace(".", " ")
    assert not WORDS_THAT_ARE_NO_COUNTS & set(said.split())


def test_what_is_kept_is_shown_with_how_long_and_how_it_goes(shop: Shop) -> None:
    said = flat(shop.good("people", "kept", "Mika", width=200))
    assert "photos logged 17, 2026-09-02 to 2026-10-11" in said
    assert "own standings beside the tool's 1" in said
    assert "36 months after the last entry (a setting of the shop), so until 2029-10-12" in said
    assert "Nothing is deleted by itself" in said
    assert "prepcheck erase person" in said


def test_how_long_is_the_shops_setting(own: Shop) -> None:
    (own.folder / "quick.toml").write_text("[progress]\nkeep_months = 6\n")
    assert "until 2027-04-12" in flat(own.good("people", "kept", "Mika", width=200))


def test_what_is_kept_is_given_row_by_row_without_the_pin(shop: Shop) -> None:
    (told,) = objects(shop, "kept", "Rune")
    assert (told["person"], told["role"], told["keep_months"]) == ("Rune", "keeper", 36)
    assert len(told["kept"]["photos logged"]) == 6
    assert "argon2" not in json.dumps(told)


def test_a_photo_logged_twice_is_a_question_with_both_places(shop: Shop) -> None:
    said = shop.good("people", "reused")
    assert "J-0001, spot 41, pass 1" in said
    assert "and bowser.jpg: J-0001, spot 40, pass 1" in said
    assert "the same photo, to the byte. Does it belong to both?" in said
    assert "taken 30 days before it was logged. Does it show this pass?" in said
    assert "nothing here says that anybody did wrong" in flat(said)


def test_questions_are_told_as_objects(shop: Shop) -> None:
    same, old = objects(shop, "reused")
    assert (same["why"], same["photo"]["person"], same["earlier"]["person"]) == ("same", "Rune", "Mika")
    assert (old["why"], old["photo"]["spot"], old["earlier"]) == ("old", 42, None)


def test_questions_can_be_those_of_one_person(shop: Shop) -> None:
    assert len(objects(shop, "reused", "--person", "mika")) == 1
    assert shop.good("people", "reused", "--person", "Ola").startswith("Nothing to ask about: 23 photos looked at")


def test_how_old_a_photo_may_be_is_the_shops_setting(own: Shop) -> None:
    (own.folder / "quick.toml").write_text("[progress]\nold_photo_hours = 2400.0\n")
    assert [one["why"] for one in objects(own, "reused")] == ["same"]


def test_who_was_erased_stands_as_erased_in_every_answer(own: Shop) -> None:
    keeper = ("--by", "Rune", "--pin-file", own.pin_file("Rune"), "--reason", "asked to be forgotten")
    own.good("erase", "person", "Mika", *keeper)
    assert "Mika" not in own.good("people", "list") + own.good("people", "reused")
    assert "by erased person 2" in own.good("people", "reused")
    assert own("people", "show", "Mika").code == own("people", "show", "erased person 2").code == 2


def test_an_empty_log_says_what_to_do(tmp_path: Path) -> None:
    said = Shop(tmp_path)("people", "list")
    assert (said.code, "holds no log yet" in said.err) == (2, True)


@pytest.fixture
def pictured(own: Shop, monkeypatch: pytest.MonkeyPatch) -> Shop:
    """The workshop with two photos of Mika's that can be looked at again."""
    monkeypatch.setattr("prepcheck.surface.load_model", lambda name=None: painted.model())
    store, archive = tasks.open_log(own.folder, QUICK)
    for number, name in enumerate(("rim", "large"), start=50):
        record = record_for(name)
        place: dict[str, Any] = {"job": "1", "spot": str(number), "pass_no": 1, "person": "Mika", "at": day(number)}
        tasks.log_inspection(store, archive, record, photo_of(name), outline_number=record.spots[0].number, **place)
    return own


@pytest.mark.parametrize("options", [(), ("--paper", "letter", "--units", "us"), ("--no-hatch",)])
def test_a_sheet_is_written_as_pdf(pictured: Shop, options: tuple[str, ...]) -> None:
    out = pictured.folder / "mika.pdf"
    assert pictured.good("people", "sheet", "Mika", "--out", out, *options) == f"Written: {out}\n"
    assert out.read_bytes().startswith(b"%PDF")


def test_a_sheet_is_written_as_a_page_with_own_pictures(pictured: Shop) -> None:
    out = pictured.folder / "mika.html"
    pictured.good("people", "sheet", "Mika", "--out", out)
    page = out.read_text()
    assert page.count("data:image/jpeg;base64,") == 2
    assert "J-0001, spot 51" in page
    assert "Invented demo data" in page


def test_another_kind_of_sheet_is_refused_before_work_starts(shop: Shop) -> None:
    said = shop("people", "sheet", "Ida", "--out", "sheet.docx")
    assert (said.code, "is no kind of file for a sheet" in said.err) == (2, True)


def test_a_person_keeps_working(shop: Shop) -> None:
    assert "Rune" in shop.good("person", "list")
