"""The shop's own fit is named wherever an answer read with it is told."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from prepcheck.inspection import inspect
from prepcheck.record import record_of
from prepcheck.report.job.ending import origin as origin_of
from prepcheck.report.panels import foot
from prepcheck.report.words import fit_words
from prepcheck.settings import Settings
from prepcheck.surface import ShopFit
from tests import painted
from tests.report.job.made import told

MODEL = painted.model()
FIT = ShopFit(0.9, 0.1, "f" * 64, "2026-11-28")
PHOTO = painted.photo(painted.plate())
PLAIN, FITTED = (
    record_of(inspect(PHOTO, model, Settings()))
    for model in (MODEL, replace(MODEL, origin=MODEL.origin.fitted(FIT)))
)  # fmt: skip


def test_an_answer_says_with_which_fit_it_was_read():
    assert fit_words(FITTED.origin) == "read with this shop's own fit of 2026-11-28"


def test_without_a_fit_nothing_is_said():
    assert fit_words(PLAIN.origin) == ""


def test_the_picture_names_the_fit_at_its_foot():
    plain, fitted = (foot(record, 1200, 1.0) for record in (PLAIN, FITTED))
    assert plain.shape != fitted.shape or not np.array_equal(plain, fitted)


def test_the_report_names_fit_and_file():
    whole = told()
    records = {number: one.model_copy(update={"origin": FITTED.origin}) for number, one in whole.records.items()}
    words = str(origin_of(replace(whole, records=records)))
    assert "read with this shop's own fit of 2026-11-28" in words
    assert "f" * 64 in words
    assert "own fit" not in str(origin_of(whole))
