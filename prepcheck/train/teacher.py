"""A large net that the small one learns from while both are fitted; it is never shipped.

The small net blurs clear-cut patches where it lacks the room to tell them apart. The large one stands on the small one (its
logits and its features are what it starts from), has eight times the parameters, and looks across the whole photo.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import torch
from torch import nn
from torch.nn import functional

from prepcheck.train.net import Deep, Eye, conv

WIDTHS = (32, 64, 128, 224, 256)
"""Channels at strides 2, 4, 8, 16 and 32."""

HEAD = 32
"""Channels of one head of attention."""


class Across(nn.Module):  # type: ignore[misc]
    """Attention of every place to all others, and a perceptron (Vaswani et al. 2017, normed before each)."""

    def __init__(self, channels: int) -> None:
        super().__init__()
        self.near = nn.Conv2d(channels, channels, 3, padding=1, groups=channels)
        self.norm, self.norm_after = nn.LayerNorm(channels), nn.LayerNorm(channels)
        self.ask, self.answer = nn.Linear(channels, 3 * channels), nn.Linear(channels, channels)
        self.think = nn.Sequential(nn.Linear(channels, 3 * channels), nn.GELU(), nn.Linear(3 * channels, channels))

    def forward(self, x: Any) -> Any:
        """Apply the block; shape (B, C, H, W)."""
        count, channels, rows, cols = x.shape
        places = (x + self.near(x)).flatten(2).transpose(1, 2)
        asked = self.ask(self.norm(places)).view(count, rows * cols, 3, channels // HEAD, HEAD)
        query, key, value = asked.permute(2, 0, 3, 1, 4)
        heard = functional.scaled_dot_product_attention(query, key, value)
        places = places + self.answer(heard.transpose(1, 2).flatten(2))
        places = places + self.think(self.norm_after(places))
        return places.transpose(1, 2).view(count, channels, rows, cols)


class Teacher(nn.Module):  # type: ignore[misc]
    """Corrects the eye's eight logits a pixel; before it is fitted it says just what the eye says."""

    def __init__(self) -> None:
        super().__init__()
        w2, w4, w8, w16, w32 = WIDTHS
        self.start = nn.Sequential(conv(3, w2, 3, 2), Deep(w2))
        self.down = nn.ModuleList([conv(a, b, 3, 2) for a, b in pairwise(WIDTHS)])
        self.told = nn.ModuleList([nn.Conv2d(a, b, 1) for a, b in zip(Eye.FEATURES, WIDTHS[1:], strict=True)])
        self.seen = nn.ModuleList([
            nn.Sequential(Deep(w4), Deep(w4)), nn.Sequential(Deep(w8), Deep(w8)),
            nn.Sequential(Deep(w16), Deep(w16), Across(w16), Across(w16)),
            nn.Sequential(Deep(w32), Across(w32), Across(w32)),
        ])  # fmt: skip
        self.up = nn.ModuleList([nn.Conv2d(b, a, 1) for a, b in pairwise(WIDTHS)])
        self.joined = nn.ModuleList([nn.Sequential(*(Deep(w) for _ in range(1 + (w > w2)))) for w in WIDTHS[:-1]])
        self.head = nn.Conv2d(w2, 8, 1)
        nn.init.zeros_(self.head.weight)
        nn.init.zeros_(self.head.bias)

    def forward(self, image: Any, logits: Any, features: list[Any]) -> Any:
        """Logits, shape (B, 8, H / 2, W / 2), from a photo and what the eye says of it; the eye gets no gradient."""
        levels = [self.start(image)]
        for down, told, seen, feature in zip(self.down, self.told, self.seen, features, strict=True):
            levels.append(seen(functional.relu(down(levels[-1]) + told(feature.detach()))))
        x = levels.pop()
        for up, joined in zip(reversed(self.up), reversed(self.joined), strict=True):
            x = functional.interpolate(up(x), scale_factor=2, mode="bilinear", align_corners=False)
            x = joined(functional.relu(x + levels.pop()))
        return logits.detach() + self.head(x)


def teach_loss(logits: Any, taught: Any) -> Any:
    """How far the small net's chances are from the large one's: relative entropy of the states, entropy of the ground.

    Parameters
    ----------
    logits, taught : tensor, shape (B, 8, h, w)
        Of the small net and of the large one, which gets no gradient. Ground counts four times as much as all else.
    """
    logits, taught = logits.float(), taught.detach().float()
    ground = torch.sigmoid(taught[:, 7])
    weight = 0.25 + 0.75 * ground
    states = functional.kl_div(
        functional.log_softmax(logits[:, :7], 1), functional.log_softmax(taught[:, :7], 1), reduction="none",
        log_target=True,
    ).sum(1)  # fmt: skip
    area = functional.binary_cross_entropy_with_logits(logits[:, 7], ground)
    return (states * weight).sum() / weight.sum() + 0.5 * area
