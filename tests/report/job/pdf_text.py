"""Reads the text of a PDF as written by fpdf2: enough for these tests, without another library."""

from __future__ import annotations

import re
import zlib

_OBJECT = re.compile(rb"(\d+) 0 obj\n(.*?)\nendobj", re.S)
_STREAM = re.compile(rb"stream\r?\n(.*)\r?\nendstream", re.S)
_SHOWN = re.compile(rb"/(F\d+) [\d.]+ Tf|\((?P<text>(?:\\.|[^\\()])*)\)|(?P<next>T\*|Td|BT)", re.S)
_ESCAPES = {b"n": b"\n", b"r": b"\r", b"t": b"\t", b"b": b"\b", b"f": b"\f"}


def pages(pdf: bytes) -> list[str]:
    """Return the text of each page, in the order in which it was drawn, blanks joined."""
    objects = {int(number): body for number, body in _OBJECT.findall(pdf)}
    fonts = _fonts(objects)
    (tree,) = (body for body in objects.values() if b"/Type /Pages" in body)
    numbers = [int(found) for found in re.findall(rb"(\d+) 0 R", re.search(rb"/Kids \[(.*?)\]", tree, re.S)[1])]
    contents = [int(re.search(rb"/Contents (\d+) 0 R", objects[number])[1]) for number in numbers]
    return [" ".join(_text(_stream(objects[number]), fonts).split()) for number in contents]


def text(pdf: bytes) -> str:
    """Return all text without any blanks, so that line breaks do not matter."""
    return "".join("".join(pages(pdf)).split())


def _stream(body: bytes) -> bytes:
    data = _STREAM.search(body)[1]
    return zlib.decompress(data) if b"/FlateDecode" in body else data


def _fonts(objects: dict[int, bytes]) -> dict[bytes, dict[int, str]]:
    """Return what each code of each font means, by the font's name on the pages."""
    resources = next(body for body in objects.values() if b"/Font <<" in body)
    named = re.findall(rb"/(F\d+) (\d+) 0 R", re.search(rb"/Font <<(.*?)>>", resources, re.S)[1])
    maps = {}
    for name, number in named:
        to_unicode = int(re.search(rb"/ToUnicode (\d+) 0 R", objects[int(number)])[1])
        pairs = re.findall(rb"<([0-9A-F]{4})> <([0-9A-F]+)>\n", _stream(objects[to_unicode]))
        maps[name] = {int(code, 16): bytes.fromhex(meant.decode()).decode("utf-16-be") for code, meant in pairs}
    return maps


def _text(stream: bytes, fonts: dict[bytes, dict[int, str]]) -> str:
    font: dict[int, str] = {}
    said = []
    for found in _SHOWN.finditer(stream):
        if found[1]:
            font = fonts[found[1]]
        elif found["text"] is not None:
            codes = re.sub(rb"\\(.)", lambda one: _ESCAPES.get(one[1], one[1]), found["text"], flags=re.S)
            said += [font.get(int.from_bytes(codes[k : k + 2]), "") for k in range(0, len(codes), 2)]
        else:
            said.append(" ")
    return "".join(said)
