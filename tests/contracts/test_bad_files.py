"""Every bad file there is: each gives one clear error, quickly and with little memory, and never a half-grey picture."""

from __future__ import annotations

import io
import os
import socket
import struct
import subprocess
import sys
import time
import zlib

import numpy as np
import pytest
from PIL import Image

from prepcheck.errors import AFolder, BrokenInput, DamagedPhoto, NotAPhoto, TooLarge, Unreadable
from prepcheck.photo import from_bytes, photo_flags, read
from prepcheck.settings import PhotoSettings, Settings
from tests.photo.pictures import coded, jpeg, saved, scene

SETTINGS = Settings()
END = b"\xff\xd9"


def refused(data: bytes, kind: type[BrokenInput], says: str = ".") -> BrokenInput:
    with pytest.raises(kind, match=says) as caught:
        from_bytes(data, "shot.jpg", SETTINGS)
    assert type(caught.value) is kind
    assert caught.value.message.startswith("shot.jpg: ")
    assert "\n" not in caught.value.message
    return caught.value


PLAIN = jpeg(scene(800, 600))
PROGRESSIVE = jpeg(scene(800, 600), progressive=True)
FILES = {
    "jpeg": PLAIN,
    "progressive": PROGRESSIVE,
    "jpeg with restarts": jpeg(scene(800, 600), restart_marker_rows=4),
    "cmyk": saved(Image.fromarray(scene()).convert("CMYK"), "JPEG"),
    "png": saved(Image.fromarray(scene()), "PNG"),
    "interlaced 16 bit png": coded(scene().astype(np.uint16) * 257, ".png"),
    "webp": saved(Image.fromarray(scene()), "WEBP"),
    "lossless webp": saved(Image.fromarray(scene()), "WEBP", lossless=True),
    "tiff": saved(Image.fromarray(scene()), "TIFF"),
    "lzw tiff": saved(Image.fromarray(scene()), "TIFF", compression="tiff_lzw"),
    "deflate tiff": saved(Image.fromarray(scene()), "TIFF", compression="tiff_adobe_deflate"),
}


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9, 0.99])
@pytest.mark.parametrize("name", FILES)
def test_a_cut_file_is_damaged(name, share):
    data = FILES[name]
    refused(data[: int(len(data) * share)], DamagedPhoto)


@pytest.mark.parametrize("share", [0.3, 0.5, 0.9, 0.98])
@pytest.mark.parametrize("name", ["jpeg", "progressive", "jpeg with restarts", "cmyk"])
def test_a_cut_jpeg_with_its_end_marker_put_back_is_damaged(name, share):
    data = FILES[name]
    refused(data[: int(len(data) * share)] + END, DamagedPhoto)


def test_a_progressive_jpeg_cut_between_any_two_scans_is_damaged():
    starts = [at for at in range(len(PROGRESSIVE)) if PROGRESSIVE[at : at + 2] == b"\xff\xda"]
    assert len(starts) > 5
    for start in starts[1:]:
        refused(PROGRESSIVE[:start] + END, DamagedPhoto, "not every scan")


@pytest.mark.parametrize("name", ["jpeg", "progressive", "png", "webp", "lossless webp", "lzw tiff", "deflate tiff"])
def test_a_tail_of_zeros_is_damaged(name):
    data = FILES[name]
    keep = len(data) * 6 // 10
    refused(data[:keep] + bytes(len(data) - keep), DamagedPhoto)


def test_a_whole_picture_of_one_colour_may_end_in_zeros():
    for kind, options in (("WEBP", {"lossless": True}), ("WEBP", {"quality": 20}), ("PNG", {}), ("JPEG", {})):
        for level in (0, 255):
            from_bytes(saved(Image.new("RGB", (2000, 1500), (level,) * 3), kind, **options), "a", SETTINGS)


