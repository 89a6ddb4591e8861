"""Lay out the photographs of ``shared/photo_sources.csv`` from clones of their repositories."""

from __future__ import annotations

import csv
import subprocess
from pathlib import Path

import cv2
import numpy as np

HEADS = ("HEAD", "*/HEAD", "*/.git/HEAD")
"""Where git's own file may lie in a folder: of a bare clone, of a plain one or a bare one inside, of a plain one inside."""

LONGEST = 960
"""Longer side of a photo as it was fitted on, in pixels."""


def lay_out(sources: Path, clones: Path, out: Path) -> tuple[int, list[str]]:
    """Write each photo that a clone holds, upright and scaled down, as JPEG.

    Parameters
    ----------
    sources : Path
        Table with the columns ``file``, ``repo`` (owner/name) and ``blob`` (git's hash of the file).
    clones : Path
        Folder of clones named ``owner+name`` or ``owner/name``, bare or plain, or folders of that name that hold some.
    out : Path
        Folder to write to.

    Returns
    -------
    int, list of str
        Number of photos written; names of those that no clone holds.
    """
    out.mkdir(parents=True, exist_ok=True)
    made, missing = 0, []
    with sources.open(encoding="utf-8", newline="") as table:
        for row in csv.DictReader(table):
            data = _blob(clones, row["repo"], row["blob"])
            image = None if data is None else cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)
            if image is None:
                missing.append(row["file"])
                continue
            shrink = min(1.0, LONGEST / max(image.shape[:2]))
            small = cv2.resize(image, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
            cv2.imwrite(str(out / Path(row["file"]).name), small, [cv2.IMWRITE_JPEG_QUALITY, 76])
            made += 1
    return made, missing


def _blob(clones: Path, repo: str, blob: str) -> bytes | None:
    """Read a file by its hash from any clone of the repository."""
    for folder in (clones / repo.replace("/", "+"), clones / repo):
        for head in (found for place in HEADS for found in folder.glob(place)):
            command = ["git", f"--git-dir={head.parent}", "cat-file", "blob", blob]
            got = subprocess.run(command, capture_output=True, check=False)
            if got.returncode == 0:
                return got.stdout
    return None
