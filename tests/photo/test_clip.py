"""Clips of a torch sweep, written here by OpenCV as mp4 and changed box by box."""

from __future__ import annotations

import contextlib
import hashlib
import struct
import subprocess
import sys
from pathlib import Path

import cv2
import numpy as np
import pytest

from prepcheck.errors import BrokenInput, DamagedPhoto, MissingDecoder, NotAPhoto, TooLarge, Unreadable
from prepcheck.photo import clip
from prepcheck.photo.clip import clip_from_bytes, difference, is_clip, read_clip, spread
from prepcheck.photo.clip_header import read_clip_header
from prepcheck.settings import ClipSettings, Settings
from prepcheck.synth.sets import make_set
from tests.photo.pictures import jpeg, scene

WIDTH, HEIGHT, COUNT = 480, 270, 36
SETTINGS = Settings()
PARENTS = (b"moov", b"trak", b"mdia", b"minf", b"stbl", b"edts")


def written(folder: Path, frames: list[np.ndarray], name: str = "sweep.mp4", rate: float = 30.0) -> bytes:
    """The bytes of a clip of RGB frames."""
    path = folder / f"written_{name}"
    height, width = frames[0].shape[:2]
    writer = cv2.VideoWriter(str(path), cv2.VideoWriter_fourcc(*"mp4v"), rate, (width, height))
    for frame in frames:
        writer.write(cv2.cvtColor(frame, cv2.COLOR_RGB2BGR))
    writer.release()
    return path.read_bytes()


def lit(rgb: np.ndarray, across: float, strength: float = 0.8) -> np.ndarray:
    """A picture under a lamp at the share `across` of its width."""
    x = np.linspace(0, 1, rgb.shape[1])[None, :, None]
    light = 1 - strength + strength * np.exp(-((x - across) ** 2) / 0.08)
    return np.asarray(np.clip(rgb * light * 1.3, 0, 255), np.uint8)


def sweep(count: int = COUNT, width: int = WIDTH, height: int = HEIGHT) -> list[np.ndarray]:
    """Frames of a still scene under a lamp that goes from left to right."""
    rgb = scene(width, height)
    return [lit(rgb, index / (count - 1)) for index in range(count)]


@pytest.fixture(scope="module")
def swept(tmp_path_factory) -> bytes:
    return written(tmp_path_factory.mktemp("clip"), sweep())


def read(data: bytes, name: str = "sweep.mp4", settings: Settings = SETTINGS):
    return clip_from_bytes(data, name, settings)


def numbers(photos) -> list[int]:
    return [int(photo.name.rsplit(" ", 1)[1]) for photo in photos]


def boxes(data: bytes) -> list[tuple[bytes, bytes]]:
    found, at = [], 0
    while at < len(data):
        size = int.from_bytes(data[at : at + 4], "big")
        found.append((data[at + 4 : at + 8], data[at + 8 : at + size]))
        at += size
    return found


def changed(data: bytes, kind: bytes, change) -> bytes:
    """The clip with the body of each box `kind` replaced by ``change(body)``; None drops the box."""
    out = []
    for name, body in boxes(data):
        new = change(body) if name == kind else changed(body, kind, change) if name in PARENTS else body
        if new is not None:
            out.append(struct.pack(">I", len(new) + 8) + name + new)
    return b"".join(out)


def put(at: int, form: str, *values: int):
    """A change that writes `values` at the place `at` of a body; negative places count from its end."""

    def change(body: bytes) -> bytes:
        start = at % len(body)
        return body[:start] + struct.pack(form, *values) + body[start + struct.calcsize(form) :]

    return change


def refused(kind: type[BrokenInput], words: str, data: bytes, settings: Settings = SETTINGS) -> None:
    with pytest.raises(kind, match=words) as caught:
        read(data, settings=settings)
    assert caught.value.subject == "sweep.mp4"
    assert caught.value.do


# what is chosen


def test_a_sweep_gives_two_to_six_photos(swept):
    assert 2 <= len(read(swept)) <= 6


def test_the_photos_are_frames_of_the_clip_as_they_stood(swept):
    for photo in read(swept):
        frame = sweep()[numbers([photo])[0] - 1]
        assert np.abs(photo.rgb.astype(int) - frame).mean() < 5


