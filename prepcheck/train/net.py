"""The net: a small residual U-Net with image-wide context, built from layers that ``cv2.dnn`` runs fast."""

from __future__ import annotations

import itertools
from typing import Any

import torch
from torch import nn
from torch.nn import functional

WIDTHS = (16, 24, 40, 80, 128)
"""Channels at stride 2, 4, 8, 16 and 32."""

DEPTHS = (0, 1, 1, 2, 1)
"""Residual blocks at each of these strides."""


def conv(channels_in: int, channels_out: int, size: int = 3, stride: int = 1, groups: int = 1) -> Any:
    """Convolution with batch norm (folded into it on export) and ReLU."""
    return nn.Sequential(
        nn.Conv2d(channels_in, channels_out, size, stride, size // 2, groups=groups, bias=False),
        nn.BatchNorm2d(channels_out),
        nn.ReLU(),
    )


class Residual(nn.Module):  # type: ignore[misc]
    """Two 3 x 3 convolutions around a shortcut."""

    def __init__(self, channels: int) -> None:
        super().__init__()
        self.first = conv(channels, channels)
        self.second = nn.Sequential(nn.Conv2d(channels, channels, 3, 1, 1, bias=False), nn.BatchNorm2d(channels))

    def forward(self, x: Any) -> Any:
        """Apply the block."""
        return functional.relu(x + self.second(self.first(x)))


class Wide(nn.Module):  # type: ignore[misc]
    """Depthwise 5 x 5 in an inverted bottleneck: context for little time at coarse strides."""

    def __init__(self, channels: int) -> None:
        super().__init__()
        inner = 2 * channels
        self.body = nn.Sequential(
            conv(channels, inner, 1), conv(inner, inner, 5, groups=inner),
            nn.Conv2d(inner, channels, 1, bias=False), nn.BatchNorm2d(channels),
        )  # fmt: skip

    def forward(self, x: Any) -> Any:
        """Apply the block."""
        return x + self.body(x)


class Eye(nn.Module):  # type: ignore[misc]
    """Photo in, eight logits a pixel out at half the photo's size.

    Input 1 x 3 x H x W, sRGB values 0..1, H and W multiples of 32. Channels out: states 0 to 5, weld bead or tint, and
    (its own sigmoid) lying inside a ground spot.
    """

    def __init__(self, widths: tuple[int, ...] = WIDTHS, depths: tuple[int, ...] = DEPTHS) -> None:
        super().__init__()
        self.stem = conv(3, widths[0], 3, 2)
        pairs = list(itertools.pairwise(widths))
        self.downs = nn.ModuleList([conv(a, b, 3, 2) for a, b in pairs])
        self.stages = nn.ModuleList(
            [nn.Sequential(*[Residual(b) for _ in range(d)]) for (_, b), d in zip(pairs, depths[1:], strict=True)]
        )
        self.context = nn.Sequential(Wide(widths[-1]), Wide(widths[-1]))
        self.whole = nn.Sequential(nn.Conv2d(widths[-1], widths[-1], 1), nn.ReLU())
        self.laterals = nn.ModuleList([nn.Conv2d(b, a, 1) for a, b in reversed(pairs)])
        self.refines = nn.ModuleList([conv(a, a) if a > widths[0] else nn.ReLU() for a, _ in reversed(pairs)])
        self.head = nn.Conv2d(widths[0], 8, 1)

    def forward(self, image: Any) -> Any:
        """Logits, shape (B, 8, H / 2, W / 2)."""
        x = self.stem((image - 0.45) * 4.0)
        kept = [x]
        for down, stage in zip(self.downs, self.stages, strict=True):
            x = stage(down(x))
            kept.append(x)
        x = self.context(x)
        x = x + self.whole(x.mean((2, 3), keepdim=True))
        for lateral, refine, skip in zip(self.laterals, self.refines, reversed(kept[:-1]), strict=True):
            x = functional.interpolate(lateral(x), scale_factor=2, mode="bilinear", align_corners=False)
            x = refine(x + skip)
        return self.head(x)


class Told(nn.Module):  # type: ignore[misc]
    """The net with its temperature, its prior for oxide and its output functions: what is exported."""

    def __init__(self, eye: Eye, temperature: float = 1.0, oxide_bias: float = 0.0) -> None:
        super().__init__()
        self.eye = eye
        self.temperature = temperature
        bias = torch.zeros(1, 7, 1, 1)
        bias[0, 2] = oxide_bias
        self.register_buffer("bias", bias)

    def forward(self, image: Any) -> Any:
        """Probabilities, shape (B, 8, H / 2, W / 2); the first seven sum to one."""
        logits = self.eye(image)
        states = torch.softmax(logits[:, :7] / self.temperature + self.bias, dim=1)
        return torch.cat([states, torch.sigmoid(logits[:, 7:])], dim=1)
