"""The XMP packet of a PDF/A, with the time of writing in it, so that the same report gives the same bytes."""

from __future__ import annotations

from datetime import UTC, datetime
from xml.sax.saxutils import escape, quoteattr

_SPACES = {
    "rdf": "http://www.w3.org/1999/02/22-rdf-syntax-ns#",
    "dc": "http://purl.org/dc/elements/1.1/",
    "xmp": "http://ns.adobe.com/xap/1.0/",
    "pdf": "http://ns.adobe.com/pdf/1.3/",
    "pdfaid": "http://www.aiim.org/pdfa/ns/id/",
}


def xmp(*, title: str, program: str, at: datetime, part: int = 2, conformance: str = "U") -> str:
    """Return the metadata of a document that says it is PDF/A-`part` (ISO 19005-2, from memory), without its wrapper."""
    when = at.astimezone(UTC).isoformat(timespec="seconds")
    spaces = " ".join(f"xmlns:{name}={quoteattr(uri)}" for name, uri in _SPACES.items())
    dates = " ".join(f'xmp:{name}Date="{when}"' for name in ("Create", "Modify", "Metadata"))
    by = f"xmp:CreatorTool={quoteattr(program)} pdf:Producer={quoteattr(program)}"
    title_line = f'<dc:title><rdf:Alt><rdf:li xml:lang="x-default">{escape(title)}</rdf:li></rdf:Alt></dc:title>'
    return (
        f'<x:xmpmeta xmlns:x="adobe:ns:meta/">\n<rdf:RDF {spaces}>\n<rdf:Description rdf:about="" {dates} {by}>\n'
        f"<pdfaid:part>{part}</pdfaid:part>\n<pdfaid:conformance>{conformance}</pdfaid:conformance>\n"
        f"{title_line}\n</rdf:Description>\n</rdf:RDF>\n</x:xmpmeta>"
    )
