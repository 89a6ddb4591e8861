"""Exports the net that sees photos of a set together, and calibrates it on sets of a learn folder.

Temperature and shift of its log odds are those of least error at equal coverage among those no worse calibrated than the
mean. They are chosen on four fifths of the sets for the answers on the last fifth, and
`sure` and the interval come from these answers. Where the net errs no less than the mean, no numbers are written::

    python -m prepcheck.train.moved_calibrate CHECKPOINT LEARN_FOLDER [LEARN_FOLDER ...] --out models
"""

from __future__ import annotations

import argparse
import hashlib
import json
import sys
import warnings
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import torch

from prepcheck.moved_planes import FINE_PLANES, PLANES
from prepcheck.settings import Settings
from prepcheck.surface import load_model
from prepcheck.surface.moved_evidence import Planes, Views, log_odds
from prepcheck.surface.moved_net import EACH, FILE, TOGETHER, Calibration, MovedNet, Numbers
from prepcheck.terms import State
from prepcheck.train.moved_fit import averaged_moved
from prepcheck.train.moved_net import FEATURES, Moved
from prepcheck.train.moved_samples import Rows, Sample, calibrated, gather, movements, rated

Choice = tuple[float, float]
CHOICES: tuple[Choice, ...] = tuple(
    (t, s) for t in (0.75, 1.0, 1.25, 1.5, 2.0) for s in np.arange(-1.5, 1.6, 0.5).tolist()
)
"""Temperatures and shifts of the log odds that are tried."""

FOLDS = 5

SIZES = ((480, 640), (640, 480), (368, 640), (16, 16))
"""Heights and widths of maps tried after every export."""


def export(net: Moved, folder: Path) -> dict[str, str]:
    """Write both parts of `net` as ONNX files and return their SHA-256 by the names of `Numbers`.

    Raises
    ------
    RuntimeError
        What OpenCV makes of a file differs from the net.
    """
    sums = {}
    parts = ((EACH, net.each, PLANES, 1), (TOGETHER, net.together, 4 * (FEATURES + FINE_PLANES), 2))
    for name, part, channels, reduction in parts:
        path = folder / name
        _write(part.eval(), channels, path)
        read = cv2.dnn.readNetFromONNX(str(path))
        worst = max(_difference(read, part, (channels, h // reduction, w // reduction)) for h, w in SIZES)
        if worst > 1e-3:
            raise RuntimeError(f"{name} differs from the net by {worst:.2g}")
        sums[f"{Path(name).stem.removeprefix('moved_')}_sha256"] = hashlib.sha256(path.read_bytes()).hexdigest()
    return sums


def _write(part: Any, channels: int, path: Path) -> None:
    axes = {"seen": {2: "height", 3: "width"}, "shown": {2: "height_out", 3: "width_out"}}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        torch.onnx.export(
            part, torch.rand(1, channels, 64, 96), str(path), dynamo=False, opset_version=13, input_names=["seen"],
            output_names=["shown"], dynamic_axes=axes,
        )  # fmt: skip


def _difference(read: Any, part: Any, shape: tuple[int, int, int]) -> float:
    noise = np.random.default_rng(0).standard_normal((1, *shape), dtype=np.float32)
    read.setInput(noise)
    got = np.array(read.forward(), copy=True)
    with torch.no_grad():
        return float(np.abs(got - part(torch.from_numpy(noise)).numpy()).max())


def choose(samples: Sequence[Sample]) -> Choice:
    """Return the temperature and shift of least error among those no worse calibrated than the mean, if there are any."""
    tried = {choice: rated(answers(samples, choice)) for choice in CHOICES}
    limit = max(rated(by_mean(samples))["log_loss"], min(one["log_loss"] for one in tried.values()))
    return min(
        (choice for choice in CHOICES if tried[choice]["log_loss"] <= limit), key=lambda choice: tried[choice]["error"]
    )


def answers(samples: Sequence[Sample], choice: Choice) -> list[tuple[Sample, Rows]]:
    """Return the net's log odds under a choice."""
    return [(s, np.asarray(s.odds[:, 1] / choice[0] + choice[1], np.float32)) for s in samples]


def by_mean(samples: Sequence[Sample]) -> list[tuple[Sample, Rows]]:
    """Return the mean's log odds."""
    return [(s, s.odds[:, 0]) for s in samples]


def learn(samples: Sequence[Sample]) -> tuple[dict[str, Any], dict[str, Any]]:
    """Choose on all sets, calibrate on left-out answers.

    Returns
    -------
    chosen : dict
        ``temperature``, ``shift`` and ``calibration`` of `prepcheck.surface.moved_net.Numbers`.
    facts : dict
        Log loss and error of the mean and of left-out answers of the net; counts; where moved and still sets part.
    """
    left_out = []
    for fold in range(FOLDS):
        choice = choose([s for s in samples if s.group % FOLDS != fold])
        left_out += answers([s for s in samples if s.group % FOLDS == fold], choice)
    calibration, checks = calibrated(left_out)
    temperature, shift = choose(samples)
    facts = {"sets": len({s.group for s in samples}), "mean": rated(by_mean(samples)), "left_out": rated(left_out)}
    chosen = {
        "temperature": temperature,
        "shift": shift,
        "calibration": {k: v.model_dump() for k, v in calibration.items()},
    }
    return chosen, {**facts, "calibration": checks, "least_moved": movements(samples)}


def measured(net: MovedNet) -> Any:
    """Return how a set is measured: log odds by the mean and by the net, shape (2, h, w)."""

    def measure(views: Views) -> Planes:
        return np.stack([log_odds(views.mean[State.BRIGHT]), net.raw_odds(views)])

    return measure


def main(arguments: Sequence[str] | None = None) -> int:
    """Export, calibrate on folders of sets, and write ``moved_net.json``; 1 where the net errs no less than the mean."""
    parser = argparse.ArgumentParser(prog="python -m prepcheck.train.moved_calibrate", description=__doc__)
    parser.add_argument("checkpoint", type=Path)
    parser.add_argument("folders", type=Path, nargs="+", help="folders of moved-light sets with truth")
    parser.add_argument("--model", default=None, help="name in the registry; its default otherwise")
    parser.add_argument(
        "--models", type=Path, default=None, help="folder of the registry; the one that ships otherwise"
    )
    parser.add_argument("--out", type=Path, default=Path("models"))
    parser.add_argument("--seed", type=int, default=0)
    options = parser.parse_args(arguments)
    net, notes = averaged_moved(options.checkpoint)
    sums = export(net, options.out)
    model = load_model(options.model, options.models)
    parts = [cv2.dnn.readNetFromONNX(str(options.out / name)) for name in (EACH, TOGETHER)]
    plain = {"model_sha256": model.origin.sha256, **sums}
    raw = Numbers(**plain, temperature=1, shift=0, calibration={2: Calibration(sure=0, error_scale=0, error_floor=0)})
    measure = measured(MovedNet(raw, parts[0], parts[1], ""))
    samples = gather(options.folders, model, Settings(), measure, options.seed)
    chosen, facts = learn([s for s in samples if s.photos > 1])
    facts = {"model": model.origin.name, "seed": options.seed, **facts, "runs": notes["runs"]}
    print(json.dumps(facts, indent=1))  # noqa: T201
    if facts["left_out"]["error"] >= facts["mean"]["error"]:
        return 1
    (options.out / FILE).write_text(json.dumps({**plain, **chosen, "facts": facts}) + "\n", encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
