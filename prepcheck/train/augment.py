"""The camera of :mod:`prepcheck.synth.camera` on the training device, a batch at a time, and changes of view."""

from __future__ import annotations

from typing import Any

import numpy as np
import torch
from torch.nn import functional

from prepcheck.synth.camera import Camera

LUMA = np.asarray(
    [
        [16, 11, 10, 16, 24, 40, 51, 61], [12, 12, 14, 19, 26, 58, 60, 55], [14, 13, 16, 24, 40, 57, 69, 56],
        [14, 17, 22, 29, 51, 87, 80, 62], [18, 22, 37, 56, 68, 109, 103, 77], [24, 35, 55, 64, 81, 104, 113, 92],
        [49, 64, 78, 87, 103, 121, 120, 101], [72, 92, 95, 98, 112, 100, 103, 99],
    ],
    np.float32,
)  # fmt: skip
"""Luminance quantisation table of JPEG (ITU-T T.81, annex K, table K.1)."""


def view_matrices(rng: np.random.Generator, count: int, zoom: tuple[float, float], turn: float) -> Any:
    """Draw changes of view as 3 x 3 matrices in -1..1 coordinates: zoom, turn (radians), shear, mirror, tilt."""
    out = np.zeros((count, 3, 3), np.float32)
    for k in range(count):
        angle = rng.uniform(-turn, turn) + rng.integers(4) * np.pi / 2 * (turn > 1)
        size = np.exp(rng.uniform(np.log(zoom[0]), np.log(zoom[1])))
        c, s = np.cos(angle) * size, np.sin(angle) * size
        flip = np.diag([rng.choice([-1.0, 1.0]), rng.choice([-1.0, 1.0])])
        squeeze = np.diag(np.exp(rng.normal(0, 0.08, 2)))
        out[k, :2, :2] = np.asarray([[c, -s], [s, c]]) @ flip @ squeeze
        out[k, :2, 2] = rng.normal(0, 0.1, 2)
        out[k, 2] = [*rng.normal(0, 0.08, 2), 1.0]
    return torch.from_numpy(out)


def change_view(pictures: Any, labels: Any, matrices: Any, size: tuple[int, int]) -> tuple[Any, Any]:
    """Resample pictures (bilinear) and labels (nearest, uint8, shape (B, C, H, W)) through `matrices`."""
    device = pictures.device
    y, x = torch.meshgrid(
        torch.linspace(-1, 1, size[0], device=device), torch.linspace(-1, 1, size[1], device=device), indexing="ij"
    )
    aspect = pictures.shape[3] / pictures.shape[2]
    points = torch.stack([x * (size[1] / size[0]), y, torch.ones_like(x)], -1).view(1, -1, 3)
    moved = points @ matrices.to(device).transpose(1, 2)
    moved = moved[..., :2] / moved[..., 2:].clip(0.3)
    moved = moved / torch.tensor([aspect, 1.0], device=device)
    grid = moved.view(-1, size[0], size[1], 2)
    seen = functional.grid_sample(pictures, grid, "bilinear", "reflection", True)
    truth = functional.grid_sample(labels.float(), grid, "nearest", "reflection", True)
    return seen, truth.round().to(torch.uint8)


def expose(linear: Any, cameras: list[Camera]) -> Any:
    """Photographs (sRGB 0..1, shape (B, 3, H, W)) of linear pictures, one camera each."""
    device = linear.device

    def numbers(values: Any) -> Any:
        return torch.as_tensor(np.asarray(list(values), np.float32), device=device).view(len(cameras), -1, 1, 1)

    picture = _lens(linear, cameras)
    luminance = picture.mean(1)[:, ::8, ::8].flatten(1)
    level = torch.stack([luminance[k].quantile(c.anchor) for k, c in enumerate(cameras)]).view(-1, 1, 1, 1)
    gain = numbers(c.grey for c in cameras) / level.clip(1e-6)
    picture = picture * gain * numbers(c.balance for c in cameras)
    noise = (numbers(c.shot for c in cameras) * picture.clip(0, 1) + numbers(c.read**2 for c in cameras)).sqrt()
    picture = (picture + noise * torch.randn_like(picture)).clip(0)
    coded = _develop(picture, cameras, numbers)
    keep = torch.as_tensor([c.quality >= 93 for c in cameras], device=device).view(-1, 1, 1, 1)
    return torch.where(keep, coded, jpeg(coded, numbers(c.quality for c in cameras))).clip(0, 1)


def _kernels(cameras: list[Camera], size: int = 15) -> Any:
    """Blur kernel of each camera, shape (B, 1, size, size): focus times motion."""
    axis = np.arange(size) - size // 2
    x, y = np.meshgrid(axis, axis)
    out = np.zeros((len(cameras), 1, size, size), np.float32)
    for k, c in enumerate(cameras):
        along = x * np.cos(c.motion_angle) + y * np.sin(c.motion_angle)
        across = -x * np.sin(c.motion_angle) + y * np.cos(c.motion_angle)
        wide = np.sqrt(c.blur**2 + (c.motion / 3.46) ** 2)
        kernel = np.exp(-0.5 * (np.square(along / wide) + np.square(across / c.blur)))
        out[k, 0] = kernel / kernel.sum()
    return torch.from_numpy(out)


