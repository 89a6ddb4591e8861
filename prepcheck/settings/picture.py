"""Settings of what is read: photos, clips, the scale card, photos laid over each other."""

from __future__ import annotations

from prepcheck.settings.setting import Group, threshold


class PhotoSettings(Group):
    """Limits on what is read."""

    max_bytes: int = threshold(
        150_000_000,
        unit="byte",
        low=1,
        reason="a 200 MP JPEG at high quality stays below 100 MB; more is no phone photo",
    )
    max_pixels_jpeg: int = threshold(
        200_000_000, unit="px", low=1, reason="largest phone sensors; JPEG is decoded reduced, so memory stays bounded"
    )
    max_pixels_other: int = threshold(
        60_000_000, unit="px", low=1, reason="formats that must be decoded whole; 60 MP is 180 MB of pixels"
    )
    detail_px: int = threshold(
        2560,
        unit="px",
        low=640,
        high=8192,
        reason="long side of the raster kept for card and sharpness: markers of a card at 5 % of the width stay readable",
    )
    working_px: int = threshold(
        1280, unit="px", low=320, high=4096, reason="long side seen by the model: what it was trained on"
    )
    enlarge_from_px: int = threshold(
        800,
        unit="px",
        low=320,
        high=4096,
        reason="photos of at least this long side are enlarged to `working_px` for the model: on 129 labelled photographs held"
        " out of the fit, most of 800 to 1,024 px, balanced accuracy at points 0.772 as they are and 0.796 enlarged (eye-7;"
        " eye-6: 0.695 and 0.711); of smaller ones there were too few to tell, and one of a cup of coffee was taken for metal",
    )
    smoothing_px: float = threshold(
        1.5,
        unit="px of the map",
        low=0.0,
        high=10.0,
        reason="spread (standard deviation) over which the model's chances are averaged: on 80 own pictures, not those"
        " reported on, 1.2 to 2 px took false patches from 4.9 to 3.2 to 2.5 a photo and patch recall from 0.47 to 0.45",
    )


class FitnessSettings(Group):
    """When a photo is fit to be judged."""

    blur_px: float = threshold(
        1.5,
        unit="px at working size",
        low=0.0,
        high=20.0,
        reason="between the sharpest 98 % of 88 workshop photographs (up to 1.4) and their copies blurred by 2 px (from 1.55)",
    )
    dark_level: float = threshold(
        40.0,
        unit="of 255",
        low=0.0,
        high=255.0,
        reason="below, in linear light 2 % of white, noise of a phone hides scratches",
    )
    white_share: float = threshold(
        0.75, unit="share of picture", low=0.0, high=1.0, reason="a part before a white wall still shows in the rest"
    )
    burnt_share: float = threshold(
        0.25,
        unit="share of the spots",
        low=0.0,
        high=1.0,
        reason="with more than that unseen no spot can be called bright",
    )
    cast_degrees: float = threshold(
        15.0,
        unit="degree in linear RGB",
        low=0.0,
        high=60.0,
        reason="of 88 workshop photographs 7 lie above, of their copies in uncorrected lamp light (2856 K) 86",
    )
    patch_px: float = threshold(
        4.0, unit="px at working size", low=1.0, reason="a patch as long as the limit must be resolved"
    )


class CardSettings(Group):
    """The scale card."""

    check_line_mm: float = threshold(
        100.0, unit="mm", low=90.0, high=110.0, reason="true length of the printed checking line: measure it"
    )
    print_error: float = threshold(
        0.003,
        unit="share of a length",
        low=0.0,
        high=0.1,
        reason="what a ruler read to a quarter of a millimetre leaves open on the 100 mm checking line",
    )
    least_markers: int = threshold(
        3, unit="of 4 markers", low=2, high=4, reason="one corner may be covered; two leave the tilt open"
    )
    most_misfit: float = threshold(
        0.01,
        unit="share of a marker's side",
        low=0.0,
        high=1.0,
        reason="a card bent to a radius of 150 mm is off by as much, and its lengths are wrong by 0.8 %",
    )
    most_misfit_px: float = threshold(
        0.6,
        unit="px of the detail raster",
        low=0.0,
        reason="twice the error of a corner measured in blurred pictures; counts where markers are small",
    )
    most_error: float = threshold(
        0.03,
        unit="share of a length, standard deviation, beside the card",
        low=0.0,
        high=1.0,
        reason="a patch limit of 3 mm then means 2.8 to 3.2 mm, about what a person measures with a ruler",
    )
    most_error_middle: float = threshold(
        0.1,
        unit="share of a length, standard deviation, in the middle of the picture",
        low=0.0,
        high=1.0,
        reason="a card small and far from the middle hardly shows its tilt; beyond this the number misleads",
    )
    stated_error: float = threshold(
        0.02, unit="share of a length", low=0.0, high=1.0, reason="what a person reads off a ruler in the photo"
    )
    most_difference: float = threshold(
        0.05, unit="share of a length", low=0.0, high=1.0, reason="a print shrunk to fit the page is off by as much"
    )


class AlignSettings(Group):
    """When one photo may be laid over another."""

    most_error_px: float = threshold(
        3.0,
        unit="px at working size, estimated, root mean square",
        low=0.1,
        high=20.0,
        reason="a patch of 3 mm is 14 px long at 0.22 mm per px; laid a fifth of that off it still lies on itself",
    )
    least_matches: int = threshold(
        12, unit="places that agree", low=5, reason="a homography has eight unknowns, and each place tells two"
    )
    least_share: float = threshold(
        0.25,
        unit="share of the places found",
        low=0.0,
        high=1.0,
        reason="by chance a place is found within 3 px of where it should be in one of 15 cases",
    )
    least_overlap: float = threshold(
        0.3, unit="share of the first photo", low=0.0, high=1.0, reason="less is another view, not a shaken hand"
    )
    most_scale: float = threshold(
        2.5, unit="times", low=1.0, high=10.0, reason="from farther away scratches are no longer resolved"
    )


class MovedLightSettings(Group):
    """When photos of one view count as taken under a moved light."""

    least_moved: float = threshold(
        0.045,
        unit="1 - correlation of shading between two photos",
        low=0.0,
        high=2.0,
        reason="best parts moved from still torches in own sets; below it a second photo tells little more than the first",
    )


class ClipSettings(Group):
    """Limits on a clip of a torch sweep, held against what it says before any frame is decoded, and while decoding."""

    max_bytes: int = threshold(
        400_000_000, unit="byte", low=1, reason="30 s of 4K at 100 Mbit/s; a sweep of 5 s in 1080p is 10 to 20 MB"
    )
    max_seconds: float = threshold(
        30.0, unit="s", low=1.0, high=600.0, reason="a sweep takes some 5 s; every second costs decoding"
    )
    max_frames: int = threshold(
        1800, unit="frames", low=2, reason="30 s at 60 frames a second; bounds the work where times are wrong"
    )
    max_pixels: int = threshold(
        9_000_000,
        unit="px of a frame",
        low=1,
        reason="4K is 8.3 or 8.8 million; more is four times the work, not detail",
    )
