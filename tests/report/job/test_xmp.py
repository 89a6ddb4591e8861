"""The metadata of a PDF/A are well-formed, whatever the title, and say when it was written."""

from datetime import datetime, timedelta, timezone
from xml.etree import ElementTree

import pytest

from prepcheck.report.job.xmp import xmp
from tests.report.job import made

RDF = "{http://www.w3.org/1999/02/22-rdf-syntax-ns#}"
PDFA = "{http://www.aiim.org/pdfa/ns/id/}"
XMP = "{http://ns.adobe.com/xap/1.0/}"
AT = datetime(2026, 11, 24, 15, 30, tzinfo=timezone(timedelta(hours=1)))


def description(**changes):
    packet = xmp(**{"title": "Job report", "program": "prepcheck 0", "at": AT, **changes})
    return ElementTree.fromstring(packet).find(f".//{RDF}Description")


def test_part_and_conformance_are_said():
    found = description()
    assert found.find(f"{PDFA}part").text == "2"
    assert found.find(f"{PDFA}conformance").text == "U"


def test_all_three_times_are_that_of_writing_in_utc():
    found = description()
    times = {found.get(f"{XMP}{name}Date") for name in ("Create", "Modify", "Metadata")}
    assert times == {"2026-11-24T14:30:00+00:00"}


@pytest.mark.parametrize("title", ["plain", made.HOSTILE, "a & b < c > \"d\" 'e'", "</rdf:RDF>"])
def test_any_title_comes_back(title):
    assert description(title=title).find(f".//{RDF}li").text == title


def test_any_program_comes_back():
    assert description(program='x "1" & <2>').get(f"{XMP}CreatorTool") == 'x "1" & <2>'
