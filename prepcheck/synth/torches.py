"""The light of a moved-light set: one room, a torch led through it, a flash; and one phone from photo to photo.

Imports nothing of the product but scenes, so that sets can be lit on a machine that only fits.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from prepcheck.synth.camera import Camera, sample_camera
from prepcheck.synth.light import Rig, colour_of, sample_rig
from prepcheck.synth.noise import Field, log_uniform

Array = NDArray[np.float64]

LEAST_MOVED = 15.0
"""Degrees between any two torches of a set in which it moves."""


@dataclass(frozen=True)
class Torch:
    """A torch in a hand: degrees off square, azimuth in degrees, distance and aim in widths of the planes."""

    off_square: float
    azimuth: float
    distance: float
    aim: tuple[float, float]

    @property
    def direction(self) -> Array:
        """Unit vector towards the torch."""
        polar, turn = np.radians([self.off_square, self.azimuth])
        return np.asarray([np.sin(polar) * np.cos(turn), np.sin(polar) * np.sin(turn), np.cos(polar)])


def lead(rng: np.random.Generator, count: int, still: bool) -> list[Torch]:
    """Lead a torch from place to place: by 20 to 90 degrees of azimuth or 20 to 60 of elevation, or hardly at all."""
    aim = rng.normal(0, 0.12, 2)
    torches = [
        Torch(rng.uniform(20, 75), rng.uniform(0, 360), log_uniform(rng, 0.4, 2.0), (float(aim[0]), float(aim[1])))
    ]
    while len(torches) < count:
        torch = _led_on(rng, torches[-1], still)
        if still or all(apart(torch, other) >= LEAST_MOVED for other in torches):
            torches.append(torch)
    return torches


def _led_on(rng: np.random.Generator, torch: Torch, still: bool) -> Torch:
    """Hold a torch somewhere else."""
    off, turn = torch.off_square, torch.azimuth
    if still:
        off, turn = off + rng.uniform(-2, 2), turn + rng.uniform(-3, 3)
    elif rng.random() < 0.3:
        off = min(abs(off + rng.uniform(20, 60) * (1 if off < 45 else -1)), 80.0)
    else:
        turn += rng.uniform(20, 90) * rng.choice([-1, 1])
    u, v = np.add(torch.aim, rng.normal(0, 0.03, 2))
    distance = torch.distance * np.exp(rng.normal(0, 0.02 if still else 0.12))
    return Torch(float(off), float(turn % 360), float(distance), (float(u), float(v)))


def apart(torch: Torch, other: Torch) -> float:
    """Angle between the directions of two torches, in degrees."""
    return float(np.degrees(np.arccos(np.clip(torch.direction @ other.direction, -1, 1))))


def draw_room(rng: np.random.Generator) -> Rig:
    """Draw the surroundings' light and a torch's beam; in most rooms little light but the torch's."""
    kinds = ("torch", "tubes", "door", "flat", "mixed")
    rig = sample_rig(rng, str(rng.choice(kinds, p=[0.6, 0.12, 0.12, 0.08, 0.08])))
    rig.lamp_cone[0], rig.lamp_size[0] = log_uniform(rng, 0.25, 1.2), log_uniform(rng, 0.01, 0.1)
    rig.shadows[1, 4] = 0.0
    return rig


def aimed(room: Rig, torch: Torch, power: Array) -> Rig:
    """Hold the torch of a room somewhere."""
    at, aim, colour = room.lamp_at.copy(), room.lamp_aim.copy(), room.lamp_colour.copy()
    at[0], aim[0, :2], colour[0] = torch.distance * torch.direction, torch.aim, power
    return replace(room, lamp_at=at, lamp_aim=aim, lamp_colour=colour)


def with_flash(rng: np.random.Generator, rig: Rig, at: Field) -> Rig:
    """Fire the phone's flash, beside its lens."""
    place, colour, size = rig.lamp_at.copy(), rig.lamp_colour.copy(), rig.lamp_size.copy()
    place[2] = at + rng.normal(0, 0.03, 3).astype(np.float32)
    colour[2] = colour_of(rng, 0.1) * log_uniform(rng, 0.8, 3) * float(np.sum(np.square(at))) * np.pi
    size[2] = log_uniform(rng, 0.008, 0.03)
    return replace(rig, lamp_at=place, lamp_colour=colour, lamp_size=size)


def another(rng: np.random.Generator, phone: Camera) -> Camera:
    """Take another photo with the same phone: its response stays, exposure, balance, focus and noise are new."""
    once = sample_camera(rng)
    gain = log_uniform(rng, 0.6, 1.7)
    red, green, blue = (float(b * np.exp(rng.normal(0, 0.04))) for b in phone.balance)
    return replace(
        phone, grey=phone.grey * float(np.exp(rng.normal(0, 0.2))), balance=(red, green, blue), blur=once.blur,
        motion=once.motion, motion_angle=once.motion_angle, shot=phone.shot * gain, read=phone.read * gain,
        quality=max(phone.quality, 70),
    )  # fmt: skip