def _lens(linear: Any, cameras: list[Camera]) -> Any:
    """Blur and darken the corners."""
    count, _, rows, cols = linear.shape
    weights = _kernels(cameras).to(linear.device).repeat_interleave(3, 0)
    padded = functional.pad(linear, (7, 7, 7, 7), mode="replicate").view(1, count * 3, rows + 14, cols + 14)
    blurred = functional.conv2d(padded, weights, groups=count * 3).view(count, 3, rows, cols)
    y = torch.linspace(-1, 1, rows, device=linear.device).view(1, 1, -1, 1)
    x = torch.linspace(-1, 1, cols, device=linear.device).view(1, 1, 1, -1)
    loss = torch.as_tensor([c.vignette * 0.5 for c in cameras], device=linear.device).view(-1, 1, 1, 1)
    return blurred * (1 - loss.float() * (x * x + y * y))


def _develop(linear: Any, cameras: list[Camera], numbers: Any) -> Any:
    """Local tone mapping, tone curve, saturation, sharpening."""
    small = functional.interpolate(linear.mean(1, keepdim=True).clip(0, 2), (12, 16), mode="area")
    around = functional.interpolate(small, linear.shape[2:], mode="bicubic", align_corners=False).clip(0.0)
    linear = linear * ((around + 0.05) / 0.25) ** (-numbers(c.hdr for c in cameras))
    linear = torch.where(linear < 0.8, linear, 0.8 + 0.2 * (1 - torch.exp(-(linear - 0.8) / 0.2))).clip(0, 1)
    coded = torch.where(linear <= 0.0031308, linear * 12.92, 1.055 * linear.clip(0.0031308) ** (1 / 2.4) - 0.055)
    coded = coded + numbers(c.contrast for c in cameras) * coded * (1 - coded) * (2 * coded - 1)
    grey = coded.mean(1, keepdim=True)
    coded = grey + numbers(c.saturation for c in cameras) * (coded - grey)
    padded = functional.pad(coded, (2, 2, 2, 2), mode="replicate")
    soft = functional.avg_pool2d(functional.avg_pool2d(padded, 3, 1), 3, 1)
    return (coded + numbers(c.sharpen for c in cameras) * (coded - soft)).clip(0, 1)


def recolour(rng: np.random.Generator, pictures: Any) -> Any:
    """Vary exposure, gamma, balance, saturation, noise and JPEG of photographs, shape (B, 3, H, W) in 0..1."""
    count = len(pictures)

    def numbers(values: Any) -> Any:
        return torch.as_tensor(np.asarray(values, np.float32), device=pictures.device).view(count, -1, 1, 1)

    x = pictures.clip(1e-4) ** numbers(np.exp(rng.normal(0, 0.22, count)))
    tilt = np.asarray([1, 0, -1]) * rng.normal(0, 0.09, (count, 1)) + rng.normal(0, 0.15, (count, 1))
    x = x * numbers(np.exp(tilt + rng.normal(0, 0.02, (count, 3))))
    grey = x.mean(1, keepdim=True)
    x = grey + numbers(rng.uniform(0.4, 1.4, count)) * (x - grey)
    x = x + numbers(np.abs(rng.normal(0, 0.012, count))) * torch.randn_like(x)
    return jpeg(x.clip(0, 1), numbers(rng.integers(45, 98, count))).clip(0, 1)


def jpeg(coded: Any, quality: Any) -> Any:
    """Quantise 8 x 8 cosine blocks as JPEG does (chroma at half size); `quality` shape (B, 1, 1, 1)."""
    scale = torch.where(quality < 50, 5000 / quality, 200 - 2 * quality) / 100
    red, green, blue = (coded[:, k : k + 1] * 255 for k in range(3))
    luma = 0.299 * red + 0.587 * green + 0.114 * blue
    cb, cr = (blue - luma) * 0.564, (red - luma) * 0.713
    luma = _quantise(luma - 128, scale, LUMA) + 128
    chroma = functional.avg_pool2d(torch.cat([cb, cr], 1), 2)
    chroma = functional.interpolate(
        _quantise(chroma, scale, np.full((8, 8), 60, np.float32)), scale_factor=2, mode="bilinear"
    )
    red, blue = luma + chroma[:, 1:] * 1.403, luma + chroma[:, :1] * 1.773
    green = (luma - 0.299 * red - 0.114 * blue) / 0.587
    return torch.cat([red, green, blue], 1) / 255


def _quantise(plane: Any, scale: Any, table: Any) -> Any:
    """Cosine transform, rounding, and back, on whole 8 x 8 blocks of planes, shape (B, C, H, W)."""
    count, channels, rows, cols = plane.shape
    k = np.arange(8)
    basis = np.cos((2 * k[None] + 1) * k[:, None] * np.pi / 16) * np.where(k[:, None] == 0, np.sqrt(1 / 8), 0.5)
    matrix = torch.as_tensor(basis.astype(np.float32), device=plane.device)
    step = (torch.as_tensor(table, device=plane.device) * scale.view(-1, 1, 1, 1, 1, 1)).clip(1.0).round()
    blocks = plane.reshape(count, channels, rows // 8, 8, cols // 8, 8).permute(0, 1, 2, 4, 3, 5)
    coefficients = ((matrix @ blocks @ matrix.T) / step).round() * step
    return (matrix.T @ coefficients @ matrix).permute(0, 1, 2, 4, 3, 5).reshape(plane.shape)
