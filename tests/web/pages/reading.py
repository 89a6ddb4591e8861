"""Reads a page as a person does: its words without tags, its marked-up tags, its forms."""

from __future__ import annotations

from html.parser import HTMLParser


class Read(HTMLParser):
    """What a page holds: `words` on one line, `tags` with their attributes in order, and what stands in `h1`."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self._texts: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data):
        self._texts.append(data)

    @property
    def words(self) -> str:
        return " ".join(" ".join(self._texts).split())

    def all(self, tag: str) -> list[dict[str, str | None]]:
        return [attrs for name, attrs in self.tags if name == tag]

    def field(self, name: str) -> dict[str, str | None]:
        """Return the one field of this name."""
        found = [
            attrs for tag, attrs in self.tags if tag in ("input", "select", "textarea") and attrs.get("name") == name
        ]
        assert len(found) == 1, f"{len(found)} fields {name}"
        return found[0]


def read(answer, status: int = 200) -> Read:
    """Read an answer of the page that has this status."""
    assert answer.status_code == status, answer.text[:2000]
    assert answer.headers["content-type"].startswith("text/html")
    return Read(answer.text)
