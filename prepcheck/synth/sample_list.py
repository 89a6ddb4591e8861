"""The sample photos: what each one shows, under which light, taken how. Data only."""

from __future__ import annotations

from dataclasses import dataclass, replace

from prepcheck.synth.bowser import BLUE, CREAM, GREEN, GREY_PRIMER, YELLOW_PRIMER, Ground, Laid, Patchwork, Wall
from prepcheck.synth.camera import Camera
from prepcheck.synth.sample_view import Lamp, Light, View

SIZE = (1600, 1200)
"""Width and height of every photo as the phone's sensor sees it."""

PHONE = Camera(
    grey=0.62, anchor=0.96, balance=(1.0, 1.0, 1.0), vignette=0.15, hdr=0.2, contrast=0.3, sharpen=0.5, blur=0.55,
    motion=0.0, motion_angle=0.0, shot=0.0004, read=0.0015, saturation=1.05, quality=90,
)  # fmt: skip
"""Our invented phone, used with care in good light."""


@dataclass(frozen=True)
class Shot:
    """One sample photo.

    Attributes
    ----------
    name, title : str
        File name without ending, and what a person reads about it.
    wall, view, light, camera
        What is shown, from where, in which light, and what the phone makes of it.
    taken : str
        Capture time, ISO 8601 with offset; invented.
    standing, flags, note
        What prepcheck is expected to say of it, the flags it must raise, and why when that is not what the truth says.
    demo : (str, int) or None
        Spot and grinding pass in the demo job.
    upright : bool
        Held upright: the file says so in its EXIF orientation.
    seed : int
        Of the sensor's noise.
    """

    name: str
    title: str
    wall: Wall
    view: View
    light: Light
    taken: str
    standing: str
    flags: tuple[str, ...] = ()
    note: str = ""
    camera: Camera = PHONE
    demo: tuple[str, int] | None = None
    upright: bool = False
    seed: int = 1


DOOR = Light(1, ((-90, 35, 1.6, 0.5, 6), (-60, 70, 1.0, 0.12, 8), (200, 30, 0.5, 0.8, 3), (60, 15, 1.4, 0.6, 0.08)))
TUBES = Light(
    5, ((-100, 50, 1.3, 0.08, 22), (-70, 65, 1.3, 0.08, 22), (150, 25, 0.9, 0.5, 1.5), (30, 20, 0.8, 0.8, 0.1))
)
FLAT = Light(4, ((-90, 60, 2.4, 1.8, 1.5), (90, 30, 2.4, 0.8, 0.6), (0, 40, 0.8, 1.2, 1.0), (180, 40, 0.8, 1.2, 1.1)))
DUSK = Light(2, ((-90, 40, 1.2, 0.5, 2), (30, 60, 0.3, 0.2, 2)), ambient=0.25)


def torch(at: tuple[float, float, float], power: float = 1.0, aim: tuple[float, float] = (0.0, 0.0)) -> Light:
    """A torch held at `at` in a half-dark shop."""
    return replace(DUSK, lamps=(Lamp(at, aim, power, 0.9, 0.05),))


DIM = replace(PHONE, grey=0.4)
"""The same, exposed for the lamp: metal stays a stop below white."""

UPRIGHT_CARD = Laid((72, 18), -88)


def _seam_pass(number: int, left: float) -> Wall:
    """The spot of the demo job under the lower seam at grinding pass `number`."""
    size = 84.0 + 4 * number, 66.0 + 4 * number
    oxide = Patchwork(left, (0.66, 0.65, 0.61), 24, 0.08) if left else None
    spot = Ground((-36, 10), size, ("fibre",) if number < 3 else ("fibre", "flap"), 21, 20 + number, oxide)
    return Wall(17, (370, 310), CREAM, YELLOW_PRIMER, (spot,), -52, card=Laid((70, 20 + number), 88 + 2 * number))


