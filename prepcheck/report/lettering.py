"""Text in pictures: the font that ships with prepcheck, wrapping, and characters that it lacks."""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from PIL import ImageDraw, ImageFont

from prepcheck.errors import printable

FONT_FILE = Path(__file__).parent / "fonts" / "DejaVuSans.ttf"
BOLD_FILE = FONT_FILE.with_name("DejaVuSans-Bold.ttf")
"""For documents; pictures thicken the plain face instead."""
_LONGEST = 600
_NO_CHARACTER = "\uffff"

Colour = tuple[int, int, int]


@dataclass(frozen=True)
class Type:
    """A size of lettering in pixels, plain or bold (bold is the plain face with a thicker stroke)."""

    size: float
    bold: bool = False

    @property
    def line(self) -> float:
        """Distance from line to line."""
        return 1.28 * self.size

    @property
    def stroke(self) -> float:
        """Extra width of the stroke on either side."""
        return 0.035 * self.size if self.bold else 0.0

    def width(self, text: str) -> float:
        """Return the length of one line of `text`, in pixels."""
        return font(self.size).getlength(text) + 2 * self.stroke

    def shrunk(self, text: str, width: float) -> Type:
        """Return this type, made smaller where `text` would be wider than `width`."""
        return Type(self.size * min(1.0, width / max(self.width(text), 1.0)), self.bold)


@lru_cache(maxsize=64)
def font(size: float) -> ImageFont.FreeTypeFont:
    """Return the font at a size in pixels."""
    return ImageFont.truetype(str(FONT_FILE), size, layout_engine=ImageFont.Layout.BASIC)


def shown(text: str) -> str:
    """Return `text` on one line as the font can show it: escapes for control characters, ``?`` for the rest."""
    one_line = printable(unicodedata.normalize("NFC", text[:_LONGEST]))
    return "".join(c if _has(c) else "?" for c in one_line)


def covered(text: str) -> str:
    """Return `text` of any length with what the font lacks as ``?``; line breaks and other blanks become spaces."""
    composed = unicodedata.normalize("NFC", " ".join(text.split()))
    return "".join(c if _has(c) else "?" for c in printable(composed))


def wrapped(text: str, kind: Type, width: float, most: int = 99) -> list[str]:
    """Break `text` into at most `most` lines no wider than `width` pixels; the last one ends in ``...`` when cut."""
    lines: list[str] = [""]
    for word in shown(text).split(" "):
        for piece in _pieces(word, kind, width):
            joined = f"{lines[-1]} {piece}".strip()
            if kind.width(joined) <= width:
                lines[-1] = joined
            else:
                lines.append(piece)
    if len(lines) <= most:
        return lines
    return [*lines[: most - 1], _cut(lines[most - 1], kind, width)]


def write(
    draw: ImageDraw.ImageDraw, at: tuple[float, float], text: str, kind: Type, ink: Colour, anchor: str = "la"
) -> None:
    """Write one line at (x, y); `anchor` as in Pillow, ``la`` puts the top left there."""
    draw.text(at, text, font=font(kind.size), fill=ink, anchor=anchor, stroke_width=kind.stroke, stroke_fill=ink)


def _pieces(word: str, kind: Type, width: float) -> list[str]:
    """Cut a word that is wider than a line."""
    if kind.width(word) <= width:
        return [word]
    step = max(1, int(len(word) * width / kind.width(word) * 0.85))
    return [word[i : i + step] for i in range(0, len(word), step)]


def _cut(line: str, kind: Type, width: float) -> str:
    while line and kind.width(f"{line}...") > width:
        line = line[:-1]
    return f"{line}..."


@lru_cache(maxsize=4096)
def _has(character: str) -> bool:
    return character.isspace() or bytes(font(24).getmask(character)) != _missing()


@lru_cache(maxsize=1)
def _missing() -> bytes:
    return bytes(font(24).getmask(_NO_CHARACTER))
