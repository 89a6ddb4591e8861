"""Folders of made-up passes of a round spot, with known cameras."""

import json

import cv2
import numpy as np

from prepcheck.terms import State
from tests.scenes import plate

SIZE = (480, 640)


def write(folder, name, group, pass_no, patches, *, shift=(0, 0), mm=0.2, labels=(), **more):
    """Write one pass, or without a number a photo of a set, shifted.

    `patches` are (x, y, radius) of oxide, `labels` (label, x, y, radius) of what stays; `more` goes into the meta file.
    """
    states, ground, persisting = plate(*SIZE), np.zeros(SIZE, np.uint8), np.zeros(SIZE, np.uint8)
    dx, dy = shift
    for plane, value in ((states, int(State.BRIGHT)), (ground, 255)):
        cv2.circle(plane, (320 + dx, 240 + dy), 150, value, -1)
    for x, y, r in patches:
        cv2.circle(states, (x + dx, y + dy), r, int(State.OXIDE), -1)
    for label, x, y, r in labels:
        cv2.circle(persisting, (x + dx, y + dy), r, label, -1)
    planes = {"states": states, "ground": ground} | ({"persisting": persisting} if labels is not None else {})
    for kind, plane in planes.items():
        (folder / kind).mkdir(parents=True, exist_ok=True)
        cv2.imwrite(str(folder / kind / f"{name}.png"), plane)
    to_first = [[1, 0, -dx], [0, 1, -dy], [0, 0, 1]]
    (folder / "meta").mkdir(exist_ok=True)
    passes = {} if pass_no is None else {"pass_no": pass_no}
    meta = {"group": group, **passes, "mm_per_px": mm, "to_first": to_first, **more}
    (folder / "meta" / f"{name}.json").write_text(json.dumps(meta))
