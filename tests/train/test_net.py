"""The net grows without changing its mind, and takes no weights but its own."""

import pytest

torch = pytest.importorskip("torch", reason="training needs the extra `train`")

from prepcheck.train.fit import put_in  # noqa: E402
from prepcheck.train.net import Deep, Eye  # noqa: E402

SIZE = (64, 96)


@pytest.fixture
def image():
    return torch.rand(2, 3, *SIZE, generator=torch.Generator().manual_seed(0))


def eye(seed):
    torch.manual_seed(seed)
    return Eye().eval()


def before_it_grew(net):
    """Weights as a checkpoint has them that was kept before the net grew."""
    return {name: value for name, value in net.state_dict().items() if not name.startswith(Eye.GROWN)}


def said(net, image):
    with torch.no_grad():
        return net(image)


@pytest.mark.parametrize("training", [True, False])
def test_a_silent_part_changes_nothing(training):
    features = torch.rand(2, 8, 6, 7)
    assert torch.equal(Deep(8, silent=True).train(training)(features), features)


def test_a_net_that_grew_says_what_it_said_before(image):
    older, newer = eye(1), eye(2)
    assert not torch.allclose(said(newer, image), said(older, image))
    put_in(newer, before_it_grew(older))
    assert torch.equal(said(newer, image), said(older, image))


def test_what_a_net_grew_by_can_speak(image):
    net = eye(1)
    for part in Eye.GROWN:
        before = said(net, image)
        for name, weights in net.named_parameters():
            if name.startswith(part) and not weights.any():
                torch.nn.init.normal_(weights)
        assert not torch.allclose(said(net, image), before), part


def test_weights_from_before_the_net_grew_are_told_from_its_own():
    net = eye(1)
    assert (put_in(net, net.state_dict()), put_in(net, before_it_grew(net))) == (True, False)


@pytest.mark.parametrize(
    ("change", "named"),
    [
        (lambda weights: weights.pop("head.weight"), "head.weight"),
        (lambda weights: weights.update(tail=weights["head.weight"]), "tail"),
    ],
    ids=["missing", "left over"],
)
def test_weights_of_another_net_are_refused(change, named):
    weights = dict(before_it_grew(eye(1)))
    change(weights)
    with pytest.raises(ValueError, match=f"another net: {named}$"):
        put_in(eye(2), weights)


def test_the_first_guess_has_a_place_for_each_square_of_8_pixels(image):
    assert eye(1).in_full(image)[1].shape == (2, 2, SIZE[0] // 8, SIZE[1] // 8)


def test_features_are_handed_on_at_four_strides(image):
    features = eye(1).in_full(image)[2]
    shapes = [tuple(f.shape[1:]) for f in features]
    assert shapes == [(c, SIZE[0] // s, SIZE[1] // s) for c, s in zip(Eye.FEATURES, (4, 8, 16, 32), strict=True)]
