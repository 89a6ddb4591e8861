"""Pictures and files that the tests of reading are made of."""

from __future__ import annotations

import io

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

Raster = NDArray[np.uint8]


def scene(width: int = 320, height: int = 240, seed: int = 0) -> Raster:
    """Coloured plates with sharp edges, scratches and a little noise; no symmetry."""
    rng = np.random.default_rng(seed)
    rgb = np.full((height, width, 3), 120, np.uint8)
    for _ in range(40):
        corner = rng.integers(0, (width, height))
        size = rng.integers(8, max(9, width // 4), 2)
        angle, shade = rng.uniform(0, 180), rng.integers(60, 200)
        colour = np.clip(shade + rng.integers(-12, 12, 3), 0, 255)
        box = cv2.boxPoints((tuple(map(float, corner)), tuple(map(float, size)), float(angle)))
        cv2.fillPoly(rgb, [box.astype(np.int32)], tuple(map(int, colour)), cv2.LINE_AA)
    noisy = rgb + rng.normal(0, 2, rgb.shape)
    return np.asarray(np.clip(noisy, 0, 255), np.uint8)


def jpeg(rgb: Raster, quality: int = 92, **options: object) -> bytes:
    return saved(Image.fromarray(rgb), "JPEG", quality=quality, **options)


def saved(image: Image.Image, kind: str, **options: object) -> bytes:
    buffer = io.BytesIO()
    image.save(buffer, kind, **options)
    return buffer.getvalue()


def coded(pixels: NDArray[np.generic], suffix: str, *flags: int) -> bytes:
    """What OpenCV writes; `pixels` in its order, BGR."""
    good, buffer = cv2.imencode(suffix, pixels, flags)
    assert good
    return buffer.tobytes()


def exif(**tags: object) -> Image.Exif:
    """EXIF with `Orientation`, `Make`, `Model`; inner ones by number as ``x9003="..."``, position as ``gps={...}``."""
    made = Image.Exif()
    plain = {"orientation": 0x0112, "make": 0x010F, "model": 0x0110}
    for name, value in tags.items():
        if name in plain:
            made[plain[name]] = value
        elif name == "gps":
            made.get_ifd(0x8825).update(value)  # type: ignore[arg-type]
        else:
            made.get_ifd(0x8769)[int(name[1:], 16)] = value
    return made


def full(rgb: Raster, file_raster: Raster) -> float:
    """Mean absolute difference of two rasters of one size."""
    assert rgb.shape == file_raster.shape
    return float(np.abs(rgb.astype(int) - file_raster.astype(int)).mean())