def test_a_png_with_a_wrong_check_sum_is_damaged():
    data = bytearray(FILES["png"])
    data[len(data) // 2] ^= 1
    refused(bytes(data), DamagedPhoto, "check sum")


def test_a_cut_heic_is_damaged():
    heif = pytest.importorskip("pillow_heif")
    buffer = io.BytesIO()
    heif.from_pillow(Image.fromarray(scene())).save(buffer, quality=80)
    data = buffer.getvalue()
    for share in (0.05, 0.3, 0.7, 0.97):
        refused(data[: int(len(data) * share)], DamagedPhoto)


def test_bytes_after_the_end_do_no_harm():
    clean = from_bytes(PLAIN, "a.jpg", SETTINGS)
    for tail in (b"a motion photo's clip" * 100, bytes(1000), PLAIN):
        assert (from_bytes(PLAIN + tail, "a.jpg", SETTINGS).rgb == clean.rgb).all()


def test_a_few_bytes_before_the_end_marker_do_no_harm():
    clean = from_bytes(PLAIN, "a.jpg", SETTINGS)
    assert (from_bytes(PLAIN[:-2] + b"abcdefg" + END, "a.jpg", SETTINGS).rgb == clean.rgb).all()


def claiming(width: int, height: int, data: bytes = PLAIN) -> bytes:
    at = max(data.find(b"\xff\xc0"), data.find(b"\xff\xc2"))
    return data[: at + 5] + struct.pack(">HH", height, width) + data[at + 9 :]


def png_claiming(width: int, height: int) -> bytes:
    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    header = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    zeros = zlib.compress(bytes(1_000_000))
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", zeros) + chunk(b"IEND", b"")


BOMBS = {
    "jpeg of 30,000 x 30,000": claiming(30_000, 30_000),
    "progressive jpeg of 65,500 x 65,500": claiming(65_500, 65_500, PROGRESSIVE),
    "png of 60,000 x 60,000": png_claiming(60_000, 60_000),
    "png of 2 ** 31 - 1 squared": png_claiming(2**31 - 1, 2**31 - 1),
}


@pytest.mark.parametrize("name", BOMBS)
def test_a_bomb_is_refused_in_words_before_it_is_decoded(name):
    start = time.perf_counter()
    error = refused(BOMBS[name], TooLarge, "pixels, more than")
    assert time.perf_counter() - start < 0.5
    assert "million" in error.message


def test_a_jpeg_that_claims_more_than_it_holds_is_damaged():
    refused(claiming(12_000, 12_000), DamagedPhoto)


def test_bombs_need_little_memory():
    script = (
        "import resource, sys; from prepcheck.photo import from_bytes; from prepcheck.settings import Settings\n"
        "data = sys.stdin.buffer.read(); before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss\n"
        "try:\n    from_bytes(data, 'a', Settings())\nexcept Exception as error:\n    print(type(error).__name__)\n"
        "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before)"
    )
    for data in (BOMBS["png of 60,000 x 60,000"], claiming(14_000, 14_000)):
        done = subprocess.run([sys.executable, "-c", script], input=data, capture_output=True, check=True)
        kind, grown = done.stdout.decode().split()
        assert kind in ("TooLarge", "DamagedPhoto")
        assert int(grown) < 300_000


def test_a_progressive_jpeg_that_would_need_too_much_memory_is_refused():
    whole = Image.new("RGB", (64, 64))
    data = claiming(13_000, 13_000, saved(whole, "JPEG", progressive=True, subsampling=0))
    refused(data, TooLarge, "progressive")


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "is empty"),
        (b"just some words", "is no picture"),
        (b"%PDF-1.7 ...", "is no picture"),
        (b"\xff\xd8", "is no picture"),
        (bytes(1000), "is no picture"),
    ],
)
def test_what_is_no_picture_is_said_to_be_none(data, says):
    refused(data, NotAPhoto, says)


def test_a_gif_is_no_photo():
    frames = [Image.fromarray(scene(seed=i)) for i in range(2)]
    refused(saved(frames[0], "GIF", save_all=True, append_images=frames[1:]), NotAPhoto, "GIF")
    refused(saved(frames[0], "GIF"), NotAPhoto, "GIF")


@pytest.mark.parametrize("kind", ["WEBP", "PNG"])
def test_an_animation_is_no_photo(kind):
    frames = [Image.fromarray(scene(seed=i)) for i in range(2)]
    refused(saved(frames[0], kind, save_all=True, append_images=frames[1:]), NotAPhoto, "animation")


def test_a_tiff_of_floating_point_numbers_says_what_to_do():
    error = refused(coded(scene().astype(np.float32) / 255, ".tiff"), NotAPhoto, "numbers")
    assert "8 or 16 bit" in error.message


@pytest.mark.parametrize("mode", ["CMYK", "LAB"])
def test_a_tiff_in_colours_of_print_is_refused_in_words(mode):
    refused(saved(Image.new(mode, (80, 60)), "TIFF"), NotAPhoto, "colour")


@pytest.mark.parametrize(
    "start", [b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"RIFF\x40\0\0\0WEBP", b"II*\0", b"MM\0*", b"\0\0\0\x18ftypheic"]
)
def test_noise_behind_any_signature_is_an_error_and_no_crash(start):
    rng = np.random.default_rng(5)
    for size in (0, 1, 7, 40, 3000):
        for _ in range(5):
            with pytest.raises(BrokenInput):
                from_bytes(start + rng.bytes(size), "a", SETTINGS)


@pytest.mark.parametrize("name", FILES)
def test_any_single_wrong_byte_gives_a_picture_or_one_clear_error(name):
    data = FILES[name]
    rng = np.random.default_rng(3)
    for at in [*range(0, 200, 7), *rng.integers(0, len(data), 20)]:
        wrong = bytearray(data)
        wrong[at] ^= 0xFF
        try:
            photo = from_bytes(bytes(wrong), "a", SETTINGS)
        except BrokenInput:
            continue
        assert photo.rgb.ndim == 3