def test_the_photos_show_the_torch_at_both_ends_of_its_way(swept):
    found = numbers(read(swept))
    assert min(found) <= COUNT // 6
    assert max(found) > COUNT - COUNT // 6


def test_each_photo_carries_the_clip_s_hash_and_size(swept):
    photos = read(swept)
    assert {(photo.sha256, photo.byte_count) for photo in photos} == {(hashlib.sha256(swept).hexdigest(), len(swept))}


def test_the_photos_are_told_apart_by_names_with_the_stem_of_the_clip(swept):
    names = [photo.name for photo in read(swept, "folder/sweep.mp4")]
    assert len(set(names)) == len(names)
    assert {Path(name).stem for name in names} == {"sweep"}


def test_the_same_clip_gives_the_same_photos(swept):
    first, again = read(swept), read(swept)
    assert [(one.name, one.picture_hash, one.rgb.tobytes()) for one in first] == [
        (one.name, one.picture_hash, one.rgb.tobytes()) for one in again
    ]


def test_frames_smeared_by_a_shaking_hand_are_passed_over(tmp_path):
    frames = [frame if index % 3 == 1 else cv2.blur(frame, (25, 1)) for index, frame in enumerate(sweep())]
    assert all(number % 3 == 2 for number in numbers(read(written(tmp_path, frames))))


