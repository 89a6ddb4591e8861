"""A phone's camera: exposure, white balance, lens and motion blur, noise, tone curve, local contrast, sharpening, JPEG."""

from __future__ import annotations

from dataclasses import asdict, dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.synth.noise import Field, log_uniform


@dataclass(frozen=True)
class Camera:
    """Settings of one exposure.

    Attributes
    ----------
    grey : float
        Linear value (1: full scale) that the picture's brightness is exposed to.
    anchor : float
        Which quantile of the luminance is put there (0.5 median, 0.95 protects highlights).
    balance : tuple of float
        Gains of red, green and blue left over after white balance.
    vignette, hdr, contrast, sharpen : float
        Corner loss; strength of local tone mapping; s-curve; unsharp amount.
    blur, motion, motion_angle : float
        Gaussian blur (px), motion length (px) and direction (radians).
    shot, read : float
        Noise variance per linear unit, and read noise standard deviation.
    quality : int
        JPEG quality.
    """

    grey: float
    anchor: float
    balance: tuple[float, float, float]
    vignette: float
    hdr: float
    contrast: float
    sharpen: float
    blur: float
    motion: float
    motion_angle: float
    shot: float
    read: float
    saturation: float
    quality: int

    def as_dict(self) -> dict[str, object]:
        """Plain values, for a scene's meta file."""
        return asdict(self)


def sample_camera(rng: np.random.Generator) -> Camera:
    """Draw the settings of one exposure."""
    noisy = log_uniform(rng, 0.05, 1.0) if rng.random() < 0.7 else log_uniform(rng, 1.0, 4.0)
    balance = np.exp(np.asarray([1, 0, -1]) * rng.normal(0, 0.12) + rng.normal(0, 0.03, 3))
    median = rng.random() < 0.4
    return Camera(
        grey=log_uniform(rng, 0.07, 0.35) if median else log_uniform(rng, 0.3, 1.1),
        anchor=0.5 if median else 0.93,
        balance=(float(balance[0]), float(balance[1]), float(balance[2])),
        vignette=float(rng.uniform(0, 0.45)),
        hdr=float(rng.uniform(0, 0.6)) if rng.random() < 0.5 else 0.0,
        contrast=float(rng.uniform(-0.15, 0.5)),
        sharpen=float(rng.uniform(0, 1.2)),
        blur=float(rng.uniform(0.3, 0.9)) if rng.random() < 0.75 else float(rng.uniform(0.9, 2.6)),
        motion=0.0 if rng.random() < 0.85 else float(rng.uniform(1.5, 7)),
        motion_angle=float(rng.uniform(0, np.pi)),
        shot=0.0012 * noisy,
        read=0.004 * noisy,
        saturation=float(rng.uniform(0.75, 1.35)),
        quality=int(rng.integers(45, 97)),
    )


def encode_srgb(linear: Field) -> Field:
    """Apply the sRGB transfer function (IEC 61966-2-1) to linear values in 0..1."""
    low = linear * 12.92
    high = 1.055 * np.power(np.maximum(linear, 0.0031308), 1 / 2.4) - 0.055
    return np.asarray(np.where(linear <= 0.0031308, low, high), np.float32)


def expose(rng: np.random.Generator, linear: Field, camera: Camera) -> NDArray[np.uint8]:
    """Turn radiance into an 8-bit photograph.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of the noise.
    linear : ndarray of float32, shape (H, W, 3)
        Linear RGB radiance in any unit.
    camera : Camera
        Settings.

    Returns
    -------
    ndarray of uint8, shape (H, W, 3)
        RGB as decoded from the camera's JPEG.
    """
    picture = _lens(linear, camera)
    luminance = picture.mean(axis=2)
    gain = camera.grey / max(float(np.quantile(luminance[::4, ::4], camera.anchor)), 1e-6)
    picture = picture * np.asarray(camera.balance, np.float32) * np.float32(gain)
    noise = np.sqrt(camera.shot * np.clip(picture, 0, 1) + camera.read**2) * rng.standard_normal(
        picture.shape, np.float32
    )
    return jpeg(develop(np.clip(picture + noise, 0, None), camera), camera.quality)


def _lens(linear: Field, camera: Camera) -> Field:
    """Blur by focus and motion, darken the corners."""
    picture = cv2.GaussianBlur(linear, (0, 0), camera.blur)
    if camera.motion > 0:
        size = int(camera.motion) * 2 + 1
        kernel = np.zeros((size, size), np.float32)
        reach = 0.5 * camera.motion * np.asarray([np.cos(camera.motion_angle), np.sin(camera.motion_angle)])
        middle = np.full(2, size // 2)
        ends = [np.round(middle + s * reach).astype(int).tolist() for s in (-1, 1)]
        cv2.line(kernel, ends[0], ends[1], 1.0)
        picture = cv2.filter2D(picture, -1, kernel / kernel.sum())
    rows, cols = linear.shape[:2]
    y, x = np.mgrid[-1 : 1 : rows * 1j, -1 : 1 : cols * 1j].astype(np.float32)
    return np.asarray(picture * (1 - camera.vignette * 0.5 * (x * x + y * y))[..., None], np.float32)


def develop(linear: Field, camera: Camera) -> Field:
    """Local tone mapping, tone curve, saturation and sharpening; returns sRGB values in 0..1."""
    if camera.hdr > 0:
        around = cv2.GaussianBlur(np.clip(linear.mean(axis=2), 0, 2), (0, 0), 0.06 * linear.shape[1])
        linear = linear * np.power((around + 0.05) / 0.25, -camera.hdr)[..., None]
    shoulder = np.where(linear < 0.8, linear, 0.8 + 0.2 * (1 - np.exp(-(linear - 0.8) / 0.2)))
    coded = encode_srgb(np.clip(np.asarray(shoulder, np.float32), 0, 1))
    coded = coded + np.float32(camera.contrast) * coded * (1 - coded) * (2 * coded - 1)
    grey = coded.mean(axis=2, keepdims=True)
    coded = grey + np.float32(camera.saturation) * (coded - grey)
    if camera.sharpen > 0:
        coded = coded + np.float32(camera.sharpen) * (coded - cv2.GaussianBlur(coded, (0, 0), 1.2))
    return np.asarray(np.clip(coded, 0, 1), np.float32)


def jpeg(coded: Field, quality: int) -> NDArray[np.uint8]:
    """Encode sRGB values as JPEG and decode again; uint8 RGB."""
    bgr = np.round(coded[..., ::-1] * 255).astype(np.uint8)
    data = cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, quality])[1]
    return np.ascontiguousarray(np.asarray(cv2.imdecode(data, cv2.IMREAD_COLOR), np.uint8)[..., ::-1])
