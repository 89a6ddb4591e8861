"""Packed scenes lit on the training device: the torch side of :mod:`prepcheck.synth.shade`."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import torch
from torch.nn import functional

from prepcheck.synth.layers import TONES
from prepcheck.synth.light import BLURS, LAMPS, SIZE, Rig
from prepcheck.synth.shade import Numbers, Patch, shade
from prepcheck.train.pool import STEEPEST

ROUGHNESS = (0.03, 0.95)
"""Least and greatest GGX roughness that is lit."""


def unpack(planes: Any, shift: Any, scale: Any) -> Patch:
    """Bytes, shape (B, 12, H, W), to a patch; `shift` (B, 2) middle of the view in pixels, `scale` (B,) its width."""
    rows, cols = planes.shape[-2:]
    device = planes.device
    y = torch.arange(rows, device=device).view(1, rows, 1)
    x = torch.arange(cols, device=device).view(1, 1, cols)
    p = planes[:, :10].float()
    alpha = (p[:, 3:5] / 255.0).clip(ROUGHNESS[0])
    slope = (p[:, :2] - 128.0) / 127.0
    slope = slope * slope.abs() * STEEPEST
    base = (p[:, 6:9] / 255.0).square()
    view = scale.view(-1, 1, 1)
    return Patch(
        ((x - shift[:, 0].view(-1, 1, 1)) / view).expand(-1, rows, -1),
        ((y - shift[:, 1].view(-1, 1, 1)) / view).expand(-1, -1, cols),
        slope[:, 0], slope[:, 1], p[:, 2] * (np.pi / 255.0), alpha[:, 0], alpha[:, 1],
        p[:, 5] / 255.0, (base[:, 0], base[:, 1], base[:, 2]), p[:, 9] / 255.0,
    )  # fmt: skip


def collate(rigs: list[Rig], device: Any) -> tuple[Numbers, Any]:
    """Rigs as broadcastable numbers, and the look-up for their surroundings."""

    def numbers(rows: list[Any]) -> Any:
        return torch.as_tensor(np.asarray(rows, np.float32), device=device).view(-1, 1, 1)

    def vector(rows: list[Any]) -> Any:
        return tuple(numbers([r[i] for r in rows]) for i in range(3))

    lamps = [
        {
            "at": vector([r.lamp_at[k] for r in rigs]),
            "aim": vector([r.lamp_aim[k] for r in rigs]),
            "colour": vector([r.lamp_colour[k] for r in rigs]),
            "cone": numbers([r.lamp_cone[k] for r in rigs]),
            "size": numbers([r.lamp_size[k] for r in rigs]),
        }
        for k in range(LAMPS)
    ]
    shadows = [[numbers([r.shadows[k, i] for r in rigs]) for i in range(5)] for k in range(LAMPS + 1)]
    return Numbers(numbers([r.radius for r in rigs]), vector([r.camera for r in rigs]), lamps, shadows), Sky(
        rigs, device
    )


class Sky:
    """Trilinear look-up in the surroundings maps of a batch."""

    def __init__(self, rigs: list[Rig], device: Any) -> None:
        maps = np.stack([r.maps for r in rigs])
        self.maps = torch.as_tensor(maps, device=device).permute(0, 4, 1, 2, 3).contiguous()
        self.irradiance = torch.as_tensor(np.stack([r.irradiance for r in rigs]), device=device).permute(0, 3, 1, 2)

    def __call__(self, direction: Any, level: Any) -> Any:
        """Radiance of `direction` (need not be unit length) as three planes; level None: irradiance / pi."""
        x, y, z = direction
        scale = 1.0 / (torch.sqrt(x * x + y * y + z * z + 1e-12) + z.clip(0.0))
        u, v = (x * scale).expand_as(z), (y * scale).expand_as(z)
        if level is None:
            grid = torch.stack([u, v], -1)
            return functional.grid_sample(self.irradiance, grid, "bilinear", "border", True).unbind(1)
        depth = level.expand_as(u) * (2.0 / (len(BLURS) - 1)) - 1.0
        grid = torch.stack([u, v, depth], -1).unsqueeze(1)
        return functional.grid_sample(self.maps, grid, "bilinear", "border", True).squeeze(2).unbind(1)


def vary(rng: np.random.Generator, patch: Patch) -> Patch:
    """Make each scene shinier or more satin, its relief flatter or deeper, metal and all else lighter or darker.

    The same marks then meet metal of every finish; what is metal and what is not stays as it was.
    """
    count, device = len(patch.slope_x), patch.slope_x.device

    def factor(spread: float) -> Any:
        return torch.as_tensor(np.exp(rng.normal(0, spread, (count, 1, 1))).astype(np.float32), device=device)

    rough, along, deep = factor(0.35), factor(0.2), factor(0.35)
    tone = patch.metal * factor(0.12) + (1 - patch.metal) * factor(0.12)
    red, green, blue = ((c * tone).clip(*TONES) for c in patch.base)
    return replace(
        patch, slope_x=patch.slope_x * deep, slope_y=patch.slope_y * deep, base=(red, green, blue),
        alpha_u=(patch.alpha_u * rough * along).clip(*ROUGHNESS), alpha_v=(patch.alpha_v * rough).clip(*ROUGHNESS),
    )  # fmt: skip


def light_up(
    planes: Any, rigs: list[Rig], shift: Any, scale: Any, samples: int, rng: np.random.Generator | None = None
) -> Any:
    """Linear pictures of packed scenes, shape (B, 3, H, W); their materials varied if `rng` is given."""
    numbers, sky = collate(rigs, planes.device)
    patch = unpack(planes, shift, scale)
    patch = patch if rng is None else vary(rng, patch)
    return torch.stack(shade(torch, patch, numbers, sky, samples), dim=1)


__all__ = ["SIZE", "Sky", "collate", "light_up", "unpack"]
