"""The large net corrects the small one, which learns from it and gives it no say in its own features."""

import pytest

torch = pytest.importorskip("torch", reason="training needs the extra `train`")

from prepcheck.train.net import Eye  # noqa: E402
from prepcheck.train.teacher import Teacher, teach_loss  # noqa: E402


@pytest.fixture(scope="module")
def image():
    return torch.rand(2, 3, 64, 96, generator=torch.Generator().manual_seed(0))


def both(seed=0):
    torch.manual_seed(seed)
    return Eye().eval(), Teacher().eval()


def test_before_it_is_fitted_the_large_net_says_what_the_small_one_says(image):
    eye, teacher = both()
    logits, _, features = eye.in_full(image)
    assert torch.equal(teacher(image, logits, features), logits)


def test_the_large_net_gives_the_small_one_no_gradient(image):
    eye, teacher = both()
    torch.nn.init.normal_(teacher.head.weight)
    logits, _, features = eye.in_full(image)
    teacher(image, logits, features).sum().backward()
    assert all(p.grad is None for p in eye.parameters())
    assert all(p.grad is not None for p in teacher.parameters())


def test_what_lies_far_away_in_the_photo_reaches_every_place(image):
    eye, teacher = both()
    torch.nn.init.normal_(teacher.head.weight)
    changed = image.clone()
    changed[..., :8, :8] = 0
    with torch.no_grad():
        logits, _, features = eye.in_full(image)
        told, other = (teacher(x, logits, features) for x in (image, changed))
    assert (told - other)[..., -4:, -4:].abs().min() > 0


def test_who_says_the_same_has_nothing_to_learn():
    logits = 9 * torch.randn(2, 8, 6, 7, generator=torch.Generator().manual_seed(3))
    logits[:, 7] = 40 * torch.sign(logits[:, 7])  # of the ground's entropy nothing is left where it is sure
    assert float(teach_loss(logits, logits)) == pytest.approx(0, abs=1e-5)


@pytest.mark.parametrize("channel", range(8))
def test_who_says_something_else_has_something_to_learn(channel):
    taught = torch.zeros(1, 8, 4, 4)
    logits = taught.clone()
    logits[:, channel] = 3
    assert float(teach_loss(logits, taught)) > float(teach_loss(taught, taught)) + 0.01


def test_only_the_small_net_learns_from_the_large_one():
    logits, taught = torch.zeros(1, 8, 4, 4, requires_grad=True), torch.ones(1, 8, 4, 4, requires_grad=True)
    taught_differs = taught + torch.arange(8.0).view(1, 8, 1, 1)
    teach_loss(logits, taught_differs).backward()
    assert logits.grad.abs().sum() > 0
    assert taught.grad is None
