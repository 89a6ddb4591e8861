"""Signs that a messaging or editing program has saved a photo again.

A sign is no proof: it says "looks", never "is". A program that copies all that the camera wrote leaves none.
"""

from __future__ import annotations

from prepcheck.photo.header import Header

_LUMINANCE_SUM = 3688
"""Sum of the 64 numbers of the luminance table, ITU-T T.81, Annex K, table K.1."""
_LOW_QUALITY = 80
_SHARED_SIDE = 2048


def signs_of_saving(header: Header) -> tuple[str, ...]:
    """Say why a file looks saved again by a program, empty when it does not.

    Reasons, each common practice without a published source: cameras write make and capture time, which messengers
    drop; they write the size of their picture, which no longer holds after resizing; phones do not write progressive
    JPEG or WebP; strong compression of a small picture is how messengers save data; editing programs add a segment.
    """
    exif = header.exif
    stored = {exif.size, exif.size and exif.size[::-1]}
    low = header.tables and jpeg_quality(header.tables[0]) < _LOW_QUALITY
    told = {
        "neither camera nor capture time is stored": exif.camera is None and exif.taken is None,
        "the size that the camera stored is another": exif.size and (header.width, header.height) not in stored,
        "it is a progressive JPEG": header.progressive,
        "it is a WebP": header.format == "WEBP",
        "it is small and strongly compressed": low and max(header.width, header.height) <= _SHARED_SIDE,
        "an editing program left its mark": header.edited,
    }
    return tuple(words for words, seen in told.items() if seen)


def jpeg_quality(table: tuple[int, ...]) -> float:
    """Estimate the usual quality number, 1 to 100, from a luminance table.

    The inverse of the scaling in the Independent JPEG Group's library (5000 / q below 50, 200 - 2 q above), from the
    sum of the table: order and a few clipped entries do not matter.
    """
    percent = 100 * sum(table) / _LUMINANCE_SUM
    return max(1.0, min(100.0, (200 - percent) / 2 if percent <= 100 else 5000 / percent))