SHOTS: tuple[Shot, ...] = (
    Shot(
        "clean-flat", "Clean: ground with a fibre disc, even daylight",
        Wall(3, (360, 310), CREAM, YELLOW_PRIMER, (Ground((-38, 2), (100, 88), ("fibre",), 2, 2),), -72, card=UPRIGHT_CARD),
        View(250, 9, 80, 1.5), FLAT, "2026-03-02T10:12:31+01:00", "bright",
    ),
    Shot(
        "clean-torch", "Clean: brushed, torch from the left",
        Wall(5, (230, 190), BLUE, GREY_PRIMER, (Ground((2, 6), (98, 84), ("brush",), 5, 5),), -62),
        View(165, 8, 200, -2), torch((-0.75, -0.35, 0.55), 1.0, (0.05, 0.0)), "2026-03-02T16:40:05+01:00", "bright",
        camera=replace(DIM, grey=0.32),
    ),
    Shot(
        "residue", "Residue left: white and grey oxide all over the spot",
        Wall(
            7, (360, 310), GREEN, GREY_PRIMER,
            (Ground((-36, 0), (104, 92), ("fibre",), 7, 8, Patchwork(0.45, (0.66, 0.65, 0.61), 28, 0.08)),), card=UPRIGHT_CARD,
        ),
        View(250, 13, 100, -1), DOOR, "2026-03-02T11:03:48+01:00", "residue left",
    ),
    Shot(
        "grey-under-scratches", "Deceptive: thin grey oxide under fresh scratches, as bright as the metal",
        Wall(
            9, (360, 310), CREAM, GREY_PRIMER,
            (Ground((-38, -4), (98, 86), ("flap",), 9, 9, Patchwork(0.22, (0.36, 0.36, 0.355), 22, 0.25, 0.3)),),
            card=UPRIGHT_CARD,
        ),
        View(250, 7, 60, 0.5), TUBES, "2026-03-02T11:31:17+01:00", "residue left",
    ),
    Shot(
        "pits", "Pits: two nests of them, the metal around is clean",
        Wall(
            11, (300, 260), CREAM, YELLOW_PRIMER, (Ground((-30, 0), (86, 80), ("pad",), 11, 11, pits=42),),
            card=Laid((70, 16), -93),
        ),
        View(225, 10, 110, -2), DOOR, "2026-03-03T08:22:40+01:00", "residue left",
        camera=replace(DIM, grey=0.31),
    ),
    Shot(
        "coating-left", "Coating left: flecks of yellow primer stay in the spot",
        Wall(
            13, (370, 310), BLUE, YELLOW_PRIMER,
            (Ground((-36, 2), (100, 84), ("flap",), 13, 15, coating=Patchwork(0.10, YELLOW_PRIMER, 12, 0.06)),), 70,
            card=UPRIGHT_CARD,
        ),
        View(250, 15, 75, 2), FLAT, "2026-03-03T08:47:02+01:00", "residue left",
    ),
    Shot(
        "rust-specks", "Foreign matter: rust specks from a steel brush",
        Wall(
            15, (220, 190), CREAM, GREY_PRIMER,
            (Ground((0, 2), (94, 76), ("brush",), 15, 16, rust=Patchwork(0.05, (0.20, 0.075, 0.025), 4, 0.15)),),
        ),
        View(160, 6, 30, 1), FLAT, "2026-03-03T09:15:55+01:00", "cannot tell", ("no_scale",),
        note="rust is left; the model marks it, and its interval does not settle it",
        camera=DIM,
    ),
    Shot(
        "glare", "Glare: the torch mirrors into the lens",
        Wall(19, (230, 190), GREEN, GREY_PRIMER, (Ground((0, 2), (92, 80), ("flap",), 19, 19),)),
        View(160, 10, 270, 0), torch((0.05, 0.30, 0.7), 0.9, (0.02, 0.06)), "2026-03-03T17:20:09+01:00", "retake", ("burnt_out",),
        note="the spot is clean, but the highlight hides it",
        camera=replace(PHONE, grey=0.42, anchor=0.7),
    ),
    Shot(
        "blurred", "Blurred: the phone moved",
        Wall(23, (230, 190), CREAM, YELLOW_PRIMER, (Ground((0, 0), (92, 84), ("fibre",), 23, 23, Patchwork(0.1)),), 58),
        View(165, 8, 90, 3), DUSK, "2026-03-03T17:26:51+01:00", "retake", ("blurred",),
        note="oxide is left, but a blurred photo is no evidence of it",
        camera=replace(PHONE, blur=2.6, motion=11.0, motion_angle=0.5, shot=0.001, read=0.003),
    ),
    Shot(
        "too-dark", "Too dark: under the tank without a lamp",
        Wall(25, (230, 190), BLUE, YELLOW_PRIMER, (Ground((0, 4), (94, 80), ("fibre",), 25, 25, Patchwork(0.08)),), -60),
        View(165, 9, 80, -1), DUSK, "2026-03-03T17:31:30+01:00", "retake", ("too_dark",),
        note="oxide is left, but a dark photo is no evidence of it",
        camera=replace(PHONE, grey=0.013, shot=0.0015, read=0.0035, contrast=0.0),
    ),
    Shot(
        "three-spots", "Three spots on one part: one clean, one with oxide, one with pits",
        Wall(
            27, (300, 340), CREAM, GREY_PRIMER,
            (
                Ground((-28, -70), (62, 50), ("flap",), 27, 27),
                Ground((30, -4), (58, 54), ("fibre",), 28, 28, Patchwork(0.3, (0.5, 0.5, 0.48), 12, 0.12)),
                Ground((-24, 62), (60, 52), ("pad",), 29, 29, pits=26),
            ),
        ),
        View(250, 7, 100, 89), FLAT, "2026-03-04T07:58:12+01:00", "cannot tell", ("no_scale",), upright=True,
        note="oxide and pits are left; the model takes most of them for metal",
        camera=DIM,
    ),
    Shot(
        "no-spot", "No spot: only the coat and a weld seam under it",
        Wall(31, (350, 300), GREEN, GREY_PRIMER, (), -22, card=Laid((-30, 38), 4)),
        View(240, 10, 85, -3), DOOR, "2026-03-04T08:10:44+01:00", "retake", ("no_spot",),
        camera=replace(PHONE, grey=0.5),
    ),
    Shot(
        "across-the-seam", "A spot across the weld seam: the bead cannot be told",
        Wall(33, (370, 310), GREEN, YELLOW_PRIMER, (Ground((-38, 0), (92, 74), ("fibre",), 33, 42),), 0, card=Laid((70, 8), 88)),
        View(250, 9, 95, 1), FLAT, "2026-03-04T08:31:20+01:00", "cannot tell",
    ),
    Shot(
        "seam-pass-1", "Lower seam after pass 1: much oxide left", _seam_pass(1, 0.42), View(252, 10, 85, 1), TUBES,
        "2026-03-05T09:02:10+01:00", "residue left",
        demo=("1", 1),
    ),
    Shot(
        "seam-pass-2", "Lower seam after pass 2: some oxide left", _seam_pass(2, 0.09), View(252, 13, 70, -2), TUBES,
        "2026-03-05T09:26:44+01:00", "residue left",
        demo=("1", 2), seed=2,
    ),
    Shot(
        "seam-pass-3", "Lower seam after pass 3: clean", _seam_pass(3, 0.0), View(252, 8, 100, 0.5), replace(TUBES, seed=6),
        "2026-03-05T09:51:03+01:00", "cannot tell",
        note="the spot is clean; the model doubts a place of 5 mm in the turn of two strokes",
        demo=("1", 3), seed=3,
    ),
)  # fmt: skip
