"""The mean of the weights of checkpoints that were fitted from the same start: one net that errs less than each.

See Wortsman et al. 2022, "Model soups: averaging weights of multiple fine-tuned models improves accuracy without increasing
inference time" (ICML 162). It holds only where the fits stayed near each other.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import torch

from prepcheck.train.fit import Checkpoint, load, save


def mean_weights(weights: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """Average weights and batch norms of nets by name; counters are those of the first.

    Raises
    ------
    ValueError
        If the nets differ in their parts.
    """
    first = weights[0]
    if any(other.keys() != first.keys() for other in weights):
        raise ValueError("the checkpoints are of different nets")
    return {
        name: torch.stack([w[name].float() for w in weights]).mean(0) if value.is_floating_point() else value
        for name, value in first.items()
    }


def write_mean(checkpoints: Sequence[Path], out: Path) -> None:
    """Write a checkpoint with the mean of the averaged weights of `checkpoints`, no optimiser, and the runs of them all."""
    stored = [load(path) for path in checkpoints]
    weights = mean_weights([s.average for s in stored])
    runs: list[Any] = []
    for s in stored:
        runs += [run for run in s.notes["runs"] if run not in runs]
    save(out, Checkpoint(weights, weights, None, {"runs": runs, "mean_of": len(stored)}))
