"""Moved-light sets on the training device: lit, photographed, seen by the eye, and laid over their first photo.

As in :mod:`prepcheck.synth.sets`: one room, a torch led from place to place, a hand that does not hold still. The planes are
those of :mod:`prepcheck.surface.moved_net`, built in torch; what both sides share stands in :mod:`prepcheck.moved_planes`.
"""

from __future__ import annotations

import multiprocessing
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
import torch
from numpy.typing import NDArray
from torch.nn import functional

from prepcheck.moved_planes import (
    FINEST,
    LEAST_LIGHT,
    LUMINANCE,
    MOST_LIGHT,
    MOST_LOGIT,
    NARROW,
    ODDS_SCALE,
    WIDE,
)
from prepcheck.synth.camera import sample_camera
from prepcheck.synth.light import Rig, colour_of
from prepcheck.synth.noise import log_uniform
from prepcheck.synth.torches import aimed, another, draw_room, lead, with_flash
from prepcheck.terms import State
from prepcheck.train import augment, lit
from prepcheck.train.feed import Batch, wait_for_scenes
from prepcheck.train.losses import BURNT
from prepcheck.train.net import Eye
from prepcheck.train.stock import Library, Scene, ahead

MOST = 3
"""Photos of a lit set; a batch takes two or three of them."""

FIRST = 60
"""Sets lit before the first step."""

TILT, ROLL, SIZE, AIM = 0.02, np.radians(2.5), 0.03, 0.05
"""Standard deviations of a hand's shake: slope of the view per height (2.5 degrees at arm's length), radians, log, heights."""

SLIP_PX = 0.7
"""Standard deviation of what alignment leaves over on each axis, px of a photo with a long side of 1280."""

LEAST_GLARE = 1 / 64
"""Share of a burnt-out neighbour from which a place counts as burnt out: OpenCV rounds shares to 1/32."""


@dataclass(frozen=True)
class SetBatch(Batch):
    """Sets in place of single pictures.

    Attributes
    ----------
    pictures : tensor of float32, shape (B, n, PLANES, h, w)
        What the net sees of each photo.
    truth : tensor of uint8, shape (B, 3, h, w)
        State, ground and care in the frame of the first.
    burnt : tensor of float32, shape (B, h, w)
        1 where no photo shows anything.
    labels : tensor of float32, shape (B, h, w)
        Log odds of bright metal by the mean of the photos.
    """


class LitSets:
    """Linear pictures of scenes under `MOST` lights each; the oldest make room for new ones."""

    def __init__(self, capacity: int, shape: tuple[int, int], device: Any) -> None:
        self.light = torch.empty((capacity, MOST, 3, *shape), dtype=torch.float16, device=device)
        self.truth = torch.empty((capacity, 3, *shape), dtype=torch.uint8, device=device)
        self.count = 0

    def __len__(self) -> int:
        return min(self.count, len(self.light))

    def add(self, scene: Scene, rng: np.random.Generator, rooms: list[Rig], samples: int) -> None:
        """Light a scene `MOST` times and keep the pictures."""
        planes = torch.from_numpy(scene.planes).to(self.light.device)
        pictures = mixed(rng, planes) if scene.rendered else led(rng, planes, rooms, samples)
        place = self.count % len(self.light)
        level = pictures.mean((1, 2, 3), keepdim=True).clip(1e-6)
        self.light[place] = (pictures / level).clip(0, 6e4).half()
        self.truth[place] = torch.from_numpy(scene.truth).to(self.light.device)
        self.count += 1

    def draw(self, rng: np.random.Generator, sets: int, photos: int) -> tuple[Any, Any]:
        """Give linear pictures (B, n, 3, H, W) and truth (B, 3, H, W) of random sets, photos in any order."""
        chosen = rng.integers(len(self), size=sets)
        order = np.stack([rng.permutation(MOST)[:photos] for _ in range(sets)])
        index, order = (torch.as_tensor(a, device=self.light.device) for a in (chosen, order))
        return self.light[index[:, None], order].float(), self.truth[index]


def led(rng: np.random.Generator, planes: Any, rooms: list[Rig], samples: int) -> Any:
    """Light a packed scene, shape (12, H, W), by a torch led from place to place: linear pictures (MOST, 3, H, W)."""
    rows, cols = planes.shape[-2:]
    case = rng.random()
    rigs = lights(rng, rooms[rng.integers(len(rooms))], still=case < 0.1, flash=case > 0.9)
    scale = torch.full((MOST,), float(np.exp(rng.uniform(np.log(0.8), np.log(1.25))) * cols), device=planes.device)
    middle = torch.tensor([[cols / 2, rows / 2]], device=planes.device).expand(MOST, 2)
    return lit.light_up(planes.expand(MOST, *planes.shape), rigs, middle, scale, samples)


