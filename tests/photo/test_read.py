from __future__ import annotations

import hashlib
import io
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image, ImageCms

from prepcheck.errors import MissingDecoder
from prepcheck.photo import from_bytes, read
from prepcheck.photo.read import upright
from prepcheck.settings import PhotoSettings, Settings
from tests.photo.pictures import coded, exif, full, jpeg, saved, scene

SETTINGS = Settings()


def look(data: bytes, **options: bool):
    return from_bytes(data, "photo", SETTINGS, **options)


@pytest.mark.parametrize(
    ("message", "digest"),
    [
        (b"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
        (b"", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"),
        (
            b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
            "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
        ),
    ],
)
def test_the_hash_in_use_gives_the_published_digests(message, digest):
    """FIPS 180-4, example values of NIST for SHA-256."""
    assert hashlib.sha256(message).hexdigest() == digest


def test_the_hash_is_that_of_the_bytes_as_received(tmp_path):
    data = jpeg(scene()) + b"trailing bytes of a motion photo"
    (tmp_path / "a.jpg").write_bytes(data)
    photo = read(tmp_path / "a.jpg", SETTINGS)
    assert (photo.sha256, photo.byte_count) == (hashlib.sha256(data).hexdigest(), len(data))


@pytest.mark.parametrize("name", ["a.jpg", "/some/where/a.jpg", "../a.jpg"])
def test_the_name_comes_without_folders(name):
    assert from_bytes(jpeg(scene()), name, SETTINGS).name == "a.jpg"


@pytest.mark.parametrize(
    ("make", "most"),
    [
        (lambda rgb: jpeg(rgb, 95), 3),
        (lambda rgb: jpeg(rgb, 95, progressive=True), 3),
        (lambda rgb: saved(Image.fromarray(rgb), "PNG"), 0),
        (lambda rgb: saved(Image.fromarray(rgb).quantize(256), "PNG"), 12),
        (lambda rgb: saved(Image.fromarray(rgb), "WEBP", lossless=True), 0),
        (lambda rgb: saved(Image.fromarray(rgb), "WEBP", quality=95), 6),
        (lambda rgb: saved(Image.fromarray(rgb), "TIFF"), 0),
        (lambda rgb: saved(Image.fromarray(rgb), "TIFF", compression="tiff_lzw"), 0),
        (lambda rgb: coded(rgb[:, :, ::-1].astype(np.uint16) * 257, ".png"), 0),
        (lambda rgb: coded(rgb[:, :, ::-1].astype(np.uint16) * 257, ".tiff"), 0),
    ],
    ids=[
        "jpeg",
        "progressive",
        "png",
        "palette",
        "webp",
        "lossy webp",
        "tiff",
        "lzw tiff",
        "16 bit png",
        "16 bit tiff",
    ],
)
def test_each_format_gives_the_pixels_that_were_saved(make, most):
    rgb = scene()
    assert full(look(make(rgb)).rgb, rgb) <= most


def test_an_mpo_gives_its_first_picture():
    first, second = scene(seed=1), scene(seed=2)
    buffer = io.BytesIO()
    Image.fromarray(first).save(buffer, "MPO", save_all=True, append_images=[Image.fromarray(second)], quality=95)
    photo = look(buffer.getvalue())
    assert photo.format == "JPEG"
    assert full(photo.rgb, first) < 3


def test_a_cmyk_jpeg_looks_as_pillow_shows_it():
    data = saved(Image.fromarray(scene()).convert("CMYK"), "JPEG", quality=95)
    shown = np.asarray(Image.open(io.BytesIO(data)).convert("RGB"))
    assert full(look(data).rgb, shown) < 4


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WEBP"])
def test_a_grey_picture_becomes_three_equal_channels(kind):
    rgb = look(saved(Image.fromarray(scene()).convert("L"), kind)).rgb
    assert rgb.shape == (240, 320, 3)
    assert full(rgb, rgb[:, :, [1, 2, 0]]) <= 1


@pytest.mark.parametrize("kind", ["PNG", "TIFF", "WEBP"])
def test_transparent_places_show_mid_grey_whatever_colour_they_hide(kind):
    rgba = np.dstack([scene(), np.full((240, 320), 255, np.uint8)])
    rgba[:, :100, 3] = 0
    options = {"lossless": True, "exact": True} if kind == "WEBP" else {}
    rgb = look(saved(Image.fromarray(rgba), kind, **options)).rgb
    assert (rgb[:, :100] == 128).all()
    assert full(rgb[:, 100:], rgba[:, 100:, :3]) == 0


def test_a_large_photo_is_reduced_to_the_asked_side_and_keeps_its_true_size():
    settings = Settings(photo=PhotoSettings(detail_px=640, working_px=320))
    rgb = scene(2001, 1500)
    photo = from_bytes(jpeg(rgb), "a.jpg", settings)
    assert (photo.width, photo.height, photo.rgb.shape) == (2001, 1500, (480, 640, 3))
    assert full(photo.rgb, cv2.resize(rgb, (640, 480), interpolation=cv2.INTER_AREA)) < 4


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WEBP"])
def test_every_orientation_comes_out_upright_as_pillow_turns_it(orientation, kind):
    """EXIF 2.3, tag 0x0112; the second computation is Pillow's `exif_transpose`."""
    from PIL import ImageOps

    options = {"quality": 95} if kind == "JPEG" else {"lossless": True} if kind == "WEBP" else {}
    data = saved(Image.fromarray(scene()), kind, exif=exif(orientation=orientation), **options)
    expected = np.asarray(ImageOps.exif_transpose(Image.open(io.BytesIO(data))).convert("RGB"))
    photo = look(data)
    assert (photo.height, photo.width) == expected.shape[:2]
    assert full(photo.rgb, expected) < 1.5


def test_the_eight_turns_map_the_first_pixel_where_the_standard_says():
    """EXIF 2.3, table of the tag: row 0 and column 0 of the stored picture are at these sides of the upright one."""
    stored = np.zeros((2, 3, 3), np.uint8)
    stored[0, 0] = 255
    corners = {1: (0, 0), 2: (0, -1), 3: (-1, -1), 4: (-1, 0), 5: (0, 0), 6: (0, -1), 7: (-1, -1), 8: (-1, 0)}
    for orientation, corner in corners.items():
        turned = upright(stored, orientation)
        assert turned[corner].tolist() == [255] * 3
        assert turned.shape[:2] == ((2, 3) if orientation < 5 else (3, 2))


@pytest.mark.parametrize("orientation", [0, 9, 65535])
def test_an_orientation_out_of_range_turns_nothing(orientation):
    assert look(jpeg(scene(), exif=exif(orientation=orientation))).rgb.shape == (240, 320, 3)


DISPLAY_P3 = np.array([[0.68, 0.32], [0.265, 0.69], [0.15, 0.06]])
SRGB = np.array([[0.64, 0.33], [0.30, 0.60], [0.15, 0.06]])


def rgb_to_xyz(primaries):
    """Primaries and D65 to a matrix (SMPTE RP 177)."""
    columns = np.array([[x / y, 1.0, (1 - x - y) / y] for x, y in primaries]).T
    return columns * np.linalg.solve(columns, np.array([0.95047, 1.0, 1.08883]))


def p3_profile() -> bytes:
    """A Display-P3 profile: sRGB's, with the colorants replaced (Bradford to D50)."""
    profile = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    bradford = np.array(
        [[1.0478112, 0.0228866, -0.0501270], [0.0295424, 0.9904844, -0.0170491], [-0.0092345, 0.0150436, 0.7521316]]
    )
    columns = (bradford @ rgb_to_xyz(DISPLAY_P3)).T
    for at in range(132, 132 + 12 * int.from_bytes(profile[128:132], "big"), 12):
        tag, start = bytes(profile[at : at + 4]), int.from_bytes(profile[at + 4 : at + 8], "big")
        if tag in (b"rXYZ", b"gXYZ", b"bXYZ"):
            values = np.rint(columns[b"rgb".index(tag[0])] * 65536).astype(">i4")
            profile[start + 8 : start + 20] = values.tobytes()
        if tag == b"desc":
            size = int.from_bytes(profile[at + 8 : at + 12], "big")
            body = profile[start : start + size]
            profile[start : start + size] = body.replace(b"s\0R\0G\0B", b"w\0i\0d\0e").replace(b"sRGB", b"wide")
    return bytes(profile)


def decoded(value):
    """IEC 61966-2-1."""
    value = value / 255
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def encoded(light):
    """IEC 61966-2-1."""
    light = np.clip(light, 0, 1)
    return 255 * np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)


def test_the_second_computation_knows_the_published_srgb_values():
    """encode(0.18) = 0.461356, decode(0.04045) = 0.0031308, decode(0.5) = 0.2140411 (IEC 61966-2-1)."""
    assert encoded(np.array(0.18)) / 255 == pytest.approx(0.461356, abs=1e-6)
    assert decoded(np.array(0.04045 * 255)) == pytest.approx(0.0031308, abs=1e-7)
    assert decoded(np.array(127.5)) == pytest.approx(0.2140411, abs=1e-7)


def test_a_display_p3_photo_is_converted_as_by_matrices():
    rgb = scene()
    photo = look(saved(Image.fromarray(rgb), "PNG", icc_profile=p3_profile()))
    matrix = np.linalg.inv(rgb_to_xyz(SRGB)) @ rgb_to_xyz(DISPLAY_P3)
    expected = encoded(decoded(rgb.astype(float)) @ matrix.T)
    assert np.abs(photo.rgb - expected).max() < 2
    assert full(photo.rgb, rgb) > 0.5


@pytest.mark.parametrize("profile", [b"no profile", p3_profile()[:300], p3_profile()[:128] + b"\xff" * 400])
def test_a_broken_profile_is_left_aside(profile):
    rgb = scene()
    assert full(look(saved(Image.fromarray(rgb), "PNG", icc_profile=profile)).rgb, rgb) == 0


def test_capture_time_comes_with_fraction_and_offset():
    data = jpeg(scene(), exif=exif(x9003="2026:03:14 09:26:53", x9011="+05:30", x9291="58"))
    assert look(data).taken == "2026-03-14T09:26:53.58+05:30"


@pytest.mark.parametrize(
    "stored", ["0000:00:00 00:00:00", "    :  :     :  :  ", "2026:13:40 09:26:53", "yesterday", ""]
)
def test_a_capture_time_that_is_none_is_left_out(stored):
    assert look(jpeg(scene(), exif=exif(x9003=stored))).taken is None


def test_make_and_model_are_shown_printable_and_bounded():
    camera = look(jpeg(scene(), exif=exif(make="Tin\x1b[31m\nBox", model="M" * 5000))).camera
    assert camera is not None
    assert camera.isprintable()
    assert len(camera) <= 129
    assert camera.startswith("Tin")


def test_a_model_that_repeats_the_make_is_told_once():
    assert look(jpeg(scene(), exif=exif(make="Tin", model="Tin Box 3"))).camera == "Tin Box 3"


GPS = {1: "S", 2: (33.0, 30.0, 36.0), 3: "W", 4: (70.0, 15.0, 0.0)}


def test_the_position_is_kept_only_when_asked_for():
    data = jpeg(scene(), exif=exif(gps=GPS))
    assert look(data).position is None
    assert look(data, keep_position=True).position == pytest.approx((-33.51, -70.25))


def test_heic_gives_the_pixels_and_what_the_camera_wrote():
    heif = pytest.importorskip("pillow_heif")
    rgb = scene()
    buffer = io.BytesIO()
    tags = exif(orientation=6, make="Tin", x9003="2026:03:14 09:26:53")
    heif.from_pillow(Image.fromarray(rgb)).save(buffer, quality=95, exif=tags.tobytes())
    photo = look(buffer.getvalue())
    assert (photo.format, photo.camera, photo.taken) == ("HEIC", "Tin", "2026-03-14T09:26:53")
    if photo.rgb.shape[0] == 240:
        assert full(photo.rgb, rgb) < 4
    else:
        assert full(photo.rgb, upright(rgb, 6)) < 4


def test_heic_without_its_part_says_how_to_install_it(monkeypatch):
    import sys

    monkeypatch.setitem(sys.modules, "pillow_heif", None)
    with pytest.raises(MissingDecoder, match=r'pip install "prepcheck\[heic\]"'):
        look(b"\0\0\0\x18ftypheic\0\0\0\0mif1heic" + bytes(100))


def test_reading_leaves_the_pixel_limit_of_pillow_alone():
    before = Image.MAX_IMAGE_PIXELS
    look(jpeg(scene()))
    assert before == Image.MAX_IMAGE_PIXELS


def test_a_photo_of_200_million_pixels_needs_little_memory(tmp_path):
    """A flat one, as only the sizes matter; the whole raster would be 600 MB."""
    import resource

    strip = Image.new("RGB", (16000, 12500), (120, 130, 140))
    strip.save(tmp_path / "large.jpg", quality=50)
    del strip
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    photo = read(Path(tmp_path / "large.jpg"), SETTINGS)
    assert (photo.width, max(photo.rgb.shape)) == (16000, 2560)
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 200_000