def test_a_stretch_in_which_the_torch_is_off_is_passed_over(tmp_path):
    frames = sweep()
    frames[12:24] = [frame // 12 for frame in frames[12:24]]
    assert not set(numbers(read(written(tmp_path, frames)))) & set(range(13, 25))


def test_a_clip_all_smeared_is_read_all_the_same_and_left_to_be_judged(tmp_path):
    frames = [cv2.blur(frame, (61, 61)) for frame in sweep()]
    assert len(read(written(tmp_path, frames))) >= 2


def test_where_all_but_one_stretch_is_smeared_that_one_gives_the_first_photo(tmp_path):
    frames = [frame if 9 <= index < 12 else cv2.blur(frame, (15, 15)) for index, frame in enumerate(sweep())]
    assert numbers(read(written(tmp_path, frames)))[0] in (10, 11, 12)


def test_of_a_long_clip_no_more_than_a_few_dozen_frames_are_looked_at(tmp_path, monkeypatch):
    looked_at = []
    whole = clip._blur
    monkeypatch.setattr(clip, "_blur", lambda frame, settings: looked_at.append(frame.number) or whole(frame, settings))
    read(written(tmp_path, sweep(300, 160, 96)))
    assert 30 <= len(looked_at) <= 40


def test_a_clip_without_any_motion_gives_two_photos(tmp_path):
    assert len(read(written(tmp_path, [scene(WIDTH, HEIGHT)] * COUNT))) == 2


def test_each_light_of_a_rendered_sweep_is_chosen(tmp_path):
    pictures = make_set(7_900_012, (240, 320))
    views = [
        cv2.warpPerspective(one.image, np.asarray(one.meta.get("to_first", np.eye(3))), (320, 240)) for one in pictures
    ]
    weights = [min(1.0, max(0.0, index % 12 / 4 - 2)) for index in range(12 * len(views))]
    frames = []
    for index, weight in enumerate(weights):
        now, after = views[index // 12], views[min(index // 12 + 1, len(views) - 1)]
        frames.append(cv2.addWeighted(now, 1 - weight, after, weight, 0))
    found = numbers(read(written(tmp_path, frames)))
    assert {(number - 1) // 12 for number in found} == set(range(len(views)))


def test_lights_are_chosen_farthest_first_and_alike_ones_left_out():
    ramp = np.linspace(-1, 1, 48, dtype=np.float32)[None].repeat(27, 0)
    lights = [0 * ramp, 0.01 * ramp, ramp, 0.99 * ramp, -2 * ramp]
    assert spread(lights, [0, 1, 2, 3, 4]) == [0, 4, 2]


def test_a_hand_that_moves_by_a_twentieth_is_no_change_of_light():
    rng = np.random.default_rng(3)
    wide = cv2.GaussianBlur(rng.normal(0, 4, (40, 60)).astype(np.float32), (0, 0), 2)
    assert difference(wide[4:31, 4:52], wide[6:33, 2:50]) < 0.05 < difference(wide[4:31, 4:52], wide[12:39, 10:58])


# how it stands, and when it was taken


@pytest.mark.parametrize(
    ("matrix", "turn"),
    [
        ((0, 1, -1, 0), cv2.ROTATE_90_CLOCKWISE),
        ((-1, 0, 0, -1), cv2.ROTATE_180),
        ((0, -1, 1, 0), cv2.ROTATE_90_COUNTERCLOCKWISE),
    ],
)
def test_a_clip_of_a_turned_phone_stands_upright(swept, matrix, turn):
    a, b, c, d = (value * 65536 for value in matrix)
    turned = changed(swept, b"tkhd", put(-44, ">iiiiiiiii", a, b, 0, c, d, 0, 0, 0, 1 << 30))
    for upright, stored in zip(read(turned), read(swept), strict=True):
        assert (upright.height, upright.width) == upright.rgb.shape[:2]
        assert np.array_equal(upright.rgb, cv2.rotate(stored.rgb, turn))


def test_the_time_of_recording_is_read_in_utc(swept):
    seconds = 3_800_000_000  # 2024-05-31 11:33:20 UTC, in seconds since 1904 (date -d @1717155200)
    made = changed(swept, b"mvhd", put(4, ">I", seconds))
    assert {photo.taken for photo in read(made)} == {"2024-05-31T11:33:20+00:00"}


def test_no_time_of_recording_is_made_up(swept):
    assert {photo.taken for photo in read(changed(swept, b"mvhd", put(4, ">I", 0)))} == {None}


def test_frames_are_reduced_but_keep_their_full_size_in_numbers(tmp_path):
    small = Settings.model_validate({"photo": {"detail_px": 640}})
    photo = read(written(tmp_path, sweep(4, 1280, 720)), settings=small)[0]
    assert (photo.width, photo.height, photo.rgb.shape) == (1280, 720, (360, 640, 3))


# clips out of the ordinary that are read


def test_a_frame_rate_that_varies_does_no_harm(swept):
    durations = [(12, 300), (12, 3000), (12, 600)]
    table = struct.pack(">II", 0, 3) + b"".join(struct.pack(">II", *one) for one in durations)
    varied = changed(changed(swept, b"stts", lambda _: table), b"edts", lambda _: None)
    assert numbers(read(varied)) == numbers(read(swept))


def test_a_clip_trimmed_on_the_phone_is_not_taken_for_damaged(swept):
    half = changed(swept, b"elst", put(8, ">I", COUNT // 2 * 1000 // 30))
    assert half != swept
    assert max(numbers(read(half))) <= COUNT // 2 + 3


def test_a_mov_is_told_from_an_mp4(swept):
    mov = changed(swept, b"ftyp", put(0, ">4s", b"qt  "))
    assert [{photo.format for photo in read(data)} for data in (mov, swept)] == [{"MOV"}, {"MP4"}]


# what is refused


def test_a_clip_of_one_frame_is_refused(tmp_path):
    refused(DamagedPhoto, "single frame", written(tmp_path, [scene(WIDTH, HEIGHT)]))


@pytest.mark.parametrize("kept", [0.3, 0.9, 0.999])
def test_a_cut_clip_is_refused(swept, kept):
    refused(DamagedPhoto, "it is cut", swept[: int(len(swept) * kept)])


def test_a_clip_whose_second_half_does_not_decode_is_refused(swept):
    half = changed(swept, b"mdat", lambda body: body[: len(body) // 2] + bytes(len(body) - len(body) // 2))
    refused(DamagedPhoto, "frames can be decoded", half)


def test_sound_alone_is_refused(swept):
    refused(NotAPhoto, "no pictures", changed(swept, b"hdlr", put(8, ">4s", b"soun")))


def test_an_hour_is_refused_before_decoding(swept):
    hour = changed(swept, b"mdhd", put(12, ">II", 600, 3600 * 600))
    refused(TooLarge, "lasts 60 minutes, more than 30 seconds", hour)


def test_more_frames_than_allowed_are_refused_before_decoding(swept):
    refused(TooLarge, "holds 200,000 frames, more than 1,800", changed(swept, b"stsz", put(8, ">I", 200_000)))


@pytest.mark.parametrize(
    "change", [(b"tkhd", put(-8, ">II", 30000 << 16, 30000 << 16)), (b"stsd", put(40, ">HH", 30000, 30000))]
)
def test_frames_said_to_be_huge_are_refused_before_decoding(swept, change):
    refused(TooLarge, "30000 x 30000 pixels, more than 9 million", changed(swept, *change))


def test_frames_larger_than_their_header_says_are_refused(tmp_path):
    large = written(tmp_path, sweep(4, 640, 480))
    small = changed(changed(large, b"tkhd", put(-8, ">II", 64 << 16, 48 << 16)), b"stsd", put(40, ">HH", 64, 48))
    refused(TooLarge, "640 x 480", small, Settings(clip=ClipSettings(max_pixels=100_000)))


def test_frames_that_last_longer_than_their_header_says_are_refused(swept):
    slow = changed(swept, b"stts", lambda _: struct.pack(">IIII", 0, 1, COUNT, 60_000))
    slow = changed(slow, b"edts", lambda _: None)
    refused(TooLarge, "seconds, more than 30 seconds", slow)


def test_a_clip_in_an_unknown_coding_is_refused(swept):
    def unknown(body: bytes) -> bytes:
        return body.replace(b"mp4v", b"zzzz").replace(b"esds", b"zzzz")

    refused(MissingDecoder, "not read here", changed(swept, b"stsd", unknown))


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "is empty"),
        (bytes(5000), "no video clip"),
        (jpeg(scene()), "no video clip"),
        (b"\x1a\x45\xdf\xa3" + bytes(100), "Matroska"),
        (b"RIFF\0\0\0\0AVI LIST" + bytes(100), "AVI"),
    ],
)
def test_what_is_no_mp4_or_mov_is_refused_by_its_bytes(data, words):
    refused(NotAPhoto, words, data)


def test_a_file_over_the_limit_is_refused_before_it_is_read(swept, tmp_path):
    path = tmp_path / "sweep.mp4"
    path.write_bytes(swept)
    with pytest.raises(TooLarge, match="Film the spot"):
        read_clip(path, Settings(clip=ClipSettings(max_bytes=1000)))


def test_a_file_that_is_not_there_is_said_to_be_so(tmp_path):
    with pytest.raises(Unreadable, match="No such file"):
        read_clip(tmp_path / "sweep.mp4", SETTINGS)


def test_a_header_with_changed_bytes_is_read_or_refused_as_broken(swept):
    rng = np.random.default_rng(11)
    start = swept.index(b"moov") - 4
    for _ in range(400):
        broken = bytearray(swept)
        for at in rng.integers(start, len(swept), 3):
            broken[at] = rng.integers(256)
        with contextlib.suppress(BrokenInput):
            read_clip_header(bytes(broken), "sweep.mp4", SETTINGS.clip)


def test_nothing_but_the_error_is_printed_of_a_damaged_clip(swept, tmp_path):
    path = tmp_path / "sweep.mp4"
    path.write_bytes(changed(swept, b"mdat", lambda body: bytes(len(body))))
    code = (
        "import sys, pathlib\nfrom prepcheck.photo.clip import read_clip\nfrom prepcheck.settings import Settings\n"
        "from prepcheck.errors import BrokenInput\n"
        "try: read_clip(pathlib.Path(sys.argv[1]), Settings())\nexcept BrokenInput: print('refused')"
    )
    done = subprocess.run([sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=True)
    assert (done.stdout, done.stderr) == ("refused\n", "")


# what counts as a clip


def test_a_clip_is_known_by_its_bytes_whatever_its_name(swept, tmp_path):
    path = tmp_path / "sweep.jpg"
    path.write_bytes(swept)
    assert is_clip(path)


def test_a_broken_file_named_as_a_clip_counts_as_one(tmp_path):
    path = tmp_path / "sweep.MOV"
    path.write_bytes(b"")
    assert is_clip(path)


@pytest.mark.parametrize("data", [jpeg(scene()), b"\0\0\0\x18ftypheic\0\0\0\0mif1heic", b"RIFF\0\0\0\0WEBPVP8 ", b""])
def test_a_photo_is_no_clip(data, tmp_path):
    path = tmp_path / "plate.jpg"
    path.write_bytes(data)
    assert not is_clip(path)


def test_a_file_that_is_not_there_is_no_clip_unless_named_so(tmp_path):
    assert not is_clip(tmp_path / "plate.jpg")
    assert is_clip(tmp_path / "sweep.mp4")
