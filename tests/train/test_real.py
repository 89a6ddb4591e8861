"""Photographs with points: splits and partial labels."""

import json

import cv2
import numpy as np
import pytest

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


def write_photo(folder, points=()):
    """A photo that is dark on the left and light on the right, with region labels 5 and 1."""
    image = np.zeros((200, 300, 3), np.uint8)
    image[:, 150:] = 255
    cv2.imwrite(str(folder / "a.jpg"), image)
    regions = np.full((50, 75), real.UNSEEN, np.uint8)
    regions[10:40, 5:34], regions[10:40, 41:70] = 5, 1
    np.savez(folder / "regions.npz", **{"a.jpg": regions})
    entry = {"file": "a.jpg", "size": [600, 400], "points": [p[:2] for p in points], "labels": [p[2] for p in points]}
    (folder / "points.json").write_text(json.dumps([entry] if points else []))


def test_regions_lie_where_they_were_drawn(tmp_path):
    write_photo(tmp_path)
    (photo,) = real.load_photos(tmp_path, tmp_path / "regions.npz")
    assert photo.image[photo.labels == 1].min() > 240
    assert photo.image[photo.labels == 5].max() < 15


def test_points_win_over_regions(tmp_path):
    write_photo(tmp_path, [(100, 200, 2)])
    (photo,) = real.load_photos(tmp_path, tmp_path / "regions.npz")
    assert photo.labels[100, 50] == 2


def test_unsure_points_say_nothing(tmp_path):
    write_photo(tmp_path, [(20, 20, 9)])
    (photo,) = real.load_photos(tmp_path, tmp_path / "regions.npz")
    assert photo.labels[10, 10] == real.UNSEEN


def test_windows_carry_labels_to_the_right_place(tmp_path):
    torch = pytest.importorskip("torch", reason="training needs the extra `train`")
    from prepcheck.train.album import Album

    write_photo(tmp_path)
    album = Album(real.load_photos(tmp_path, tmp_path / "regions.npz"), torch.device("cpu"))
    pictures, labels = album.draw(np.random.default_rng(0), 12, (96, 128))
    grey = pictures.mean(1)
    assert (labels == 1).sum() > 1000
    assert grey[labels == 1].median() > 0.95
    assert grey[labels == 5].median() < 0.05
