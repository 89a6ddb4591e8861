from __future__ import annotations

import pytest

from prepcheck.settings import Settings
from prepcheck.trade import filler, refill
from prepcheck.trade import wall as walls
from prepcheck.trade import weld as welds
from prepcheck.trade.clearing import Method, Vessel, Wish, clearing_plan
from prepcheck.trade.leak_plan import leak_plan
from prepcheck.trade.leak_work import Wish as LeakWish
from prepcheck.trade.leak_work import work_out
from prepcheck.trade.plans import Asked
from prepcheck.trade.units import System
from prepcheck.trade.wall_plan import wall_plan
from prepcheck.trade.weld_plan import weld_plan
from prepcheck.web.pages.plan_forms import PLANS
from tests.web.pages.reading import read
from tests.web.shop import NOON

S = Settings()
CLEARING = {"volume": "600 L", "contents": "diesel", "method": "co2", "vessel": "farm-tank"}


def plan(what, **said):
    return PLANS[what].make(Asked(said, S, NOON))


def test_the_clearing_plan_is_that_of_the_command_line():
    wish = Wish(volume_m3=0.6, contents="diesel", method=Method.CO2, vessel=Vessel.FARM_TANK, flow_l_min=20.0)
    assert plan("clearing", **CLEARING, flow="20 L/min") == clearing_plan(wish, S.clearing, System.METRIC)


def test_the_wall_plan_is_that_of_the_command_line():
    left = walls.measured(S.wall, nominal_mm=5.0, depth_mm=None, gauge_mm=[3.9, 4.1], before_mm=[], error_mm=None)
    work = refill.work_out(
        left, walls.minimum(None, None, S.wall), S.wall, area_mm2=900.0, shape=refill.Shape.PRISM, rod_mm=None
    )
    given = (("nominal", "5 mm"), ("gauge", "3.9 mm, 4.1 mm"), ("area", "900 mm2"))
    said = {"nominal": "5 mm", "gauge": "3.9 mm\n\n4.1 mm", "area": "900 mm2"}
    assert plan("wall", **said) == wall_plan(work, given, System.METRIC)


def test_the_weld_plan_is_that_of_the_command_line():
    start = welds.start(5.0, S.weld, current_a=None, voltage_v=None, speed_mm_s=None)
    choice = filler.choose(filler.base_alloy("5083"), service_k=None, anodised=False)
    made = weld_plan(start, choice, S.weld, (("thickness", "5 mm"), ("alloy", "5083")), System.METRIC)
    assert plan("weld", thickness="5 mm", alloy="5083") == made


def test_the_leak_plan_is_that_of_the_command_line():
    made = leak_plan(
        work_out(LeakWish(medium="air", head_m=1.1, volume_m3=0.5), S.leak),
        S.leak,
        (("head", "1.1 m"), ("volume", "500 L"), ("medium", "air")),
        System.METRIC,
    )
    assert plan("leak", medium="air", head="1.1 m", volume="500 L") == made


def test_units_are_those_asked_for(phone):
    said = {"head": "1.1 m"}
    assert " psi" in read(phone.post("/plans/leak", data={**said, "units": "us"})).words
    assert " psi" not in " ".join(line.value for line in plan("leak", **said).lines[:1])


@pytest.mark.parametrize("what", PLANS)
def test_every_plan_has_a_form_and_a_place_in_the_list(phone, what):
    assert f"/plans/{what}" in [one["href"] for one in read(phone.get("/plans")).all("a")]
    page = read(phone.get(f"/plans/{what}"))
    assert all(page.field(one.name) for one in (*PLANS[what].fields, *PLANS[what].rarely))


def test_a_plan_stands_with_values_sources_and_remarks(phone):
    words = read(phone.post("/plans/clearing", data=CLEARING)).words
    assert "Worked out" in words
    for line in plan("clearing", **CLEARING).lines:
        assert " ".join(line.value.split()) in words
        assert " ".join(line.source.split()) in words


def test_a_plan_is_logged_word_for_word_only_when_a_job_is_named(phone, store):
    read(phone.post("/plans/clearing", data=CLEARING))
    assert store.story("J-0001").events == ()
    assert "Logged in job J-0001." in read(phone.post("/plans/clearing", data={**CLEARING, "job": "J-0001"})).words
    (event,) = store.story("J-0001").events
    assert (event.entry.what, event.person) == ("clearing", "Rune")


@pytest.mark.parametrize(
    ("what", "said", "told"),
    [
        ("clearing", {**CLEARING, "volume": "600"}, "the volume has no unit"),
        ("clearing", {**CLEARING, "volume": "-600 L"}, "the volume"),
        ("clearing", {**CLEARING, "method": "smoke"}, "the method is none that can be chosen"),
        ("clearing", {"volume": "600 L", "contents": "diesel"}, "the method is missing"),
        ("clearing", {**CLEARING, "units": "cubits"}, "the units"),
        ("clearing", {**CLEARING, "job": "J-0099"}, "no such job"),
        ("wall", {}, ""),
        ("weld", {"thickness": "5 mm", "alloy": "<img src=x>"}, ""),
        ("weld", {"thickness": "5 mm"}, "the alloy is missing"),
        ("leak", {"end_air_pressure": "1 bar"}, "read only at the end"),
    ],
)
def test_what_cannot_be_used_is_said_beside_what_was_typed(phone, store, what, said, told):
    answer = phone.post(f"/plans/{what}", data=said)
    assert answer.status_code in (400, 404)
    assert told in read(answer, answer.status_code).words
    assert store.story("J-0001").events == ()


def test_a_plan_that_is_none_is_told(phone):
    assert phone.get("/plans/luck").status_code == 404


def test_looks_for_leaks_in_the_log_count_in_the_plan(phone, store):
    phone.post("/jobs/J-0001/readings", data={"what": "leak", "method": "bubbles", "leaks": "filler neck"})
    words = read(phone.post("/plans/leak", data={"head": "1.1 m", "job": "J-0001"})).words
    assert "filler neck" in words
