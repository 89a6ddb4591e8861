"""Calibration on held-out synthetic scenes: temperature, prior of oxide, the `sure` threshold, the interval; then export."""

from __future__ import annotations

import json
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from prepcheck.settings import Settings
from prepcheck.surface.mapping import at_working_size, sides, smoothed, told
from prepcheck.synth.noise import Field
from prepcheck.terms import State
from prepcheck.train.export import export
from prepcheck.train.fit import averaged

COVERAGE = 0.95
"""Share of true bright and oxide pixels that shall be told."""

HELD = 0.95
"""Share of held-out pictures whose interval shall hold the true bright share."""

BURNT = 250


@dataclass(frozen=True)
class Seen:
    """The readable ground of one picture: chances (N, 7) float32 and true states (N,), burnt-out pixels left out."""

    chances: Field
    truth: NDArray[np.uint8]

    @property
    def share(self) -> float:
        """True bright share."""
        return float(np.mean(self.truth == State.BRIGHT))


def degrade(rng: np.random.Generator, image: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Make a picture worse as a phone might: darker or lighter, tinted, blurred, noisy, compressed."""
    x = np.power(image.astype(np.float32) / 255, np.exp(rng.normal(0, 0.15)))
    x *= np.exp(rng.normal(0, 0.06, 3)).astype(np.float32)
    x = cv2.GaussianBlur(x, (0, 0), rng.uniform(0.3, 1.2)) + rng.normal(0, rng.uniform(0, 0.02), x.shape).astype(
        np.float32
    )
    quality = [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(50, 95))]
    data = cv2.imencode(".jpg", (np.clip(x, 0, 1) * 255).astype(np.uint8), quality)[1]
    return np.asarray(cv2.imdecode(data, cv2.IMREAD_COLOR), np.uint8)


def look(net: Any, image: NDArray[np.uint8]) -> Field:
    """Maps of a BGR picture, shape (8, H / 2, W / 2); the picture is padded to multiples of 32."""
    rows, cols = image.shape[:2]
    padded = cv2.copyMakeBorder(image, 0, -rows % 32, 0, -cols % 32, cv2.BORDER_REFLECT_101)
    net.setInput(cv2.dnn.blobFromImage(padded, 1 / 255.0, swapRB=True))
    return np.array(net.forward()[0, :, : (rows + 1) // 2, : (cols + 1) // 2], np.float32)


@dataclass(frozen=True)
class Looked:
    """What the net said of one picture: maps (7, h, w) float32; the readable ground (h, w) bool; its true states (N,)."""

    maps: Field
    readable: NDArray[np.bool_]
    truth: NDArray[np.uint8]

    def seen(self, temperature: float = 1.0, oxide_bias: float = 0.0, smoothing_px: float = 0.0) -> Seen:
        """Return the readable ground with chances as exported and as the program averages them."""
        chances = adjust(self.maps.reshape(7, -1).T, temperature, oxide_bias).T.reshape(self.maps.shape)
        return Seen(smoothed(chances, smoothing_px)[:, self.readable].T.copy(), self.truth)


def see(net: Any, folder: Path, degraded: bool) -> list[Looked]:
    """Run the net on a folder's pictures, at the size at which the program shows them to it, as they are or degraded.

    Pictures without readable ground are left out.
    """
    rng, rule = np.random.default_rng(11), Settings().photo
    seen = []
    for path in sorted((folder / "images").glob("*.jpg")):
        image = np.asarray(cv2.imread(str(path)), np.uint8)
        image = at_working_size(degrade(rng, image) if degraded else image, rule)
        truth = _at_half(folder / f"states/{path.stem}.png", image)
        ground = _at_half(folder / f"ground/{path.stem}.png", image) > 0
        readable = ground & (truth >= 1) & (truth <= 5) & (image[::2, ::2].min(axis=2) < BURNT)
        if readable.sum() > 300:
            seen.append(Looked(look(net, image)[:7], readable, truth[readable]))
    return seen


def _at_half(path: Path, image: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Read labels at half the size of `image`."""
    labels = np.asarray(cv2.imread(str(path), cv2.IMREAD_GRAYSCALE), np.uint8)
    size = (image.shape[1] + 1) // 2, (image.shape[0] + 1) // 2
    return np.asarray(cv2.resize(labels, size, interpolation=cv2.INTER_NEAREST), np.uint8)


def adjust(chances: Field, temperature: float, oxide_bias: float) -> Field:
    """Apply temperature and oxide prior to chances, shape (N, 7), as the exported net does."""
    logits = np.log(np.clip(chances, 1e-7, 1)) / temperature
    logits[:, State.OXIDE] += oxide_bias
    powers = np.exp(logits - logits.max(axis=1, keepdims=True))
    return np.asarray(powers / powers.sum(axis=1, keepdims=True), np.float32)


def fit_chances(seen: list[Seen]) -> tuple[float, float]:
    """Temperature and oxide prior of least log loss over ground pixels, every picture weighing about the same."""
    picks = [slice(None, None, max(1, len(s.truth) // 1500)) for s in seen]
    chances = np.concatenate([s.chances[p] for s, p in zip(seen, picks, strict=True)])
    truth = np.concatenate([s.truth[p] for s, p in zip(seen, picks, strict=True)])
    best = (np.inf, 1.0, 0.0)
    for temperature in np.arange(0.7, 2.6, 0.1):
        for bias in np.arange(-0.6, 1.61, 0.2):
            p = adjust(chances, float(temperature), float(bias))[np.arange(len(truth)), truth]
            best = min(best, (float(-np.log(p + 1e-7).mean()), float(temperature), float(bias)))
    return best[1], best[2]


def choose_sure(seen: list[Seen]) -> float:
    """Least chance for a pixel to be told, so that `COVERAGE` of true bright and oxide pixels are."""
    highest = np.concatenate([sides(s.chances[np.isin(s.truth, (1, 2))].T).max(axis=0) for s in seen])
    return float(np.quantile(highest, 1 - COVERAGE))


def _states(seen: Seen, sure: float) -> NDArray[np.uint8]:
    """Told states as the map tells them, shape (N,)."""
    return told(seen.chances.T, np.zeros(len(seen.truth), bool), sure)[0]


def errors(seen: list[Seen], sure: float) -> NDArray[np.float64]:
    """For each picture the error of its bright share and its mean doubt, shape (N, 2)."""
    rows = []
    for s in seen:
        state = _states(s, sure)
        readable = (state >= 1) & (state <= 5)
        bright = s.chances[readable, State.BRIGHT]
        said = float(np.mean(state[readable] == State.BRIGHT)) if readable.any() else 0.5
        rows.append((abs(said - s.share), float(np.minimum(bright, 1 - bright).mean()) if readable.any() else 0.5))
    return np.asarray(rows)


def conformal(rows: NDArray[np.float64]) -> tuple[float, float]:
    """Scale and floor of the interval said +- scale * (doubt + floor): narrowest among a few floors that holds `HELD`."""
    best = (np.inf, 1.0, 0.05)
    rank = min(1.0, np.ceil((len(rows) + 1) * HELD) / len(rows))
    for floor in (0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.4):
        scale = float(np.quantile(rows[:, 0] / (rows[:, 1] + floor), rank, method="higher"))
        best = min(best, (float(np.mean(scale * (rows[:, 1] + floor))), scale, floor))
    return best[1], best[2]


def held(rows: NDArray[np.float64], scale: float, floor: float) -> dict[str, float]:
    """Share of pictures whose interval holds the truth, and the mean width (cut to at most 1)."""
    half = scale * (rows[:, 1] + floor)
    return {"holds": float(np.mean(rows[:, 0] <= half)), "width": float(np.mean(np.minimum(2 * half, 1.0)))}


def recalls(seen: list[Seen], sure: float) -> dict[str, float]:
    """Recall of bright and of oxide (called any residue) over told pixels, and coverage, over all pictures together."""
    state = np.concatenate([_states(s, sure) for s in seen])
    truth, readable = np.concatenate([s.truth for s in seen]), state != State.CANNOT_TELL
    bright, oxide = (truth == 1) & readable, (truth == 2) & readable
    return {
        "bright": float(np.mean(state[bright] == 1)),
        "oxide": float(np.mean(np.isin(state[oxide], (2, 3, 4, 5)))),
        "coverage": float(readable[np.isin(truth, (1, 2))].mean()),
    }


def check(seen: list[Seen], sure: float, scale: float, floor: float) -> dict[str, float]:
    """How the chosen numbers do on other pictures."""
    rows = errors(seen, sure)
    return {**held(rows, scale, floor), **recalls(seen, sure), "share_error": float(rows[:, 0].mean())}


def crossed(clear: list[Seen], worse: list[Seen]) -> list[dict[str, float]]:
    """Choose `sure` and interval on one half of the pictures and check on the other, both ways."""
    checks = []
    for fold in (0, 1):
        fitted, other = clear[fold::2] + worse[fold::2], clear[1 - fold :: 2] + worse[1 - fold :: 2]
        sure = choose_sure(fitted)
        checks.append({"pictures": len(other), **check(other, sure, *conformal(errors(fitted, sure)))})
    return checks


def calibrate(checkpoint: Path, pictures: Path, out: Path, name: str) -> dict[str, Any]:
    """Calibrate on held-out pictures, as they are and made worse, and export with the calibration baked in.

    The numbers used come from all pictures; how well such numbers carry over is measured by halves (``crossed``).

    Returns
    -------
    dict
        The card's ``calibration`` block and the export's facts; registry and card are written to `out`.
    """
    eye, notes = averaged(checkpoint)
    with tempfile.TemporaryDirectory() as folder:
        export(eye, Path(folder) / "raw.onnx")
        net = cv2.dnn.readNetFromONNX(str(Path(folder) / "raw.onnx"))
        raw = see(net, pictures, False), see(net, pictures, True)
    temperature, bias = (round(value, 3) for value in fit_chances([one.seen() for one in raw[0] + raw[1]]))
    spread = Settings().photo.smoothing_px
    clear, worse = ([one.seen(temperature, bias, spread) for one in part] for part in raw)
    block = {"temperature": temperature, "oxide_bias": bias, **_chosen(clear, worse)}
    facts = export(eye, out / f"{name}.onnx", temperature, bias)
    register(out, name, str(facts["sha256"]), block, {"export": facts, "runs": notes["runs"]})
    return {"calibration": block, "export": facts}


def _chosen(clear: list[Seen], worse: list[Seen]) -> dict[str, Any]:
    """The block's `sure`, scale and floor from all pictures, and its checks."""
    sure = choose_sure(clear + worse)
    scale, floor = conformal(errors(clear + worse, sure))
    return {
        "sure": sure, "error_scale": scale, "error_floor": floor, "pictures": len(clear) + len(worse),
        "clear": check(clear, sure, scale, floor), "degraded": check(worse, sure, scale, floor),
        "crossed": crossed(clear, worse),
    }  # fmt: skip


def register(out: Path, name: str, sha256: str, calibration: dict[str, Any], more: dict[str, Any]) -> None:
    """Enter a model in the registry and make it the default; older ones stay. Its card keeps what else it says."""
    path, card_path = out / "registry.json", out / f"{name}.json"
    registry: dict[str, Any] = {"models": {}}
    if path.exists():
        registry = json.loads(path.read_text())
    registry = {**registry, "default": name}
    registry["models"][name] = {"file": f"{name}.onnx", "sha256": sha256, "card": card_path.name}
    path.write_text(json.dumps(registry, indent=2) + "\n")
    card = json.loads(card_path.read_text()) if card_path.exists() else {}
    card_path.write_text(json.dumps({"name": name, **card, **more, "calibration": calibration}, indent=2) + "\n")