@pytest.mark.parametrize("size", [(1, 1), (1, 400), (3, 3)])
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WEBP"])
def test_a_tiny_picture_is_read_and_found_unfit(kind, size):
    photo = from_bytes(saved(Image.new("RGB", size, (90, 90, 90)), kind), "a", SETTINGS)
    assert (photo.width, photo.height) == size
    assert "small_spot" in [flag.code for flag in photo_flags(photo, SETTINGS)]


@pytest.mark.parametrize(("level", "code"), [(0, "too_dark"), (255, "too_bright")])
def test_a_picture_all_black_or_all_white_is_read_and_blocked(level, code):
    photo = from_bytes(jpeg(np.full((600, 800, 3), level, np.uint8)), "a", SETTINGS)
    assert code in [flag.code for flag in photo_flags(photo, SETTINGS) if flag.blocking]


def test_a_file_that_is_not_there_is_unreadable(tmp_path):
    with pytest.raises(Unreadable, match="No such file"):
        read(tmp_path / "none.jpg", SETTINGS)


def test_a_folder_is_no_photo(tmp_path):
    with pytest.raises(AFolder, match="is a folder"):
        read(tmp_path, SETTINGS)


def test_a_pipe_is_refused_without_waiting_for_a_writer(tmp_path):
    os.mkfifo(tmp_path / "pipe.jpg")
    start = time.perf_counter()
    with pytest.raises(Unreadable, match="no regular file"):
        read(tmp_path / "pipe.jpg", SETTINGS)
    assert time.perf_counter() - start < 1


def test_a_device_is_unreadable(tmp_path):
    (tmp_path / "zero.jpg").symlink_to("/dev/zero")
    with pytest.raises(Unreadable, match="no regular file"):
        read(tmp_path / "zero.jpg", SETTINGS)


def test_a_socket_is_unreadable(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    with socket.socket(socket.AF_UNIX) as server:
        server.bind("s.jpg")
        with pytest.raises(Unreadable):
            read(tmp_path / "s.jpg", SETTINGS)


def test_a_loop_of_links_is_unreadable(tmp_path):
    (tmp_path / "a.jpg").symlink_to(tmp_path / "b.jpg")
    (tmp_path / "b.jpg").symlink_to(tmp_path / "a.jpg")
    with pytest.raises(Unreadable, match="links"):
        read(tmp_path / "a.jpg", SETTINGS)


def test_a_link_to_a_photo_is_read(tmp_path):
    (tmp_path / "a.jpg").write_bytes(PLAIN)
    (tmp_path / "b.jpg").symlink_to(tmp_path / "a.jpg")
    assert read(tmp_path / "b.jpg", SETTINGS).name == "b.jpg"


def test_a_file_without_permission_is_unreadable(tmp_path):
    path = tmp_path / "locked.jpg"
    path.write_bytes(PLAIN)
    path.chmod(0)
    if os.geteuid() != 0:
        with pytest.raises(Unreadable, match="Permission"):
            read(path, SETTINGS)
        return
    tmp_path.chmod(0o755)
    script = (
        "import os, sys; from pathlib import Path; from prepcheck.photo.files import read_bytes\n"
        "os.setgid(65534); os.setuid(65534)\n"
        "try:\n    read_bytes(Path(sys.argv[1]), 10**8)\nexcept Exception as error:\n    print(error)"
    )
    done = subprocess.run([sys.executable, "-c", script, str(path)], capture_output=True, text=True, check=True)
    assert "locked.jpg: cannot be read (Permission denied)" in done.stdout


@pytest.mark.parametrize("name", ["with space.jpg", "new\nline.jpg", "-dash.jpg", "Schweiß ✓ Привет.jpg", "\udcff.jpg"])
def test_odd_names_are_read_and_errors_about_them_are_one_printable_line(tmp_path, name):
    path = tmp_path / name
    path.write_bytes(PLAIN)
    assert read(path, SETTINGS).name == name
    path.write_bytes(b"words")
    with pytest.raises(NotAPhoto) as caught:
        read(path, SETTINGS)
    assert caught.value.message.isprintable()


def test_a_file_of_too_many_bytes_is_refused_unread(tmp_path):
    path = tmp_path / "huge.jpg"
    with path.open("wb") as file:
        file.truncate(10**12)
    with pytest.raises(TooLarge, match="150 MB"):
        read(path, SETTINGS)


def test_bytes_over_the_limit_are_refused():
    small = Settings(photo=PhotoSettings(max_bytes=1000))
    with pytest.raises(TooLarge):
        from_bytes(PLAIN, "a.jpg", small)


def test_bad_files_write_nothing_to_the_streams(capfd):
    for data in FILES.values():
        for share in (0.2, 0.6, 0.95):
            with pytest.raises(BrokenInput):
                from_bytes(data[: int(len(data) * share)], "a", SETTINGS)
    assert capfd.readouterr() == ("", "")
