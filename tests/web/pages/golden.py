"""Pictures of pages as they were looked at by a person, kept in tests/golden.

Made with one version of Chromium and one font; with others letters fall elsewhere, and the comparison is skipped. After a
change that shall be seen, look at the pages and renew them::

    RENEW_GOLDEN=1 pytest tests/web/pages/test_in_chromium.py -k as_it_was_looked_at
"""

from __future__ import annotations

import io
import os
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

FOLDER = Path(__file__).parents[2] / "golden"
MADE_WITH = FOLDER / "made-with.txt"
_COLOURS = 128
_STEP, _SHARE = 40, 0.004
"""A pixel differs by more than so many of 255 levels; so large a share of pixels may. A line of words is more than that."""


def made_with(version: str) -> str:
    """Return the browser's version and the font that its pages get."""
    found = shutil.which("fc-match")
    font = subprocess.run([found, "system-ui"], capture_output=True, text=True, check=True).stdout if found else "?"
    return f"Chromium {version}, {font.split(':')[0]}\n"


def compare(name: str, shot: bytes, made: str) -> None:
    """Compare a picture of a page with the one that is kept, or keep it where that was asked for."""
    path = FOLDER / f"{name}.png"
    if os.environ.get("RENEW_GOLDEN"):
        FOLDER.mkdir(exist_ok=True)
        Image.open(io.BytesIO(shot)).convert("RGB").quantize(_COLOURS).save(path, optimize=True)
        MADE_WITH.write_text(made, encoding="utf-8")
        return
    if made != MADE_WITH.read_text(encoding="utf-8"):
        pytest.skip(f"made with {MADE_WITH.read_text(encoding='utf-8').strip()}, this is {made.strip()}")
    share = changed(Image.open(path), Image.open(io.BytesIO(shot)))
    assert share <= _SHARE, f"{share:.1%} of {path.name} changed; look at the page, then renew it: {__doc__}"


def changed(before: Image.Image, now: Image.Image) -> float:
    """Return the share of pixels that differ, 1 for pictures of other sizes."""
    if before.size != now.size:
        return 1.0
    pair = [np.asarray(one.convert("RGB"), np.int16) for one in (before, now)]
    return float((abs(pair[0] - pair[1]).max(axis=2) > _STEP).mean())