def lights(rng: np.random.Generator, room: Rig, still: bool, flash: bool) -> list[Rig]:
    """Lead a torch through a room: one rig for each photo; the flash is on in one of them if `flash`."""
    torches = lead(rng, MOST, still)
    power = colour_of(rng, 0.2) * log_uniform(rng, 0.5, 3.5) * torches[0].distance ** 2 * np.pi
    flashed = int(rng.integers(MOST)) if flash else -1
    rigs = []
    for k, torch_held in enumerate(torches):
        at = (room.camera + rng.normal(0, 0.03, 3)).astype(np.float32)
        rig = replace(aimed(room, torch_held, power), camera=at)
        rigs.append(with_flash(rng, rig, at) if k == flashed else rig)
    return rigs


def mixed(rng: np.random.Generator, lights_of: Any) -> Any:
    """Mix a rendered scene's lights, shape (L, 3, H, W), so that another one leads in each picture: (MOST, 3, H, W)."""
    count = len(lights_of)
    leader = np.resize(rng.permutation(count), MOST)
    power = np.exp(rng.normal(-1.5, 0.8, (MOST, count)))
    power[np.arange(MOST), leader] = np.exp(rng.normal(0.7, 0.5, MOST))
    weights = power[..., None] * np.stack([colour_of(rng, 0.15) for _ in range(count)])
    pictures = lights_of.float()
    level = pictures.mean((1, 2, 3)).clip(1e-6).view(1, -1, 1)
    share = torch.as_tensor(weights, dtype=torch.float32, device=pictures.device) / level
    return torch.einsum("nlc,lchw->nchw", share, pictures)


def _room(seed: tuple[int, int, int]) -> Rig:
    """Draw one room (in a worker process)."""
    return draw_room(np.random.default_rng(seed))


def room_pool(seed: int, count: int, workers: int) -> list[Rig]:
    """Draw `count` rooms in worker processes."""
    with multiprocessing.get_context("spawn").Pool(workers) as pool:
        return pool.map(_room, [(seed, k, 1) for k in range(count)], chunksize=8)


@dataclass(frozen=True)
class Sight:
    """The frozen eye as it will be exported: its temperature and prior of oxide, and how the map is smoothed (map pixels)."""

    eye: Eye
    temperature: float
    oxide_bias: float
    smoothing_px: float

    def look(self, photos: Any) -> tuple[Any, Any, Any]:
        """Return chances (B, 7, h, w), ground (B, h, w), and 1 where burnt out (B, 1, h, w), of photos (B, 3, H, W) in 0..1."""
        kind = photos.device.type
        with torch.autocast(kind, torch.bfloat16, enabled=kind == "cuda"):
            logits = self.eye(photos.contiguous(memory_format=torch.channels_last))
        logits = logits.float().contiguous()
        scaled = logits[:, :7] / self.temperature
        scaled[:, State.OXIDE] += self.oxide_bias
        burnt = (photos.amin(1, keepdim=True) >= BURNT - 0.5 / 255).float()
        chances = smoothed(torch.softmax(scaled, 1), self.smoothing_px)
        return chances, torch.sigmoid(logits[:, 7]), functional.max_pool2d(burnt, 2)


