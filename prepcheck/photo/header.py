"""What a file says of its picture before any pixel is decoded, and the limits on it."""

from __future__ import annotations

import io
import zlib
from dataclasses import dataclass, field
from typing import Any

from PIL import JpegImagePlugin

from prepcheck.errors import DamagedPhoto, MissingDecoder, NotAPhoto, TooLarge
from prepcheck.photo import containers as box
from prepcheck.photo.exif import Exif, read_exif, tiff_tags
from prepcheck.settings import PhotoSettings

_MOST_PROFILE = 4_000_000
_HEIC_BRANDS = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1")
_ACCEPTED = "Give a JPEG, HEIC, PNG, WebP or TIFF photo"
_ORIGINAL = "Give the original file from the phone"


@dataclass(frozen=True)
class Header:
    """What a file says of its picture.

    Parameters
    ----------
    format : str
        ``JPEG``, ``PNG``, ``WEBP``, ``TIFF`` or ``HEIC``.
    width, height : int
        As stored, before turning.
    exif : Exif
        What the camera wrote.
    profile : bytes or None
        ICC profile.
    progressive : bool
        Whether a JPEG holds several scans that refine each other.
    samples : float
        Coded values for each pixel of a JPEG: 3 without, 1.5 with colour at half size.
    tables : tuple of tuple of int
        Quantisation tables of a JPEG, 64 numbers each.
    edited : bool
        Whether an editing program left its own segment.
    """

    format: str
    width: int
    height: int
    exif: Exif = field(default_factory=Exif)
    profile: bytes | None = field(default=None, repr=False)
    progressive: bool = False
    samples: float = 3.0
    tables: tuple[tuple[int, ...], ...] = field(default=(), repr=False)
    edited: bool = False


def read_header(data: bytes, name: str, settings: PhotoSettings) -> Header:
    """Read the header of a picture file and hold it against the limits.

    Parameters
    ----------
    data : bytes
        The whole file.
    name : str
        Its name, for messages.
    settings : PhotoSettings
        Largest numbers of pixels.

    Raises
    ------
    NotAPhoto
        Empty, no picture, an animation, or a kind of picture that no camera makes.
    DamagedPhoto
        The header is cut or contradicts itself.
    TooLarge
        More pixels than allowed.
    MissingDecoder
        HEIC without its optional part.
    """
    reader = _READERS[_kind(data, name)]
    try:
        header = reader(data, name)
    except box.Damaged as error:
        raise DamagedPhoto(str(error), _ORIGINAL, name) from error
    _check_size(header, name, settings)
    return header


def _kind(data: bytes, name: str) -> str:
    if not data:
        raise NotAPhoto("is empty", "Copy the file again from the phone", name)
    if data[:3] == b"\xff\xd8\xff":
        return "JPEG"
    if data[:8] == b"\x89PNG\r\n\x1a\n":
        return "PNG"
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "WEBP"
    if data[:4] in (b"II*\0", b"MM\0*"):
        return "TIFF"
    if data[4:8] == b"ftyp" and data[8:12] in _HEIC_BRANDS and b"avif" not in data[8:64]:
        return "HEIC"
    if data[:6] in (b"GIF87a", b"GIF89a"):
        raise NotAPhoto("is a GIF, which no camera makes", _ACCEPTED, name)
    raise NotAPhoto("is no picture that prepcheck reads", _ACCEPTED, name)


def _check_size(header: Header, name: str, settings: PhotoSettings) -> None:
    jpeg = header.format == "JPEG"
    most = settings.max_pixels_jpeg if jpeg else settings.max_pixels_other
    if header.width < 1 or header.height < 1:
        raise DamagedPhoto("its header names a picture without pixels", _ORIGINAL, name)
    if header.width * header.height > most:
        raise TooLarge(
            f"says it has {header.width} x {header.height} pixels, more than {most / 1e6:,.0f} million",
            "Give a smaller picture" if jpeg else "Give a smaller picture or a JPEG",
            name,
        )


def _jpeg(data: bytes, name: str) -> Header:
    try:
        image = JpegImagePlugin.JpegImageFile(io.BytesIO(data))
    except Exception as error:  # a parser of untrusted bytes raises anything
        raise DamagedPhoto("its header cannot be read", _ORIGINAL, name) from error
    info: dict[Any, Any] = image.info
    return Header(
        "JPEG",
        *image.size,
        exif=read_exif(info.get("exif")),
        profile=info.get("icc_profile"),
        progressive=bool(info.get("progressive")),
        samples=_samples(image.layer),
        tables=tuple(tuple(table) for table in image.quantization.values()),
        edited="photoshop" in info,
    )


