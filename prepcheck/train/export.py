"""From a checkpoint to an ONNX file that ``cv2.dnn`` runs, checked against the net itself."""

from __future__ import annotations

import hashlib
import time
import warnings
from pathlib import Path

import cv2
import numpy as np
import torch

from prepcheck.train.net import Eye, Told

SIZES = ((960, 1280), (1280, 960), (480, 640), (736, 1280), (256, 320))
"""Heights and widths tried after every export."""


def export(eye: Eye, path: Path, temperature: float = 1.0, oxide_bias: float = 0.0) -> dict[str, object]:
    """Write `eye` as ONNX with its calibration baked in.

    Returns
    -------
    dict
        ``sha256`` and ``bytes`` of the file, ``difference`` to the net (largest, over several sizes), ``ms`` for
        1280 x 960 in ``cv2.dnn`` (median of 7).
    """
    told = Told(eye, temperature, oxide_bias).eval()
    axes = {"image": {2: "height", 3: "width"}, "maps": {2: "half_height", 3: "half_width"}}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        torch.onnx.export(
            told, torch.rand(1, 3, 960, 1280), str(path), dynamo=False, opset_version=13,
            input_names=["image"], output_names=["maps"], dynamic_axes=axes,
        )  # fmt: skip
    net = cv2.dnn.readNetFromONNX(str(path))
    worst = max([difference(net, told, size) for size in SIZES])
    if worst > 1e-3:
        raise RuntimeError(f"the exported model differs from the net by {worst:.2g}")
    data = path.read_bytes()
    return {"sha256": hashlib.sha256(data).hexdigest(), "bytes": len(data), "difference": worst, "ms": timing(net)}


def difference(net: cv2.dnn.Net, told: Told, size: tuple[int, int]) -> float:
    """Largest difference of the two on noise of the given height and width."""
    image = np.random.default_rng(0).random((1, 3, *size), dtype=np.float32)
    net.setInput(image)
    got = np.array(net.forward(), copy=True)
    with torch.no_grad():
        return float(np.abs(got - told(torch.from_numpy(image)).numpy()).max())


def timing(net: cv2.dnn.Net) -> float:
    """Median time in ms of one 1280 x 960 pass."""
    image = np.random.default_rng(0).random((1, 3, 960, 1280), dtype=np.float32)
    times = []
    for _ in range(7):
        start = time.perf_counter()
        net.setInput(image)
        net.forward()
        times.append(time.perf_counter() - start)
    return round(1000 * float(np.median(times)), 1)
