"""Quantities in prepcheck's own sentences change system; nothing else in them changes."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from prepcheck.report.job.units import patch_in, pretty, said_in, signed, with_signs
from prepcheck.trade.units import INCH_MM, System
from tests.report.made import patch_at


@pytest.mark.parametrize(
    ("metric", "us"),
    [  # factors exact by definition: 25.4 mm, 0.3048 m, 6894.757 Pa; NIST SP 811, appendix B, from memory
        ("a patch of 25.4 mm", "a patch of 1.00 in"),
        ("25.4 to 50.8 mm from the weld", "1.00 to 2.00 in from the weld"),
        ("76.2 x 76.2 mm tile", "3.00 x 3.00 in tile"),
        ("645.16 mm² and 6.4516 cm²", "1.00 in² and 1.00 in²"),
        ("1,270 mm long", "50.0 in long"),
        ("13.789514 kPa gauge", "2.00 psi gauge"),
        ("20 °C and 0 °C", "68.0 °F and 32.0 °F"),
        ("3.048 m above", "10.0 ft above"),
        ("25.4 mm each side", "1.00 in each side"),
        ("at 20 C", "at 68.0 °F"),
        ("1.3559 kJ and 1.3559 J", "1000 ft-lb and 1.00 ft-lb"),  # foot-pound, 1.3558 J
        ("16.019 kg/m3", "1.00 lb/ft³"),
        ("0.101325 Pa m3/s", "1.00 std cm³/s"),  # at 101 325 Pa
        ("A change of 1 K moves it", "A change of 1.80 °F moves it"),
    ],
)
def test_a_metric_sentence_in_us_units(metric, us):
    assert said_in(metric, System.US) == us
    assert said_in(metric, System.METRIC) == metric


@pytest.mark.parametrize(
    "sentence",
    [
        "29 CFR 1915.12-14 and 33 CFR 183.542",
        "at least 21% residue, the limit is 5%",
        "3 places, seen in up to 2 passes",
        "score 71 (62 to 79)",
        "since pass 2: newly bright 31% of the spot",
        "2 in the same place, 4 in a row, 5 in all",
        "ISO 17637:2003",
        "156 A, 8 h, 20.8 % by volume, 3 % LEL, 12 ppm",
    ],
)
def test_what_is_no_quantity_stays(sentence):
    assert said_in(sentence, System.US) == sentence
    assert said_in(sentence, System.METRIC) == sentence


def test_a_us_sentence_in_metric_units():
    told = "33190 ft-lb lift 176 lb; at 68 F; 1.00e-05 std cm3/s of 53.1 lb/ft3; a change of 1.8 F"
    assert said_in(told, System.METRIC) == (
        "45.0 kJ lift 79.8 kg; at 20.0 °C; 1.01e-06 Pa m³/s of 851 kg/m³; a change of 1.00 K"
    )


def test_signs_are_set_in_a_sentence_of_any_system():
    assert with_signs("not over 66 C, 900 mm2 of 29 CFR 1910, CO2") == "not over 66 °C, 900 mm² of 29 CFR 1910, CO2"


@given(st.decimals(min_value="0.01", max_value="900", places=2))
def test_lengths_go_there_and_back(number):
    there = said_in(f"{number} mm", System.US)
    back = float(said_in(there, System.METRIC).removesuffix(" mm"))
    assert back == pytest.approx(float(number), rel=0.011)
    assert float(there.removesuffix(" in")) == pytest.approx(float(number) / INCH_MM, rel=0.0051)


def test_a_patch_is_turned_from_its_length_not_from_its_words():
    assert patch_in(patch_at(0, 0, mm=11.2), System.METRIC) == "oxide 11 mm"
    assert patch_in(patch_at(0, 0, mm=11.2), System.US) == "oxide 0.441 in"
    assert patch_in(patch_at(0, 0, mm=None), System.US) == "oxide, no scale"
    assert patch_in(None, System.US) == "-"


def test_units_are_written_with_their_signs():
    assert [signed(one) for one in ("60 C", "900 mm2", "farm-tank", "4 EUR/kg", "up to 60 C")] == [
        "60 °C", "900 mm²", "farm-tank", "4 EUR/kg", "up to 60 C",
    ]  # fmt: skip
    assert [pretty(one) for one in ("2 mm2", "3 ft3", "20 C", "4 L/min")] == ["2 mm²", "3 ft³", "20 °C", "4 L/min"]
