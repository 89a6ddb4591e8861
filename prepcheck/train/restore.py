"""From an exported model back to a checkpoint, so that a fit can go on where no checkpoint was kept.

An exported file has its batch norms folded into the convolutions. They are unfolded again: with the mean and spread that the
convolutions give on some pictures, and scale and shift such that the net says exactly what the file says.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import onnx
import torch
from onnx import numpy_helper
from torch import nn

from prepcheck.train.fit import Checkpoint, save
from prepcheck.train.net import Eye

SIZE = (1024, 768)
"""Width and height at which pictures are looked at."""


def restore(model: Path, card: Path, pictures: Iterable[Path], checkpoint: Path) -> None:
    """Write a checkpoint with the weights of `model`, the runs of its `card`, and no optimiser.

    A model that has more channels at half size than the net has now is made narrower, see :func:`narrowed`.

    Parameters
    ----------
    model, card : Path
        Exported file and its card. Temperature and prior of oxide stay outside: calibration chooses them anew.
    pictures : iterable of Path
        Photographs or scenes that may be trained on; a few dozen.
    checkpoint : Path
        Where to write.
    """
    weights = narrowed(restored(model, pictures).state_dict())
    runs = json.loads(card.read_text(encoding="utf-8"))["runs"]
    save(checkpoint, Checkpoint(weights, weights, None, {"runs": runs}))


def restored(model: Path, pictures: Iterable[Path]) -> Eye:
    """Give the net that an exported file was made of, as wide as it was."""
    stored = onnx.load(str(model))
    nodes = [node for node in stored.graph.node if node.op_type == "Conv"]
    values = _values(stored)
    eye: Eye = Eye(fine=values[nodes[-1].input[1]].shape[1]).eval()
    pairs = _pairs(eye, len(nodes))
    _load(pairs, nodes, values)
    _unfold(eye, pairs, pictures)
    return eye


def narrowed(weights: dict[str, Any], kept: int = Eye.FINE) -> dict[str, Any]:
    """Weights of a net of `kept` channels at half size: those that weigh most in what comes after them."""
    reach = weights["fine4.0.weight"].abs().sum((0, 2, 3)) * weights["fine2.1.weight"].abs()
    shown = weights["head.weight"].abs().sum((0, 2, 3))
    best = (reach / reach.sum() + shown / shown.sum()).topk(min(kept, len(shown))).indices.sort().values
    out = {k: v[best] if k.startswith(("fine2.", "join2.up.")) and v.ndim else v for k, v in weights.items()}
    return {k: v[:, best] if k in ("fine4.0.weight", "head.weight") else v for k, v in out.items()}


def _pairs(eye: Eye, count: int) -> list[tuple[Any, Any]]:
    """Convolutions in the order in which they run, each with the batch norm behind it or None.

    A file with fewer (`count`) is from before the net grew: those of the parts it grew by are left out.

    Raises
    ------
    ValueError
        If there are more or fewer than `count` all the same.
    """
    order: list[str] = []
    modules = dict(eye.named_modules())
    hooks = [
        module.register_forward_hook(lambda *_, name=name: order.append(name))
        for name, module in modules.items()
        if isinstance(module, nn.Conv2d)
    ]
    with torch.no_grad():
        eye(torch.zeros(1, 3, 64, 64))
    for hook in hooks:
        hook.remove()
    if count < len(order):
        order = [name for name in order if not name.startswith(Eye.GROWN)]
    if count != len(order):
        raise ValueError(f"the file has {count} convolutions, the net {len(order)}")
    return [(modules[name], _norm_behind(modules, name)) for name in order]


def _norm_behind(modules: dict[str, Any], name: str) -> Any:
    parent, _, place = name.rpartition(".")
    after = modules.get(f"{parent}.{int(place) + 1}") if place.isdigit() else None
    return after if isinstance(after, nn.BatchNorm2d) else None


def _values(model: Any) -> dict[str, Any]:
    """Weights of a file by name; equal ones are stored once and passed on."""
    values = {stored.name: numpy_helper.to_array(stored) for stored in model.graph.initializer}
    for node in model.graph.node:
        if node.op_type == "Identity" and node.input[0] in values:
            values[node.output[0]] = values[node.input[0]]
    return values


def _load(pairs: list[tuple[Any, Any]], nodes: list[Any], values: dict[str, Any]) -> None:
    """Copy the file's convolutions; batch norms become a plain shift."""
    with torch.no_grad():
        for (conv, norm), node in zip(pairs, nodes, strict=True):
            conv.weight.copy_(torch.from_numpy(values[node.input[1]].copy()))
            shift = values[node.input[2]].copy() if len(node.input) > 2 else np.zeros(len(conv.weight), np.float32)
            if norm is not None:
                _set(norm, torch.zeros_like(norm.bias), torch.full_like(norm.bias, 1 - norm.eps))
                norm.bias.copy_(torch.from_numpy(shift))
            elif conv.bias is not None:
                conv.bias.copy_(torch.from_numpy(shift))


def _set(norm: Any, mean: Any, variance: Any) -> None:
    """Give a batch norm that does nothing yet a mean and a variance; what it computes stays the same."""
    norm.running_mean.copy_(mean)
    norm.running_var.copy_(variance)
    norm.weight.copy_(torch.sqrt(variance + norm.eps))
    norm.bias.add_(mean)


def _unfold(eye: Eye, pairs: list[tuple[Any, Any]], pictures: Iterable[Path]) -> None:
    """Measure what the convolutions give on `pictures` and put it into the batch norms behind them."""
    sums: dict[int, list[Any]] = {}

    def add(conv: Any, _seen: Any, given: Any) -> None:
        x = given.double().flatten(2)
        mine = sums.setdefault(id(conv), [0.0, 0.0, 0])
        mine[0], mine[1], mine[2] = mine[0] + x.sum((0, 2)), mine[1] + (x**2).sum((0, 2)), mine[2] + x.shape[2]

    hooks = [conv.register_forward_hook(add) for conv, norm in pairs if norm is not None]
    with torch.no_grad():
        for path in pictures:
            image = cv2.resize(np.asarray(cv2.imread(str(path)), np.uint8), SIZE)
            eye(torch.from_numpy(cv2.dnn.blobFromImage(image, 1 / 255.0, swapRB=True)))
        for hook in hooks:
            hook.remove()
        for conv, norm in pairs:
            if norm is not None:
                total, squares, count = sums[id(conv)]
                mean = total / count
                _set(norm, mean.float(), (squares / count - mean**2).clip(min=1e-8).float())
