"""The camera of :mod:`prepcheck.synth.camera` on the training device, a batch at a time, and changes of view."""

from __future__ import annotations

from typing import Any

import numpy as np
import torch
from numpy.typing import NDArray
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


def views(
    rng: np.random.Generator, count: int, zoom: tuple[float, float], turn: float, aims: NDArray[np.float64]
) -> Any:
    """Draw changes of view: zoom, turn (radians), shear, mirror, tilt, aim.

    Returns
    -------
    tensor of float32, shape (B, 3, 3)
        From window to picture, both in heights from the middle; `zoom` is the picture's part that the window spans.
    """
    out = np.zeros((count, 3, 3), np.float32)
    for k in range(count):
        angle = rng.uniform(-turn, turn) + rng.integers(4) * np.pi / 2 * (turn > 1)
        size = np.exp(rng.uniform(np.log(zoom[0]), np.log(zoom[1])))
        c, s = np.cos(angle) * size, np.sin(angle) * size
        flip = np.diag([rng.choice([-1.0, 1.0]), rng.choice([-1.0, 1.0])])
        squeeze = np.diag(np.exp(rng.normal(0, 0.08, 2)))
        out[k, :2, :2] = np.asarray([[c, -s], [s, c]]) @ flip @ squeeze
        out[k, :2, 2] = aims[k]
        out[k, 2] = [*rng.normal(0, 0.08, 2), 1.0]
    return torch.from_numpy(out)


def change_view(pictures: Any, truth: Any, matrices: Any, size: tuple[int, int]) -> tuple[Any, Any]:
    """Resample pictures (bilinear) and truth (nearest, uint8, shape (B, C, H, W)) through `matrices`."""
    device = pictures.device
    y, x = torch.meshgrid(
        torch.linspace(-1, 1, size[0], device=device), torch.linspace(-1, 1, size[1], device=device), indexing="ij"
    )
    aspect = pictures.shape[3] / pictures.shape[2]
    points = torch.stack([x * (size[1] / size[0]), y, torch.ones_like(x)], -1).view(1, -1, 3)
    moved = points @ matrices.to(device).transpose(1, 2)
    moved = moved[..., :2] / moved[..., 2:].clip(0.3)
    grid = (moved / torch.tensor([aspect, 1.0], device=device)).view(-1, size[0], size[1], 2)
    seen = functional.grid_sample(pictures.float(), grid, "bilinear", "reflection", True)
    told = functional.grid_sample(truth.float(), grid, "nearest", "reflection", True)
    return seen, told.round().to(torch.uint8)


def expose(linear: Any, cameras: list[Camera]) -> Any:
    """Photographs (sRGB 0..1, shape (B, 3, H, W)) of linear pictures, one camera each."""
    device = linear.device

    def numbers(values: Any) -> Any:
        return torch.as_tensor(np.asarray(list(values), np.float32), device=device).view(len(cameras), -1, 1, 1)

    picture = _lens(linear, cameras)
    luminance = picture.mean(1)[:, ::8, ::8].flatten(1)
    ranks = torch.as_tensor([round(c.anchor * (luminance.shape[1] - 1)) for c in cameras], device=device)
    level = luminance.sort(1).values.gather(1, ranks.view(-1, 1)).view(-1, 1, 1, 1)
    gain = numbers(c.grey for c in cameras) / level.clip(1e-6)
    picture = picture * gain * numbers(c.balance for c in cameras)
    noise = (numbers(c.shot for c in cameras) * picture.clip(0, 1) + numbers(c.read**2 for c in cameras)).sqrt()
    picture = (picture + noise * torch.randn_like(picture)).clip(0)
    smooth = torch.rand(len(cameras), device=device) * 1.2 - 0.4  # noise reduction of two phones in three
    picture = _blur(picture, smooth.clip(0.05), 2)
    coded = _develop(picture, cameras, numbers)
    keep = torch.as_tensor([c.quality >= 93 for c in cameras], device=device).view(-1, 1, 1, 1)
    return torch.where(keep, coded, jpeg(coded, numbers(c.quality for c in cameras))).clip(0, 1)


def _blur(picture: Any, sigma: Any, taps: int) -> Any:
    """Gaussian blur by `sigma` pixels, shape (B,), up to `taps` pixels away, one axis after the other."""
    steps = torch.arange(-taps, taps + 1, device=picture.device, dtype=torch.float32)
    weights = torch.exp(-0.5 * (steps.view(1, -1) / sigma.view(-1, 1).clip(0.05)) ** 2)
    weights = (weights / weights.sum(1, keepdim=True)).view(len(picture), -1, 1, 1, 1)
    for axis, frame in ((3, (taps, taps, 0, 0)), (2, (0, 0, taps, taps))):
        padded = functional.pad(picture, frame, mode="replicate")
        length = picture.shape[axis]
        total = weights[:, 0] * padded.narrow(axis, 0, length)
        for k in range(1, 2 * taps + 1):
            total = torch.addcmul(total, weights[:, k], padded.narrow(axis, k, length))
        picture = total
    return picture


def _smear(picture: Any, cameras: list[Camera]) -> Any:
    """Motion blur of the few pictures whose camera moved: the mean of nine places along the way."""
    moved = [k for k, c in enumerate(cameras) if c.motion > 0]
    if not moved:
        return picture
    rows, cols = picture.shape[2:]
    still = picture[moved]
    total = torch.zeros_like(still)
    base = torch.eye(2, 3, device=picture.device).repeat(len(moved), 1, 1)
    way = [
        (c.motion * np.cos(c.motion_angle) / cols, c.motion * np.sin(c.motion_angle) / rows)
        for c in cameras
        if c.motion > 0
    ]
    for step in np.linspace(-1, 1, 9):
        base[:, :, 2] = torch.as_tensor(np.asarray(way, np.float32) * np.float32(step), device=picture.device)
        grid = functional.affine_grid(base, list(still.shape), align_corners=False)
        total = total + functional.grid_sample(still, grid, "bilinear", "border", False)
    picture = picture.clone()
    picture[moved] = total / 9
    return picture


def _lens(linear: Any, cameras: list[Camera]) -> Any:
    """Blur by focus and motion, darken the corners."""
    rows, cols = linear.shape[2:]
    sigma = torch.as_tensor([c.blur for c in cameras], device=linear.device, dtype=torch.float32)
    blurred = _smear(_blur(linear, sigma, 5), cameras)
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
