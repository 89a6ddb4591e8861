"""Copies without position: nothing that tells the place is left, and the picture is the same, byte for byte."""

from __future__ import annotations

import io
import struct
import zlib

import numpy as np
import pillow_heif
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, PngImagePlugin
from PIL.TiffImagePlugin import IFDRational

from prepcheck.archive.exif_blank import blanked
from prepcheck.archive.without_position import without_position
from prepcheck.photo.containers import jpeg_parts
from prepcheck.photo.exif import read_exif

SECONDS = IFDRational(345679, 10007)
"""A fraction that cannot be cut down, so that its bytes can be looked for."""
PLACE = (47.0, 12.0, SECONDS)
PICTURE = Image.fromarray(np.arange(48 * 64 * 3, dtype=np.uint32).astype(np.uint8).reshape(48, 64, 3))
LETTERS = b"here it was"


def exif(order: str = "<", *, notes: bool = True) -> Image.Exif:
    """Make an EXIF block with a position, notes of the maker, a comment and what a photo needs."""
    made = Image.Exif()
    made.endian = order
    made[0x0112], made[0x010F] = 6, "Acme"
    camera = {0x9003: "2026:11:24 10:12:00", 0x9011: "+01:00"}
    made[0x8769] = {**camera, **({0x927C: LETTERS * 3, 0x9286: LETTERS} if notes else {})}
    made[0x8825] = {1: "N", 2: PLACE, 3: "E", 4: PLACE, 29: "2026:11:24", 27: LETTERS}
    return made


def photo(format: str, order: str = "<", **options: object) -> bytes:
    out = io.BytesIO()
    if format == "HEIC":
        pillow_heif.from_pillow(PICTURE).save(out, exif=exif(order).tobytes(), **options)
    else:
        PICTURE.save(out, format, exif=exif(order), **options)
    return out.getvalue()


def exif_of(data: bytes) -> bytes:
    if data[4:8] == b"ftyp":
        return pillow_heif.open_heif(data).info["exif"]
    with Image.open(io.BytesIO(data)) as image:
        return image.getexif().tobytes() if "exif" not in image.info else image.info["exif"]


def pixels(data: bytes) -> bytes:
    if data[4:8] == b"ftyp":
        return pillow_heif.open_heif(data).to_pillow().tobytes()
    with Image.open(io.BytesIO(data)) as image:
        return image.tobytes()


FORMATS = ["JPEG", "PNG", "WEBP", "HEIC"]


@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize("format", FORMATS)
def test_the_position_is_gone_and_what_the_photo_needs_stays(format, order):
    data = photo(format, order)
    before, after = read_exif(exif_of(data)), read_exif(exif_of(without_position(data, format)))
    assert before.position is not None
    assert after.position is None
    assert (after.taken, after.camera) == ("2026-11-24T10:12:00+01:00", "Acme")
    assert after.orientation == before.orientation == 6


@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize("format", FORMATS)
def test_not_a_byte_of_the_position_is_left(format, order):
    clean = without_position(photo(format, order), format)
    second = struct.pack(f"{order}II", SECONDS.numerator, SECONDS.denominator)
    assert second in photo(format, order)
    assert second not in clean
    assert LETTERS not in clean
    assert b"2026:11:24\0" not in clean.replace(b"2026:11:24 10", b"")


@pytest.mark.parametrize("tag", [0x010E, 0x02BC, 0x83BB, 0x8649, 0x9C9B, 0x9C9C, 0x9C9E, 0x9C9F])
def test_texts_and_blocks_of_other_programs_within_exif_are_zeros(tag):
    made = exif(notes=False)
    made[tag] = LETTERS * 2
    block = made.tobytes().removeprefix(b"Exif\0\0")
    assert block.count(LETTERS) == 3  # with the one in the position part
    assert LETTERS not in blanked(block)


@pytest.mark.parametrize("format", FORMATS)
def test_the_picture_is_the_same(format):
    data = photo(format)
    assert pixels(without_position(data, format)) == pixels(data)


@pytest.mark.parametrize("progressive", [False, True])
def test_the_coded_picture_of_a_jpeg_is_the_same_byte_for_byte(progressive):
    data = photo("JPEG", progressive=progressive)
    scan = next(part.start for part in jpeg_parts(data) if part.kind == b"\xda")
    assert without_position(data, "JPEG").endswith(data[scan:])


def with_segment(data: bytes, code: int, body: bytes) -> bytes:
    return data[:2] + bytes([0xFF, code]) + struct.pack(">H", len(body) + 2) + body + data[2:]


@pytest.mark.parametrize(
    ("code", "start"),
    [
        (0xE1, b"http://ns.adobe.com/xap/1.0/\0"),
        (0xE1, b"http://ns.adobe.com/xmp/extension/\0"),
        (0xED, b"Photoshop 3.0\0"),
        (0xE2, b"MPF\0"),
        (0xE5, b"maker"),
        (0xFE, b"comment"),
    ],
)
def test_segments_that_can_tell_a_place_in_another_form_are_left_out(code, start):
    clean = without_position(with_segment(photo("JPEG"), code, start + LETTERS), "JPEG")
    assert LETTERS not in clean
    assert pixels(clean) == pixels(photo("JPEG"))