def _samples(layers: list[tuple[int, int, int, int]]) -> float:
    most = max(layer[1] for layer in layers) * max(layer[2] for layer in layers)
    return sum(layer[1] * layer[2] for layer in layers) / max(most, 1)


def _png(data: bytes, name: str) -> Header:
    parts = {part.kind: part for part in box.png_parts(data)}
    if b"IHDR" not in parts or parts[b"IHDR"].size != 13 or b"IDAT" not in parts:
        raise box.Damaged("its header or its picture is missing")
    if b"acTL" in parts:
        raise _animation(name)
    start = parts[b"IHDR"].start
    return Header(
        "PNG",
        int.from_bytes(data[start : start + 4], "big"),
        int.from_bytes(data[start + 4 : start + 8], "big"),
        exif=read_exif(_body(data, parts.get(b"eXIf"))),
        profile=_png_profile(_body(data, parts.get(b"iCCP"))),
    )


def _png_profile(body: bytes | None) -> bytes | None:
    if body is None:
        return None
    try:
        return zlib.decompressobj().decompress(body[body.index(b"\0") + 2 :], _MOST_PROFILE)
    except (ValueError, zlib.error):
        return None


def _webp(data: bytes, name: str) -> Header:
    parts = {part.kind: part for part in box.webp_parts(data)}
    if b"ANIM" in parts or b"ANMF" in parts:
        raise _animation(name)
    return Header(
        "WEBP",
        *_webp_size(data, parts),
        exif=read_exif(_body(data, parts.get(b"EXIF"))),
        profile=_body(data, parts.get(b"ICCP")),
    )


def _webp_size(data: bytes, parts: dict[bytes, box.Part]) -> tuple[int, int]:
    """Size from the lossy or the lossless picture itself (RFC 9649, sections 2.5 to 2.7)."""
    if part := parts.get(b"VP8 "):
        start = part.start + 6
        width, height = (int.from_bytes(data[start + i : start + i + 2], "little") for i in (0, 2))
        return width & 0x3FFF, height & 0x3FFF
    if part := parts.get(b"VP8L"):
        bits = int.from_bytes(data[part.start + 1 : part.start + 5], "little")
        return (bits & 0x3FFF) + 1, (bits >> 14 & 0x3FFF) + 1
    raise box.Damaged("the picture itself is missing")


def _tiff(data: bytes, name: str) -> Header:
    tags = tiff_tags(data)
    width, height = tags.get(256), tags.get(257)
    if not isinstance(width, int) or not isinstance(height, int):
        raise box.Damaged("its header cannot be read")
    if set(_numbers(tags.get(339, 1))) - {1}:
        raise NotAPhoto("holds numbers instead of 8 or 16 bit colours", "Save it as an 8 or 16 bit TIFF", name)
    if set(_numbers(tags.get(258, 1))) - {1, 8, 16} or tags.get(262) not in (0, 1, 2, 3, 6):
        raise NotAPhoto("holds a kind of colour that no camera stores", "Save it as an 8 or 16 bit RGB TIFF", name)
    profile = tags.get(34675)
    return Header("TIFF", width, height, exif=read_exif(data), profile=profile if isinstance(profile, bytes) else None)


def _numbers(value: Any) -> tuple[Any, ...]:
    return value if isinstance(value, tuple) else (value,)


def _heic(data: bytes, name: str) -> Header:
    try:
        import pillow_heif
    except ImportError as error:
        do = 'Install it with: pip install "prepcheck[heic]", or set the phone to take JPEG'
        raise MissingDecoder("is a HEIC photo, and the part that reads these is not installed", do, name) from error
    try:
        file = pillow_heif.open_heif(io.BytesIO(data))
        info: dict[Any, Any] = file.info
        width, height = file.size
    except Exception as error:  # a parser of untrusted bytes raises anything
        raise box.Damaged("its header cannot be read") from error
    return Header("HEIC", width, height, exif=read_exif(info.get("exif")), profile=info.get("icc_profile"))


def _body(data: bytes, part: box.Part | None) -> bytes | None:
    return None if part is None else data[part.start : part.start + part.size]


def _animation(name: str) -> NotAPhoto:
    return NotAPhoto("is an animation; a photo is one still picture", _ACCEPTED, name)


_READERS = {"JPEG": _jpeg, "PNG": _png, "WEBP": _webp, "TIFF": _tiff, "HEIC": _heic}
