"""The net that sees the photos of a moved-light set together: what each photo shows, gathered over the photos, judged once.

Built from layers that ``cv2.dnn`` runs fast, in two parts so that any number of photos can be seen: `each` runs once a
photo, `together` once a set. What both are given is laid out in :mod:`prepcheck.surface.moved_net`.
"""

from __future__ import annotations

from typing import Any

import torch
from torch import nn
from torch.nn import functional

from prepcheck.moved_planes import FINE, FINE_PLANES, ODDS_SCALE, PLANES, SEEN
from prepcheck.train.net import Wide, conv

FEATURES = 12
"""Features of each photo at half the map's size; the set has four times as many."""


def _apart(channels_in: int, channels_out: int, stride: int) -> Any:
    """Convolve each channel by itself, then mix them: wide for little time."""
    return nn.Sequential(
        conv(channels_in, channels_in, 5, stride, groups=channels_in), conv(channels_in, channels_out, 1)
    )


class Together(nn.Module):  # type: ignore[misc]
    """From what the photos show together to a correction of the log odds of bright metal: a U-Net of two levels.

    Input: features (B, 4 x `FEATURES` + 4 x `FINE_PLANES`, h / 2, w / 2), h and w multiples of
    `prepcheck.moved_planes.STEP`; output (B, 4, h / 2, w / 2): the correction of each square of 2 x 2 places. It is
    zero until it is fitted.
    """

    def __init__(self) -> None:
        super().__init__()
        self.enter = nn.Sequential(conv(4 * FEATURES + 4 * FINE_PLANES, 24, 1), conv(24, 24))
        self.level4 = nn.Sequential(_apart(24, 40, 2), Wide(40))
        self.level8 = nn.Sequential(_apart(40, 64, 2), Wide(64), Wide(64))
        self.back4, self.join4 = nn.Conv2d(64, 40, 1), conv(40, 40)
        self.back2, self.join2 = nn.Conv2d(40, 24, 1), conv(24, 24)
        self.last = nn.Conv2d(24, 4, 3, padding=1)
        nn.init.zeros_(self.last.weight)
        nn.init.zeros_(self.last.bias)

    def forward(self, features: Any) -> Any:
        """Apply the net."""
        level2 = self.enter(features)
        level4 = self.level4(level2)
        x = self.join4(level4 + _up(self.back4(self.level8(level4))))
        return self.last(self.join2(level2 + _up(self.back2(x))))


def _up(x: Any) -> Any:
    return functional.interpolate(x, scale_factor=2, mode="bilinear", align_corners=False)


class Moved(nn.Module):  # type: ignore[misc]
    """Photos of one view in, log odds of bright metal in the frame of the first out."""

    def __init__(self) -> None:
        super().__init__()
        halve = nn.Conv2d(PLANES, FEATURES, 2, 2, bias=False)
        self.each = nn.Sequential(halve, nn.BatchNorm2d(FEATURES), nn.ReLU(), conv(FEATURES, FEATURES))
        self.together = Together()

    def forward(self, planes: Any, mean: Any) -> Any:
        """Log odds, shape (B, h, w).

        Parameters
        ----------
        planes : tensor, shape (B, n, `PLANES`, h, w)
            Of each photo, see :func:`prepcheck.surface.moved_net.planes_of`.
        mean : tensor, shape (B, h, w)
            Log odds by the mean of the photos' log probabilities.
        """
        features = self.each(planes.flatten(0, 1)).unflatten(0, planes.shape[:2])
        half = functional.avg_pool2d(planes[:, :, SEEN], 2)[:, :, None]
        fine = gathered(planes[:, :, list(FINE)], planes[:, :, SEEN, None])
        fine = functional.pixel_unshuffle(torch.cat([mean[:, None] / ODDS_SCALE, fine], 1), 2)
        said = self.together(torch.cat([gathered(features, half), fine], 1))
        return mean + functional.pixel_shuffle(said.float(), 2)[:, 0]


def gathered(planes: Any, seen: Any) -> Any:
    """Mean, highest, lowest and standard deviation over the photos that see a place, shape (B, 4 c, h, w).

    The torch side of :func:`prepcheck.surface.moved_net.gathered`; `planes` (B, n, c, h, w), `seen` (B, n, 1, h, w).
    """
    planes, there = planes.float(), seen > 0
    total = seen.sum(1)
    mean = (planes * seen).sum(1) / total
    spread = (((planes - mean[:, None]).square() * seen).sum(1) / total + 1e-6).sqrt()
    highest = planes.masked_fill(~there, -torch.inf).amax(1)
    lowest = planes.masked_fill(~there, torch.inf).amin(1)
    return torch.cat([mean, highest, lowest, spread], 1)