def smoothed(chances: Any, spread: float) -> Any:
    """Average chances (B, c, h, w) as :func:`prepcheck.surface.mapping.smoothed` does."""
    if spread == 0:
        return chances
    side = round(spread * 4 * 2 + 1) | 1  # as OpenCV takes it for float32
    row = torch.as_tensor(cv2.getGaussianKernel(side, spread, cv2.CV_32F)[:, 0], device=chances.device)
    x = functional.pad(chances, (side // 2,) * 4, mode="reflect").flatten(0, 1)[:, None]
    x = functional.conv2d(functional.conv2d(x, row.view(1, 1, -1, 1)), row.view(1, 1, 1, -1))
    return x.view(chances.shape)


def log_light(photos: Any) -> Any:
    """Log of linear brightness at half size, (B, 3, H, W) to (B, 1, h, w); photos are whole steps of 255 first, as a file's."""
    bytes_ = functional.avg_pool2d((photos * 255).round(), 2)
    linear = ((bytes_ + 0.5).floor() / 255) ** 2.2
    weights = torch.tensor(LUMINANCE, device=photos.device).view(1, 3, 1, 1)
    return torch.log((linear * weights).sum(1, keepdim=True) + LEAST_LIGHT)


def warped(planes: Any, matrices: Any, padding: str = "border") -> Any:
    """Resample planes (B, c, h, w) at `matrices` (B, 3, 3): from pixels of the result to those of `planes`."""
    rows, cols = planes.shape[-2:]
    device = planes.device
    y, x = torch.meshgrid(
        torch.arange(rows, device=device).float(), torch.arange(cols, device=device).float(), indexing="ij"
    )
    points = torch.stack([x, y, torch.ones_like(x)], -1).view(1, -1, 3) @ matrices.to(device).float().transpose(1, 2)
    places = points[..., :2] / points[..., 2:]
    side = torch.tensor([cols - 1.0, rows - 1.0], device=device)
    grid = (places * 2 / side - 1).view(-1, rows, cols, 2)
    return functional.grid_sample(planes, grid, "bilinear", padding, True)


def lay_over(stack: Any, places: Any, shape: tuple[int, int]) -> tuple[Any, Any, Any]:
    """Lay maps and brightness over the first photo of each set.

    Parameters
    ----------
    stack : tensor, shape (B * n, 10, h, w)
        Seven chances, ground, log of brightness, and 1 where burnt out.
    places : tensor, shape (B * n, 3, 3)
        Homographies from map pixels of the first photo to those of each.
    shape : (int, int)
        B and n.

    Returns
    -------
    tensors
        Planes (B, n, PLANES, h, w), log odds of the mean (B, h, w), and 1 where no photo shows anything (B, h, w).
    """
    chances, ground, light, glare = warped(stack, places).split([7, 1, 1, 1], 1)
    covers = (warped(torch.ones_like(glare), places, "zeros") > 0.99).float()
    seen = (covers * (glare < LEAST_GLARE)).unflatten(0, shape)
    none = (seen.amax(1) == 0).float()
    seen[:, 0] = torch.maximum(seen[:, 0], none)
    planes = planes_of(chances, ground, light, covers, seen.flatten(0, 1)).unflatten(0, shape)
    return planes, mean_odds(chances.unflatten(0, shape), seen), none[:, 0]


def planes_of(chances: Any, ground: Any, light: Any, covers: Any, seen: Any) -> Any:
    """Lay out what the net sees of each photo, all in the frame of the first.

    The torch side of :func:`prepcheck.surface.moved_net.planes_of`; `chances` (B, 7, h, w), all others (B, 1, h, w).
    """
    kinds = chances[:, [State.BRIGHT, State.OXIDE, State.COATING, State.FOREIGN]]
    odds = log_odds(torch.cat([kinds, ground], 1)) / ODDS_SCALE
    likely = ground * covers
    total = likely.sum((2, 3), keepdim=True).clip(1e-3)
    level = light - (light * likely).sum((2, 3), keepdim=True) / total
    lights = torch.cat([level, *(light - _square(light, side) for side in (WIDE, NARROW, FINEST))], 1)
    return torch.cat([odds, lights.clip(-MOST_LIGHT, MOST_LIGHT), seen], 1)


def _square(plane: Any, side: int) -> Any:
    x = functional.pad(plane, (side // 2,) * 4, mode="replicate")
    return functional.avg_pool2d(functional.avg_pool2d(x, (side, 1), 1), (1, side), 1)


def log_odds(chance: Any) -> Any:
    """Return ln(p / (1 - p)), cut as in the evidence."""
    p = chance.clip(1e-6, 1 - 1e-6)
    return (torch.log(p) - torch.log1p(-p)).clip(-MOST_LOGIT, MOST_LOGIT)


def mean_odds(chances: Any, seen: Any) -> Any:
    """Log odds of bright metal by the mean of log probabilities: (B, n, 7, h, w) and (B, n, 1, h, w) to (B, h, w)."""
    logs = chances.clip(1e-6, 1).log()
    mean = (logs * seen).sum(1) / seen.sum(1)
    return log_odds(torch.softmax(mean, 1)[:, State.BRIGHT])


def shakes(rng: np.random.Generator, count: int) -> NDArray[np.float64]:
    """Draw shakes of a hand, shape (count, 3, 3): from places in another photo to those in the first, in heights."""
    turn, size = rng.normal(0, ROLL, count), np.exp(rng.normal(0, SIZE, count))
    matrices = np.tile(np.eye(3), (count, 1, 1))
    matrices[:, 0, 0] = matrices[:, 1, 1] = size * np.cos(turn)
    matrices[:, 1, 0] = size * np.sin(turn)
    matrices[:, 0, 1] = -matrices[:, 1, 0]
    matrices[:, :2, 2], matrices[:, 2, :2] = rng.normal(0, AIM, (count, 2)), rng.normal(0, TILT, (count, 2))
    return matrices


def back(rng: np.random.Generator, matrices: NDArray[np.float64], size: tuple[int, int]) -> NDArray[np.float64]:
    """Turn shakes into homographies from map pixels of the first photo to those of each, a slip left over.

    `size` is that of the photos, (rows, columns); their maps are half as large.
    """
    half = (size[0] - 1) / 2
    to_heights = np.array([[2, 0, 0.5], [0, 2, 0.5], [0, 0, 1.0]])
    to_heights = np.array([[1, 0, -(size[1] - 1) / 2], [0, 1, -half], [0, 0, half]]) @ to_heights
    slip = np.tile(np.eye(3), (len(matrices), 1, 1))
    slip[:, :2, 2] = rng.normal(0, SLIP_PX / 2, (len(matrices), 2))
    return np.asarray(slip @ np.linalg.inv(to_heights) @ np.linalg.inv(matrices) @ to_heights)


class SetFeed:
    """Makes batches of sets without end.

    Parameters
    ----------
    library : Library
        Scenes, on disk and in memory.
    sight : Sight
        The eye, on `device`.
    rooms : list of Rig
        Rooms to lead a torch through.
    sets, ring, refresh, samples : int, int, float, int
        Sets of a batch; lit sets kept; sets lit anew for each batch; half vectors a pixel when lighting.
    rendered : float
        Share of rendered scenes among the sets lit anew.
    """

    def __init__(
        self, library: Library, sight: Sight, rooms: list[Rig], device: Any, *, sets: int, ring: int, refresh: float,
        samples: int, rendered: float, seed: int, workers: int,
    ) -> None:  # fmt: skip
        self.sight, self.rooms, self.sets, self.refresh, self.samples = sight, rooms, sets, refresh, samples
        self.rng = np.random.default_rng(seed)
        wait_for_scenes(library)
        self.scenes = ahead(lambda r: library.draw(r, rendered), workers, 16, seed)
        shape = next(self.scenes).truth.shape
        self.ring = LitSets(ring, (shape[1], shape[2]), device)
        self.owed = float(min(FIRST, ring))

    def batch(self) -> SetBatch:
        """Light some sets anew and make one batch."""
        with torch.no_grad():
            self.owed += self.refresh
            while self.owed >= 1:
                self.ring.add(next(self.scenes), self.rng, self.rooms, self.samples)
                self.owed -= 1
            photos = int(self.rng.choice([2, 3], p=[0.4, 0.6]))
            return self._laid(*self.ring.draw(self.rng, self.sets, photos))

    def _laid(self, linear: Any, truth: Any) -> SetBatch:
        """Photograph sets (B, n, 3, H, W) by hand, look at them, and lay them over their first photo."""
        sets, count, _, rows, cols = linear.shape
        rng, size = self.rng, (rows, cols)
        base = augment.views(rng, sets, (0.75, 1.05), 0.3, rng.normal(0, 0.05, (sets, 2)))
        hand = shakes(rng, sets * count).reshape(sets, count, 3, 3)
        hand[:, 0] = np.eye(3)
        moved = base[:, None] @ torch.from_numpy(hand).float()
        repeated = truth[:, None].expand(-1, count, -1, -1, -1).flatten(0, 1)
        seen, told = augment.change_view(linear.flatten(0, 1), repeated, moved.flatten(0, 1), size)
        phones = [sample_camera(rng) for _ in range(sets)]
        photos = augment.expose(seen, [another(rng, phone) for phone in phones for _ in range(count)])
        places = back(rng, hand.reshape(-1, 3, 3), size)
        places.reshape(sets, count, 3, 3)[:, 0] = np.eye(3)
        photos = (photos * 255).round() / 255
        chances, ground, burnt = self.sight.look(photos)
        stack = torch.cat([chances, ground[:, None], log_light(photos), burnt], 1)
        planes, mean, burnt = lay_over(stack, torch.from_numpy(places), (sets, count))
        first = told.unflatten(0, (sets, count))[:, 0, :, ::2, ::2]
        return SetBatch(planes, first.contiguous(), burnt, mean)
