"""What the net is fitted to: exact truth of scenes, partial labels of photographs."""

from __future__ import annotations

from typing import Any

import torch
from torch.nn import functional

from prepcheck.terms import State
from prepcheck.train.real import UNSEEN

SCENE_WEIGHTS = (0.5, 1.0, 1.1, 1.6, 0.6, 1.6, 0.7)
"""Weight of each state's pixels in scenes."""

PHOTO_WEIGHTS = (0.5, 1.3, 1.3, 1.5, 1.0, 1.2, 1.0)
"""Weight of each label's pixels in photographs."""

BURNT = 250 / 255
"""Where all channels are at least this bright nothing can be seen, so the pixel counts little."""


def is_residue(state: Any) -> Any:
    """Tell which places of a map of states, of numpy or of torch, are residue."""
    return (state >= State.OXIDE) & (state <= State.FOREIGN)


def dice(chance: Any, truth: Any) -> Any:
    """One minus the soft Dice overlap, picture by picture, leaving out pictures without any truth."""
    both = (chance * truth).flatten(1).sum(1)
    either = (chance + truth).flatten(1).sum(1)
    real_ones = (truth.flatten(1).sum(1) > 20).float()
    return ((1 - (2 * both + 1) / (either + 1)) * real_ones).sum() / real_ones.sum().clip(1)


def scene_loss(logits: Any, truth: Any, burnt: Any) -> Any:
    """Loss on scenes: entropy by state and place, and of bright metal against residue as the map is told; overlap of residue
    inside the ground; entropy and overlap of the ground.

    Parameters
    ----------
    logits : tensor, shape (B, 8, h, w)
        The net's output at half size.
    truth : tensor of uint8, shape (B, 3, H, W)
        State, ground, care (32: one).
    burnt : tensor of float32, shape (B, h, w)
        1 where the picture is burnt out.
    """
    half = truth[:, :, ::2, ::2]
    state, ground, care = half[:, 0].long(), half[:, 1].clip(max=1).float(), half[:, 2].float() / 32
    logits = logits.float()
    weights = torch.tensor(SCENE_WEIGHTS, device=logits.device)
    entropy = functional.cross_entropy(logits[:, :7], state, reduction="none")
    weight = weights[state] * care * (0.3 + 0.7 * ground) * (1 - 0.9 * burnt)
    states = (entropy * weight).sum() / weight.sum()
    chances = torch.softmax(logits[:, :7], 1)
    residue = chances[:, State.OXIDE : State.FOREIGN + 1].sum(1)
    wrong = is_residue(state).float()
    told = ground * (state != 6) * (1 - burnt)
    metal = chances[:, State.BRIGHT] / (chances[:, State.BRIGHT] + residue).clip(1e-4)
    sides = functional.binary_cross_entropy(metal.clip(1e-4, 1 - 1e-4), 1 - wrong, reduction="none")
    judged = told * care * (wrong + (state == State.BRIGHT))
    side = (sides * judged).sum() / judged.sum().clip(1)
    spot = logits[:, 7]
    area = functional.binary_cross_entropy_with_logits(spot, ground)
    return (
        states
        + 0.5 * side
        + 0.3 * dice(residue * told, wrong * told)
        + 0.5 * area
        + 0.3 * dice(torch.sigmoid(spot), ground)
    )


def guess_loss(guess: Any, truth: Any) -> Any:
    """Loss of the net's first guess: entropy of the shares of bright metal and of residue in each square of 8 x 8 pixels.

    Outside of the ground there is neither.

    Parameters
    ----------
    guess : tensor, shape (B, 2, H / 8, W / 8)
        Logits of both shares.
    truth : tensor of uint8, shape (B, 3, H, W)
        State, ground, care.
    """
    state, ground = truth[:, 0], truth[:, 1] > 0
    kinds = torch.stack([state == State.BRIGHT, is_residue(state)], 1)
    shares = functional.avg_pool2d((kinds & ground[:, None]).float(), 8)
    return functional.binary_cross_entropy_with_logits(guess.float(), shares)


def photo_loss(logits: Any, labels: Any, accepted: Any) -> Any:
    """Partial-label loss on photographs: minus the log of the chance given to all states that count as right.

    Parameters
    ----------
    logits : tensor, shape (B, 8, h, w)
        The net's output at half size.
    labels : tensor of uint8, shape (B, H, W)
        Codes 0 to 6, `UNSEEN` elsewhere.
    accepted : tensor of float32, shape (7, 7)
        See :func:`prepcheck.train.real.accepted_matrix`.
    """
    logits = logits.float()
    here = labels[:, ::2, ::2].long()
    told = (here != UNSEEN).float()
    kinds = here.clip(max=6)
    chances = torch.softmax(logits[:, :7], 1)
    right = torch.einsum("bshw,bhws->bhw", chances, accepted[kinds])
    weight = told * torch.tensor(PHOTO_WEIGHTS, device=logits.device)[kinds]
    states = (-torch.log(right.clip(1e-5)) * weight).sum() / weight.sum().clip(1)
    sure = told * ((kinds == 0) | (kinds == 1) | (kinds == 4)).float()
    area = functional.binary_cross_entropy_with_logits(logits[:, 7], (kinds == 1).float(), reduction="none")
    return states + 0.2 * (area * sure).sum() / sure.sum().clip(1)
