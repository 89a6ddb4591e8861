"""Photographs with points: splits and partial labels."""

import numpy as np

from prepcheck.train import real


def test_neighbours_share_a_group():
    assert real.kind_of_part("images/shed_part0143.jpg") == real.kind_of_part("images/shed_part0147.jpg")
    assert real.kind_of_part("images/shed_part0143.jpg") != real.kind_of_part("images/shed_part0153.jpg")


def test_holding_out_goes_by_group():
    names = [f"images/shed_part{k:04d}.jpg" for k in range(400)]
    groups = {real.kind_of_part(n): real.held_out(n) for n in names}
    assert all(real.held_out(n) == groups[real.kind_of_part(n)] for n in names)
    assert 0.05 < np.mean(list(groups.values())) < 0.45


def test_every_label_accepts_itself():
    assert np.diag(real.accepted_matrix()).all()


def test_crop_carries_labels_to_the_right_place():
    image = np.zeros((200, 300, 3), np.uint8)
    image[:, 150:] = 255
    points = np.float32([[100, 100], [200, 100]])
    photo = real.PointPhoto("x", image, points, np.asarray([5, 1]))
    hits = 0
    for seed in range(20):
        crop, labels = real.crop(np.random.default_rng(seed), photo, 128)
        for label, bright in ((1, 255), (5, 0)):
            seen = crop[labels == label]
            if len(seen):
                hits += 1
                assert abs(float(np.median(seen)) - bright) < 30
    assert hits > 15
