"""What is written down comes back as it was: records as JSON, positions between map and photo."""

from __future__ import annotations

import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from prepcheck.errors import printable
from prepcheck.record import LINE, FlagRecord, PersonRecord, Point, Record, SpotRecord, broken_record
from prepcheck.surface import SurfaceMap
from prepcheck.terms import FLAGS, Standing
from tests.report import made
from tests.scenes import EXACT

SHARES = st.floats(0, 1)
POINTS: st.SearchStrategy[Point] = st.tuples(st.floats(-1e6, 1e6), st.floats(-1e6, 1e6))
NAMES = st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=30)


@st.composite
def spots(draw: st.DrawFn) -> SpotRecord:
    low, value, high = sorted(draw(st.tuples(SHARES, SHARES, SHARES)))
    read = draw(st.booleans())
    return made.spot_of(
        draw(st.integers(1, 254)),
        draw(st.lists(POINTS, max_size=6)),
        draw(st.sampled_from(Standing)),
        bright_share=value if read else None,
        interval=(low, high) if read else None,
        area_mm2=draw(st.none() | st.floats(0, 1e9)),
        shares=draw(st.dictionaries(st.sampled_from(["bright", "oxide", "cannot_tell"]), SHARES)),
        outlined_by=draw(st.sampled_from(["tool", "person"])),
        largest_patch=draw(st.none() | st.builds(made.patch_at, st.floats(0, 1e5), st.floats(0, 1e5))),
        reason=draw(NAMES),
    )


@st.composite
def records(draw: st.DrawFn) -> Record:
    person = st.builds(
        PersonRecord,
        refused=st.dictionaries(st.integers(1, 254), NAMES, max_size=3),
        spots=st.lists(spots(), max_size=2),
        standing=st.sampled_from(Standing),
        bright_share=st.none() | SHARES,
        interval=st.none(),
    )
    plain = made.record_of(
        draw(st.lists(spots(), max_size=3)),
        draw(st.sampled_from(Standing)),
        name=draw(NAMES),
        mm_per_px=draw(st.none() | st.floats(1e-4, 100)),
        share=draw(st.none() | SHARES),
        by_person=draw(st.none() | person),
    )
    flags = st.builds(FlagRecord, code=st.sampled_from(sorted(FLAGS)), blocking=st.booleans(), measured=NAMES)
    return plain.model_copy(update={"flags": draw(st.lists(flags, max_size=3))})


@given(records())
def test_a_record_comes_back_from_its_line(record: Record) -> None:
    assert LINE.validate_json(json.dumps(record.model_dump(mode="json"))) == record
    assert LINE.validate_json(record.model_dump_json()) == record


@given(st.text(max_size=40), st.sampled_from(["damaged_photo", "unreadable"]))
def test_the_line_of_a_broken_photo_comes_back_whatever_its_name(name: str, code: str) -> None:
    line = broken_record(printable(name), code, printable(f"{name}: is cut. Copy it again."))
    assert LINE.validate_json(line.model_dump_json()) == line


@given(st.text(max_size=60))
def test_printable_text_is_printable_and_stays_as_it_is(text: str) -> None:
    shown = printable(text)
    assert shown.isprintable()
    assert printable(shown) == shown


@given(
    st.lists(st.tuples(st.floats(-1e4, 1e4), st.floats(-1e4, 1e4)), min_size=1, max_size=20),
    st.tuples(st.floats(1, 40), st.floats(1, 40)),
)
def test_positions_go_to_the_photo_and_back(points: list[tuple[float, float]], reduction: tuple[float, float]) -> None:
    nothing = np.zeros((2, 2), np.uint8)
    surface = SurfaceMap(nothing, nothing, nothing, nothing, reduction, EXACT)  # type: ignore[arg-type]
    there = np.array(points, np.float64)
    assert surface.from_full(surface.to_full(there)) == pytest.approx(there, abs=1e-6)
    assert surface.to_full(surface.from_full(there)) == pytest.approx(there, abs=1e-6)
