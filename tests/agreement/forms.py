"""Photos with points, and counts of them, for the tests of agreement."""

from __future__ import annotations

import numpy as np

from prepcheck.agreement.fields import Field
from prepcheck.agreement.form import Counted
from prepcheck.agreement.grid import Grid, lay_grid
from prepcheck.agreement.labels import parse_label

SIZE = (640, 480)


def field(name: str = "tank.jpg", sha256: str = "a" * 64, points: int = 30, seed: int = 1) -> Field:
    """Return a photo of 640 x 480 pixels with about so many points."""
    return Field(f"images/{name}", sha256, SIZE, lay_grid(SIZE, points, seed))


def small(name: str = "tank.jpg", sha256: str = "a" * 64) -> Field:
    """Return a photo with three points."""
    return Field(f"images/{name}", sha256, SIZE, Grid(np.array([[10.0, 10], [20, 10], [30, 10]]), 10, 0))


def counted(labels: str, person: str = "Ola", photo: str = "a", grid: str = "g") -> Counted:
    """Return a count with the labels given, blanks between them; `photo` is a letter that its hash is made of."""
    read = tuple(parse_label(one) for one in labels.split())
    return Counted(f"{photo}.jpg", photo * 64, grid, person, read, f"{photo}.{person}.csv")


def filled(form: bytes, labels: list[str], person: str = "Ola") -> str:
    """Return the text of a form with these labels, in order, written on it."""
    lines = form.decode("utf-8-sig").splitlines()
    start = lines.index("number,label") + 1
    head = [f"person,{person}" if line.startswith("person,") else line for line in lines[:start]]
    return "\n".join([*head, *(f"{number},{label}" for number, label in enumerate(labels, 1))])
