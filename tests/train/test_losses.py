"""The loss of the first guess: shares of bright metal and of residue in squares of 8 pixels."""

import pytest

torch = pytest.importorskip("torch", reason="training needs the extra `train`")

from prepcheck.terms import State  # noqa: E402
from prepcheck.train.losses import guess_loss  # noqa: E402


def truth(state, ground=1):
    """Of one picture; `state` (H, W)."""
    planes = [state, torch.full_like(state, ground), torch.full_like(state, 32)]
    return torch.stack(planes)[None].to(torch.uint8)


@pytest.fixture
def halves():
    """Two squares of 8 pixels: bright metal, and pits."""
    return torch.cat([torch.full((8, 8), State.BRIGHT), torch.full((8, 8), State.PIT)], 1)


def logits(bright, residue):
    return torch.logit(torch.tensor([[bright], [residue]]))[None]


def test_a_right_guess_costs_less_than_none_and_a_wrong_one_more(halves):
    right, none, wrong = (
        guess_loss(logits(*guess), truth(halves)).item()
        for guess in (([0.9, 0.1], [0.1, 0.9]), ([0.5, 0.5], [0.5, 0.5]), ([0.1, 0.9], [0.9, 0.1]))
    )
    assert right < none < wrong


def test_half_a_chance_costs_ln_2(halves):
    assert guess_loss(logits([0.5, 0.5], [0.5, 0.5]), truth(halves)).item() == pytest.approx(0.693147, abs=1e-6)


def test_known_shares_cost_their_entropy_and_no_guess_costs_less():
    state = torch.full((8, 8), State.BACKGROUND)
    state[:, :4], state[:2, 4:] = State.BRIGHT, State.OXIDE  # a half, and an eighth
    entropy = (0.693147 + 0.376770) / 2
    exact, *others = (
        guess_loss(logits([b], [r]), truth(state)).item() for b, r in ((0.5, 0.125), (0.5, 0.2), (0.4, 0.125))
    )
    assert exact == pytest.approx(entropy, abs=1e-5)
    assert min(others) > exact


@pytest.mark.parametrize("state", [State.OXIDE, State.PIT, State.COATING, State.FOREIGN])
def test_every_state_of_residue_is_residue(state):
    whole = truth(torch.full((8, 8), state))
    assert guess_loss(logits([0.01], [0.99]), whole).item() == pytest.approx(0.01005, abs=1e-4)


def test_outside_of_the_ground_there_is_neither(halves):
    assert guess_loss(logits([0.01, 0.01], [0.01, 0.01]), truth(halves, 0)).item() == pytest.approx(0.01005, abs=1e-4)
