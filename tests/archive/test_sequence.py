"""A shop that rewrites its own log and signs again is told of too: by the tree, by earlier seals, by an older bag."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from prepcheck.archive import keys
from prepcheck.archive.verify import NO_JOB
from prepcheck.merkle import leaf_hash, root
from prepcheck.store.rows import Leaf
from prepcheck.trade.entries import Sealed
from tests.archive import sealed as s

KEYS = ["kind", "number", "at", "person", "job", "photos", "record_sha256", "entry", "events", "sha256", "nth"]


@pytest.fixture
def key(tmp_path) -> keys.ShopKey:
    return s.shop(tmp_path)


@pytest.fixture
def first(tmp_path, key) -> Path:
    return s.sealed(tmp_path / "first", key=key).path


def faults_of(leaves: list[Leaf], out: Path, key: keys.ShopKey, **changes: object) -> list[tuple[str, str]]:
    """Seal a log as it is told and return the faults."""
    return s.faults(s.sealed(out, s.evidence(leaves, **changes), key).path)


def with_text(leaf: Leaf, **changes: object) -> Leaf:
    """Change what a leaf says, and leave its hash as it was."""
    text = json.loads(leaf.text or "{}")
    return replace(leaf, text=json.dumps({**text, **changes}, separators=(",", ":"), sort_keys=True))


def hashed_anew(leaf: Leaf) -> Leaf:
    """Give a leaf the hash of what it says."""
    return replace(leaf, hash=leaf_hash(bytes.fromhex(leaf.salt) + (leaf.text or "").encode()).hex())


def second(leaves: list[Leaf], first: Path, key: keys.ShopKey, at: int = 90, knows_first: bool = True) -> Path:
    """Seal a log that knows of the first seal."""
    known = [s.logged(kept_seal(first))] if knows_first else []
    return s.sealed(first.with_name("second"), s.evidence(leaves, earlier=known), key, at=at).path


def kept_seal(first: Path) -> Sealed:
    """Return what the log tells of the first bag."""
    head = json.loads((first / "head.json").read_text())
    manifest = s.sha256((first / "tagmanifest-sha256.txt").read_bytes())
    return Sealed(bag=first.name, manifest_sha256=manifest, size=head["size"], root=head["root"])


# inside one bag


def test_an_entry_whose_text_was_changed_is_named(tmp_path, key):
    leaves = s.log()
    leaves[4] = with_text(leaves[4], entry={"kind": "note", "text": "ground with an old disc"})
    assert ("log", "entry 3 of J-0001") in faults_of(leaves, tmp_path / "bag", key)


def test_an_entry_that_was_back_dated_is_named_by_its_hash(tmp_path, key):
    leaves = s.log()
    leaves[4] = with_text(leaves[4], at=s.minutes(1))
    assert ("log", "entry 3 of J-0001") in faults_of(leaves, tmp_path / "bag", key)


def test_an_entry_added_late_with_an_early_time_is_back_dated(tmp_path, key):
    leaves = [*s.log(), s.note(6, 5, 4, "found later", -30)]
    assert faults_of(leaves, tmp_path / "bag", key) == [("time", "entry 5 of J-0001")]


def test_clocks_of_two_machines_may_differ_by_minutes(tmp_path, key):
    assert faults_of([*s.log(), s.note(6, 5, 4, "from the other desk", 3)], tmp_path / "bag", key) == []


def test_an_entry_later_than_the_seal_is_a_fault(tmp_path, key):
    assert faults_of([*s.log(), s.note(6, 5, 4, "from the future", 90)], tmp_path / "bag", key) == [
        ("time", "entry 5 of J-0001")
    ]


def test_a_dropped_entry_shows_by_the_numbers_of_the_job(tmp_path, key):
    leaves = s.log()
    kept = [replace(leaf, index=at) for at, leaf in enumerate(leaves[:4] + leaves[5:])]
    assert ("log", "entry 4 of J-0001") in faults_of(kept, tmp_path / "bag", key)


def test_reordered_entries_show(tmp_path, key):
    leaves = s.log()
    leaves[4], leaves[5] = replace(leaves[5], index=4), replace(leaves[4], index=5)
    assert ("log", "entry 4 of J-0001") in faults_of(leaves, tmp_path / "bag", key)


def test_entries_told_in_another_order_than_the_log_show(first):
    swapped(first, lambda told: told["entries"].reverse())
    assert ("log", "log.json") in s.faults(first)


def swapped(bag: Path, change: object, name: str = "log.json") -> None:
    """Change a file of JSON in a bag."""
    path = s.opened(bag) / "data" / name
    told = json.loads(path.read_text())
    change(told)  # type: ignore[operator]
    path.write_text(json.dumps(told))


def test_an_entry_cut_off_the_end_of_the_bag_shows(first):
    swapped(first, lambda told: told["entries"].pop())
    assert ("log", "log.json") in s.faults(first)


def test_an_entry_with_the_proof_of_another_is_not_in_the_tree(first):
    swapped(first, lambda told: told["entries"][0].update(proof=told["entries"][1]["proof"]))
    assert ("log", "entry 1 of J-0001") in s.faults(first)


def test_an_entry_that_was_logged_under_another_number_of_the_job_shows(tmp_path, key):
    leaves = s.log()
    leaves[5] = hashed_anew(with_text(leaves[5], nth=5))
    assert faults_of(leaves, tmp_path / "bag", key) == [("log", "entry 4 of J-0001")]


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=8)
    | st.sampled_from(["event", "inspection", "erased", "sealed", "0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-14:00"]),
    lambda inside: st.lists(inside, max_size=3) | st.dictionaries(st.sampled_from(KEYS), inside, max_size=3),
    max_leaves=8,
)  # fmt: skip


@given(st.lists(st.dictionaries(st.sampled_from(KEYS), json_values), min_size=3, max_size=3), json_values)
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_entries_that_say_anything_at_all_never_raise(first, texts, story):
    bag = s.opened(first)

    def say(told: dict[str, object]) -> None:
        for entry, text in zip(told["entries"], texts, strict=False):
            entry["text"] = json.dumps(text)

    swapped(bag, say)
    (bag / "data/job.json").write_text(json.dumps(story))
    assert s.faults(bag) != []


def test_an_entry_of_another_job_does_not_belong(first):
    swapped(first, lambda told: told["entries"][1].update(job="J-0002"))
    assert ("log", "entry 2 of J-0002") in s.faults(first)


def test_a_record_that_is_not_the_logged_one_is_named(tmp_path, key):
    found = faults_of(s.log(), tmp_path / "bag", key, records={1: '{"standing":"bright"}'})
    assert found == [("log", "data/records/inspection-000001.json")]


def test_a_record_left_out_is_named(tmp_path, key):
    assert faults_of(s.log(), tmp_path / "bag", key, records={}) == [("log", "data/records/inspection-000001.json")]


def test_a_record_that_nobody_logged_is_named(tmp_path, key):
    records = {1: s.RECORD.decode(), 2: "{}"}
    assert faults_of(s.log(), tmp_path / "bag", key, records=records) == [
        ("log", "data/records/inspection-000002.json")
    ]


def test_a_photo_left_out_is_named(tmp_path, key):
    assert faults_of(s.log(), tmp_path / "bag", key, photos=[]) == [("log", "data/photos.json")]


def test_a_photo_exchanged_before_sealing_is_not_the_original(tmp_path, key):
    bag = s.sealed(tmp_path / "bag", key=key, with_position=True)
    swapped_photos = json.loads((s.opened(bag.path) / "data/photos.json").read_text())
    swapped_photos["photos"][0]["file_sha256"] = "0" * 64
    (bag.path / "data/photos.json").write_text(json.dumps(swapped_photos))
    assert ("log", f"data/photos/{s.sha256(s.PHOTO)}.jpg") in s.faults(bag.path)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda lines: lines.append(lines[0]), "lists a photo twice"),
        (lambda lines: lines.append({**lines[0], "sha256": "1" * 64}), "lists a photo that no entry of the log names"),
        (lambda lines: lines[0].update(file=None), "does not say why a photo is left out"),
        (lambda lines: lines[0].update(original=not lines[0]["original"]), "is called the original and is another"),
    ],
)
def test_a_list_of_photos_that_does_not_fit_is_told(first, change, said):
    swapped(first, lambda told: change(told["photos"]), "photos.json")
    assert any(said in fault.what for fault in s.looked(first).faults)


def test_an_entry_that_cannot_be_read_is_told(tmp_path, key):
    leaves = s.log()
    leaves[5] = hashed_anew(replace(leaves[5], text="{}"))
    found = s.looked(s.sealed(tmp_path / "bag", replace(s.evidence(), leaves=leaves), key).path)
    assert any(fault.what == "its text cannot be read" for fault in found.faults)


def test_an_entry_logged_again_under_an_older_number_is_told(tmp_path, key):
    leaves = [*s.log(), s.note(6, 5, 2, "ground with an old disc", 9)]
    found = s.looked(s.sealed(tmp_path / "bag", s.evidence(leaves), key).path).faults
    assert "says anew what event 2 is, which stands before it" in [fault.what for fault in found]


def test_a_person_named_again_is_told(tmp_path, key):
    leaves = [*s.log(), s.leaf(6, 2, {"kind": "person", "number": 1, "name": "Ida"}, "")]
    found = s.looked(s.sealed(tmp_path / "bag", s.evidence(leaves), key).path).faults
    assert "says anew what person 1 is, which stands before it" in [fault.what for fault in found]


def test_a_story_that_tells_another_entry_is_named(tmp_path, key):
    story = json.loads(json.dumps(s.evidence().story))
    story["events"][0]["entry"]["text"] = "ground with an old disc"
    assert faults_of(s.log(), tmp_path / "bag", key, story=story) == [("log", "data/job.json")]


def test_a_story_that_leaves_an_entry_out_is_named(tmp_path, key):
    story = {**s.evidence().story, "events": []}
    assert set(faults_of(s.log(), tmp_path / "bag", key, story=story)) == {("log", "data/job.json")}


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda told: told["job"].update(wall_mm=9), "the job: not as it was logged: wall_mm"),
        (lambda told: told["job"].update(opened_by="Ida"), "the job: not as it was logged: opened_by"),
        (lambda told: told["events"][0].update(person="Ida"), "entry 2: not as it was logged: person"),
        (lambda told: told["events"].append(told["events"][0]), "tells entry 2 twice"),
        (lambda told: told["events"].append({**told["events"][0], "number": 7}), "tells entry 7, which is not in the log"),
        (lambda told: told["events"].append({"number": 7, "entry": None}), "tells more entries as erased than were"),
        (lambda told: inspected(told).update(standing="bright"), "inspection 1: not as it was logged: standing"),
        (lambda told: inspected(told).update(photo_name="b.jpg"), "inspection 1: not as it was logged: photo_name"),
        (lambda told: inspected(told).update(since={"pass_no": 1}), "inspection 1: not as it was logged: since"),
        (lambda told: inspected(told).update(disagreements=[{}]), "inspection 1: not as it was logged: disagreements"),
        (lambda told: inspected(told).update(corrected_by=[2]), "inspection 1: not as it was logged: corrected_by"),
        (lambda told: told.update(spots=[]), "does not tell inspection 1 of the log"),
    ],
)  # fmt: skip
def test_a_story_with_a_fact_that_was_not_logged_says_which(tmp_path, key, change, said):
    story = json.loads(json.dumps(s.evidence().story))
    change(story)
    bag = s.sealed(tmp_path / "bag", replace(s.evidence(), story=story), key).path
    assert said in [fault.what for fault in s.looked(bag).faults]


FACTS = (
    "at", "person", "note", "outline", "corrects", "standing", "tool_standing", "bright_share", "interval", "reason", "taken",
    "photo_name", "photo_sha256", "photos", "origin", "refused", "drawn", "since", "corrected_by", "disagreements",
)  # fmt: skip


@pytest.mark.parametrize("fact", FACTS)
def test_each_fact_of_an_inspection_is_held_against_the_log(tmp_path, key, fact):
    story = json.loads(json.dumps(s.evidence().story))
    inspected(story)[fact] = [{"another": "thing"}]
    bag = s.sealed(tmp_path / "bag", replace(s.evidence(), story=story), key).path
    assert [fault.what for fault in s.looked(bag).faults] == [f"inspection 1: not as it was logged: {fact}"]


def test_flags_spot_and_pass_of_an_inspection_are_held_against_the_log(tmp_path, key):
    story = json.loads(json.dumps(s.evidence().story))
    story["spots"][0].update(number=9, name="elsewhere")
    story["spots"][0]["passes"][0]["pass_no"] = 9
    inspected(story)["flags"] = [{"code": "blurred", "blocking": True}]
    (fault,) = s.looked(s.sealed(tmp_path / "bag", replace(s.evidence(), story=story), key).path).faults
    assert set(fault.what.rpartition(": ")[2].split(", ")) == {"spot", "spot_name", "pass", "flags"}


def inspected(story: dict[str, object]) -> dict[str, object]:
    return story["spots"][0]["passes"][0]["inspections"][0]


# from seal to seal


def test_a_second_seal_goes_on_from_the_first(first, key):
    bag = second(s.with_seal(s.log(), kept_seal(first), 60), first, key)
    assert s.faults(bag, after=first) == []


def rewritten() -> list[Leaf]:
    """Return the log with another note in its past, hashed anew, and one entry more."""
    leaves = s.log()
    leaves[4] = hashed_anew(with_text(leaves[4], entry={"kind": "note", "text": "ground with an old disc"}))
    return [*leaves, s.note(6, 5, 4, "handed over", 70)]


def test_a_rewritten_past_does_not_go_on_from_the_earlier_seal(first, key):
    assert ("log", "the seal of 2026-11-24 11:00") in s.faults(second(rewritten(), first, key))


def test_a_rewritten_past_that_forgets_the_earlier_seal_shows_against_the_kept_bag(first, key):
    bag = second(rewritten(), first, key, knows_first=False)
    assert s.faults(bag) == []  # nothing inside the bag can tell
    found = s.faults(bag, after=first)
    assert ("log", "the seal of 2026-11-24 11:00") in found
    assert ("log", "entry 3 of J-0001") in found


def test_an_entry_that_the_older_bag_left_out_at_its_end_shows_against_it(tmp_path, key):
    leaves = [*s.log()[:-1], replace(s.log()[-1], job="J-0002")]
    older = s.sealed(tmp_path / "older", s.evidence(leaves), key).path
    bag = second(s.log(), older, key)
    assert s.faults(older) == s.faults(bag) == []  # one bag alone cannot tell
    assert s.faults(bag, after=older) == [("log", "entry 4 of J-0001")]


def test_a_cut_tail_shows_against_the_kept_bag(first, key):
    bag = second(s.log()[:-1], first, key, knows_first=False)
    assert s.faults(bag) == []
    assert ("log", "the seal of 2026-11-24 11:00") in s.faults(bag, after=first)


def test_a_cut_tail_that_still_knows_the_earlier_seal_shows_in_the_bag_itself(first, key):
    assert ("log", "the seal of 2026-11-24 11:00") in s.faults(second(s.log()[:-1], first, key))


def test_a_seal_told_in_the_log_and_missing_in_the_list_is_named(first, key):
    leaves = s.with_seal(s.log(), kept_seal(first), 60)
    assert s.faults(second(leaves, first, key, knows_first=False)) == [("log", "entry 5 of J-0001")]


def test_an_entry_back_dated_to_before_the_older_bag_shows(first, key):
    leaves = [*s.log(), s.note(6, 5, 4, "found later", 9)]
    assert s.faults(second(leaves, first, key), after=first) == [("time", "entry 5 of J-0001")]


def test_an_entry_back_dated_shows_against_the_kept_bag_that_the_new_one_hides(first, key):
    leaves = [*s.log(), s.note(6, 5, 4, "found later", 9)]
    assert ("time", "entry 5 of J-0001") in s.faults(second(leaves, first, key, knows_first=False), after=first)


def test_the_older_bag_after_the_newer_one_is_a_fault(first, key):
    bag = second([*s.log(), s.note(6, 5, 4, "handed over", 70)], first, key)
    assert s.faults(first, after=bag) != []


def test_a_seal_with_the_clock_put_back_is_a_fault_against_the_older_bag(first, key):
    bag = second([*s.log(), s.note(6, 5, 4, "handed over", 70)], first, key, at=30)
    assert ("time", "head.json") in s.faults(bag, after=first)


def test_faults_of_the_older_bag_are_told_too(first, key):
    bag = second([*s.log(), s.note(6, 5, 4, "handed over", 70)], first, key)
    (s.opened(first) / "data/models.json").write_text("{}")
    assert ("changed", "first: data/models.json") in s.faults(bag, after=first)


def test_a_list_of_seals_that_was_shortened_shows(first, key):
    bag = second([*s.log(), s.note(6, 5, 4, "handed over", 70)], first, key)
    swapped(bag, lambda told: told["earlier"].clear())
    assert ("log", "head.json") in s.faults(bag)


def test_a_list_of_seals_in_another_order_shows(tmp_path, key, first):
    leaves = [*s.log(), s.note(6, 5, 4, "handed over", 70)]
    later = kept_seal(first).model_copy(update={"size": 7, "root": root_of(leaves)})
    bag = s.sealed(tmp_path / "bag", s.evidence(leaves, earlier=[s.logged(later), s.logged(kept_seal(first))]), key)
    assert ("log", "log.json") in s.faults(bag.path)


def root_of(leaves: list[Leaf]) -> str:
    return root([bytes.fromhex(leaf.hash) for leaf in leaves]).hex()


def test_a_kept_bag_that_is_told_with_another_head_shows(tmp_path, key, first):
    other = kept_seal(first).model_copy(update={"size": 3, "root": root_of(s.log()[:3])})
    bag = s.sealed(tmp_path / "bag", s.evidence(earlier=[s.logged(other)]), key).path
    assert ("log", "the seal of 2026-11-24 11:00") in s.faults(bag, after=first)


# keys over time


def test_a_bag_after_a_rotation_is_of_the_key_that_was_handed_over(first, tmp_path):
    old = s.shop(tmp_path)
    new = keys.rotate(tmp_path, s.AT)
    bag = second([*s.log(), s.note(6, 5, 4, "handed over", 70)], first, new)
    found = s.looked(bag, after=first, key=old.fingerprint)
    assert found.faults == ()
    assert any("handed over from the one expected" in line for line in found.told)


def test_a_bag_of_a_key_that_was_never_handed_over_shows_against_the_older_bag(first, tmp_path):
    stranger = s.shop(tmp_path / "elsewhere")
    bag = second([*s.log(), s.note(6, 5, 4, "handed over", 70)], first, stranger)
    assert ("key", "head.json") in s.faults(bag, after=first)


def test_a_forged_handover_is_a_fault(tmp_path):
    old, stranger = s.shop(tmp_path), s.shop(tmp_path / "elsewhere")
    forged = replace(
        stranger,
        public_keys=(
            old.public_keys[0],
            stranger.public_keys[0].model_copy(update={"signed_by_earlier": "0" * 128}),
        ),
    )
    bag = s.sealed(tmp_path / "bag", key=forged).path
    assert s.faults(bag, key=old.fingerprint) == [("key", "data/keys.json"), ("key", "head.json")]


# lawful erasure


def without(leaves: list[Leaf], at: int, reason: str = "asked for by the person") -> list[Leaf]:
    """Return the log after the text of a leaf was erased, and that was logged."""
    gone = replace(leaves[at], text=None, salt="", erased=reason)
    return s.erasure([*leaves[:at], gone, *leaves[at + 1 :]], gone.hash, reason)


def test_an_erased_entry_is_told_with_hash_and_reason_and_is_no_fault(tmp_path, key):
    leaves = without(s.log(), 4)
    found = s.looked(s.sealed(tmp_path / "bag", s.evidence(leaves), key).path)
    assert found.faults == ()
    hash = leaves[4].hash
    assert f"entry 3 of J-0001 was erased: asked for by the person. Its hash {hash} stays in the tree" in found.told


def test_an_erased_entry_goes_on_from_the_bag_that_still_has_it(first, key):
    assert s.faults(second(without(s.log(), 4), first, key), after=first) == []


def test_a_text_that_is_gone_without_a_reason_is_a_fault(tmp_path, key):
    assert ("log", "entry 3 of J-0001") in faults_of(without(s.log(), 4, ""), tmp_path / "bag", key)


def test_a_text_that_is_gone_without_an_entry_that_says_so_is_a_fault(tmp_path, key):
    assert faults_of(without(s.log(), 4)[:-1], tmp_path / "bag", key) == [("log", "entry 3 of J-0001")]


def test_what_an_erased_job_says_of_itself_is_told_to_be_the_shops_word(tmp_path, key):
    found = s.looked(s.sealed(tmp_path / "bag", s.evidence(without(s.log(), 1)), key).path)
    assert found.faults == ()
    assert NO_JOB in found.told


def test_an_erased_name_is_told(tmp_path, key):
    leaves = without(s.log(), 0)[:-1]  # that it was erased is an entry of no job
    told = s.story(
        [json.loads(one.text or "") for one in leaves if one.job == s.JOB], {1: s.RECORD.decode()}, "erased person 1"
    )
    found = s.looked(s.sealed(tmp_path / "bag", s.evidence(leaves, story=told), key).path)
    assert found.faults == ()
    assert "the name of person 1 is not in the bag: it was erased" in found.told


def without_photo(leaves: list[Leaf]) -> dict[str, object]:
    return {"leaves": leaves, "photos": [replace(s.evidence().photos[0], erased="a face")]}


def test_an_erased_photo_is_told_with_hash_and_reason(tmp_path, key):
    leaves = s.erasure(s.log(), s.sha256(s.PHOTO), "a face")
    found = s.looked(s.sealed(tmp_path / "bag", s.evidence(**without_photo(leaves)), key).path)
    assert found.faults == ()
    assert f"photo a.jpg is not in the bag, only its hash {s.sha256(s.PHOTO)}: erased: a face" in found.told


def test_a_photo_called_erased_that_no_entry_says_was_is_a_fault(tmp_path, key):
    assert faults_of(s.log(), tmp_path / "bag", key, photos=without_photo([])["photos"]) == [
        ("log", "data/photos.json")
    ]
