from __future__ import annotations

import pytest

from tests.web.pages.reading import read


@pytest.fixture(autouse=True)
def painted_report(monkeypatch):
    from tests import painted

    monkeypatch.setattr("prepcheck.web.pages.report.load_model", lambda: painted.model())


def test_the_report_is_offered_in_both_units_and_papers(phone, inspected):
    links = [one["href"] for one in read(phone.get("/jobs/J-0001/report")).all("a")]
    assert {f"/jobs/J-0001/report.html?units={units}" for units in ("metric", "us")} <= set(links)
    assert "/jobs/J-0001/report.pdf?units=us&paper=letter" in links


def test_the_page_needs_nothing_else_and_can_run_nothing(phone, inspected):
    answer = phone.get("/jobs/J-0001/report.html")
    policy = answer.headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "script-src" not in policy
    assert "sandbox" in policy
    assert not read(answer).all("script")


def test_the_pdf_is_one(phone, inspected):
    answer = phone.get("/jobs/J-0001/report.pdf?paper=letter")
    assert answer.headers["content-type"] == "application/pdf"
    assert answer.content.startswith(b"%PDF-")
    assert 'filename="J-0001-report.pdf"' in answer.headers["content-disposition"]


@pytest.mark.parametrize("query", ["units=cubits", "paper=wall"])
def test_units_and_papers_that_are_none_are_refused(phone, query):
    assert phone.get(f"/jobs/J-0001/report.pdf?{query}").status_code == 422
