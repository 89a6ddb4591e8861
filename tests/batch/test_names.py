"""Patterns of file names."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from prepcheck.batch.names import Names
from prepcheck.errors import WrongUse


@pytest.mark.parametrize(
    ("pattern", "name", "says"),
    [
        ("{job}_{spot}_{pass_no}", "J-0001_neck_2.jpg", {"job": "J-0001", "spot": "neck", "pass_no": "2"}),
        ("{job} {spot}-{pass_no}", "camera/12 3-04.HEIC", {"job": "12", "spot": "3", "pass_no": "04"}),
        ("{person}/{job}/{spot}_{}", "Ola/J-1/2_IMG77.png", {"person": "Ola", "job": "J-1", "spot": "2"}),
        ("IMG_{}_{spot}", "IMG_.77_9.jpg", {"spot": "9"}),
        ("{spot}", "over the seam.jpg", {"spot": "over the seam"}),
    ],
)
def test_a_name_that_fits_says_what_its_fields_hold(pattern, name, says):
    assert Names(pattern).of(name) == says


@pytest.mark.parametrize("name", ["J-1_neck.jpg", "x_neck_2.jpg", "J-1_neck_200.jpg", "J-1__2.jpg"])
def test_a_name_that_does_not_fit_says_nothing(name):
    assert Names("{job}_{spot}_{pass_no}").of(name) == {}


@pytest.mark.parametrize(
    ("pattern", "why"),
    [
        ("photo", "names no field"),
        ("{}", "names no field"),
        ("{spot}_{where}", "a strange one"),
        ("{spot}_{spot}", "one twice"),
        ("{job}{spot}", "nothing between"),
        ("{spot!r}", "strange"),
        ("{spot:>3}", "strange"),
        ("{spot", "is no pattern"),
    ],
)
def test_a_pattern_that_means_nothing_is_refused(pattern, why):
    with pytest.raises(WrongUse, match=why):
        Names(pattern)


LETTERS = st.text("abcXYZ 0123456789.", min_size=1, max_size=20).map(str.strip).filter(bool)


@given(job=st.integers(1, 9999), spot=LETTERS.filter(lambda text: "_" not in text), pass_no=st.integers(1, 99))
def test_what_a_pattern_writes_it_reads(job, spot, pass_no):
    name = f"J-{job:04d}_{spot}_{pass_no}.jpg"
    says = {"job": f"J-{job:04d}", "spot": spot, "pass_no": str(pass_no)}
    assert Names("{job}_{spot}_{pass_no}").of(name) == says