def test_a_second_exif_block_is_left_out():
    data = photo("JPEG")
    block = next(data[part.start : part.start + part.size] for part in jpeg_parts(data) if part.kind == b"\xe1")
    clean = without_position(with_segment(data, 0xE1, block), "JPEG")
    assert [part.kind for part in jpeg_parts(clean)].count(b"\xe1") == 1


def test_what_follows_the_picture_is_left_out():
    assert LETTERS not in without_position(photo("JPEG") + LETTERS + photo("JPEG"), "JPEG")


def test_the_colour_profile_stays():
    data = photo("JPEG", icc_profile=b"profile" * 20)
    with Image.open(io.BytesIO(without_position(data, "JPEG"))) as image:
        assert image.info["icc_profile"] == b"profile" * 20


def test_a_photo_without_anything_to_take_out_stays_as_it_is():
    out = io.BytesIO()
    PICTURE.save(out, "JPEG")
    assert without_position(out.getvalue(), "JPEG") == out.getvalue()


def test_texts_of_a_png_are_left_out():
    info = PngImagePlugin.PngInfo()
    info.add_text("Comment", LETTERS.decode())
    info.add_itxt("XML:com.adobe.xmp", LETTERS.decode())
    assert LETTERS not in without_position(photo("PNG", pnginfo=info), "PNG")


def test_the_check_sums_of_a_png_are_right():
    data = without_position(photo("PNG"), "PNG")
    at = data.index(b"eXIf")
    (size,) = struct.unpack(">I", data[at - 4 : at])
    assert struct.unpack(">I", data[at + 4 + size :][:4])[0] == zlib.crc32(data[at : at + 4 + size])


def test_xmp_of_a_webp_is_left_out_and_its_header_says_so():
    clean = without_position(photo("WEBP", xmp=LETTERS), "WEBP")
    assert LETTERS not in clean
    assert clean[20] & 0x04 == 0
    assert struct.unpack("<I", clean[4:8])[0] == len(clean) - 8


@pytest.mark.parametrize("format", ["TIFF", "MP4", "MOV", ""])
def test_other_formats_are_not_copied(format):
    assert without_position(photo("JPEG"), format) is None


def test_texts_of_a_heic_become_zeros_and_nothing_moves():
    data = photo("HEIC", xmp=LETTERS)
    clean = without_position(data, "HEIC")
    assert LETTERS in data
    assert LETTERS not in clean
    assert len(clean) == len(data)


@pytest.mark.parametrize("box", [b"uuid", b"mpvd", b"moov", b"udta"])
def test_a_heic_with_more_than_a_picture_is_not_copied(box):
    more = struct.pack(">I4s", 8 + len(LETTERS), box) + LETTERS
    assert without_position(photo("HEIC") + more, "HEIC") is None


@pytest.mark.parametrize("kind", [b"infe", b"iloc", b"ipco", b"iinf", b"meta", b"ispe"])
def test_a_heic_of_another_form_is_not_copied(kind):
    assert without_position(photo("HEIC").replace(kind, b"zzzz"), "HEIC") is None


def test_free_room_of_a_heic_becomes_zeros():
    more = struct.pack(">I4s", 8 + len(LETTERS), b"free") + LETTERS
    assert LETTERS not in without_position(photo("HEIC") + more, "HEIC")


def block(*entries: bytes, rest: bytes = b"") -> bytes:
    """Make a photo with a TIFF structure of these entries."""
    tiff = b"II*\0" + struct.pack("<I", 8) + struct.pack("<H", len(entries)) + b"".join(entries) + bytes(4) + rest
    out = io.BytesIO()
    PICTURE.save(out, "JPEG", exif=b"Exif\0\0" + tiff)
    return out.getvalue()


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"\xff\xd8",
        photo("JPEG")[:300],
        block(struct.pack("<HHII", 0x8825, 4, 1, 0xFFFFFF)),
        block(struct.pack("<HHII", 0x927C, 7, 0xFFFFFFFF, 8)),
        block(struct.pack("<HHII", 0x8769, 4, 1, 5000)),
    ],
)
def test_a_file_that_is_not_understood_is_not_copied(data):
    assert without_position(data, "JPEG") is None


def test_directories_that_run_in_a_circle_are_not_followed():
    tiff = b"II*\0" + struct.pack("<I", 8) + struct.pack("<H", 0) + struct.pack("<I", 8)
    out = io.BytesIO()
    PICTURE.save(out, "JPEG", exif=b"Exif\0\0" + tiff)
    assert without_position(out.getvalue(), "JPEG") is None


@given(st.data())
def test_a_damaged_photo_never_raises(data):
    format = data.draw(st.sampled_from(FORMATS))
    changed = bytearray(photo(format))
    for at, value in data.draw(st.lists(st.tuples(st.integers(0, 800), st.integers(0, 255)), max_size=6)):
        changed[min(at, len(changed) - 1)] = value
    without_position(bytes(changed), format)
