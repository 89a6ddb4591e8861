"""What is said of a difference, in plain words: areas, patches, and what the answer beside the mark rests on."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from prepcheck.inspection import Inspection
from prepcheck.practice.difference import Difference, Mask, Patch
from prepcheck.terms import FLAGS, Standing

WHO = {"tool": "the tool", "truth": "the known truth"}
ORIGIN = {
    "tool": "The tool is not the truth: where you differ, look again under a moved torch.",
    "truth": "This photo was rendered, so what it shows is known for each pixel.",
}


def area_rows(d: Difference) -> list[tuple[str, str]]:
    """Return the areas of a difference, each with its name."""
    other = WHO[d.against]
    rows = [
        ("Residue for both", _area(d, d.both)),
        ("Only for you", _area(d, d.only_marked)),
        (f"Only for {other}", _area(d, d.only_other)),
        ("Not sure: you or the other", _area(d, d.unsure)),
        ("Not sure: both", _area(d, d.neither_sure)),
    ]
    outside = [("Marked outside the ground area", _size(d, _px(d.outside)))] if d.outside.any() else []
    return rows + outside


def patch_lines(d: Difference) -> list[str]:
    """Say in one or two lines how many patches were found, and how many marked ones are off."""
    return list(_patches(d))


def patch_words(d: Difference, patch: Patch) -> str:
    """Say one patch: how large, and whether it was found."""
    size, other = _size(d, patch.px), WHO[d.against]
    covered = f"{100 * patch.covered:.0f} %"
    if patch.whose == "other":
        how = "you marked none of it" if not patch.covered else f"you marked {covered} of it"
        return f"{size}: residue for {other}; {how}"
    how = "none of it is residue" if not patch.covered else f"{covered} of it is residue"
    return f"{size}: you marked it; {how} for {other}"


def ground_words(d: Difference) -> str:
    """Say what was compared at all."""
    if not d.ground:
        return "No ground area is known in this photo, so nothing was compared."
    least = "3 mm2" if d.mm2_per_px else "0.1 % of the ground area"
    return f"Compared inside the ground area, {_size(d, d.ground)}; patches of at least {least} are counted."


def unfit_words(inspection: Inspection) -> str:
    """Say why the tool would have the photo taken again, so that its answer means little; empty where it would not."""
    if inspection.standing is not Standing.RETAKE:
        return ""
    names = ", ".join(FLAGS[flag.code].name for flag in inspection.flags if flag.blocking) or "no ground spot found"
    return f"The tool would have this photo taken again ({names}): what it maps here means little."


def _patches(d: Difference) -> Iterator[str]:
    other, marked, who = d.of("other"), d.of("marked"), WHO[d.against]
    found = sum(not patch.missed for patch in other)
    off = sum(patch.missed for patch in marked)
    yield f"You found {found} of {len(other)} patches of {who} (at least a quarter of each marked)."
    if marked:
        yield f"{off} of your {len(marked)} patches lie mostly where {who} shows no residue."


def _area(d: Difference, mask: Mask) -> str:
    share = 100 * _px(mask) / d.ground if d.ground else 0.0
    return f"{share:.1f} % of the ground area" + (f", {_size(d, _px(mask))}" if d.mm2_per_px else "")


def _size(d: Difference, px: int) -> str:
    if d.mm2_per_px:
        return f"{px * d.mm2_per_px:,.0f} mm2" if px * d.mm2_per_px >= 10 else f"{px * d.mm2_per_px:.1f} mm2"
    return f"{px:,} px of the map" if not d.ground else f"{100 * px / d.ground:.1f} % of the ground area"


def _px(mask: Mask) -> int:
    return int(np.count_nonzero(mask))
