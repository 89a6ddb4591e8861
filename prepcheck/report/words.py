"""How figures of a record are said to a person; shared by picture and table. Computes no score."""

from __future__ import annotations

import math
from collections.abc import Callable

from prepcheck.record import (
    FlagRecord,
    Interval,
    JointRecord,
    MovedLightRecord,
    OriginRecord,
    PatchRecord,
    PersonRecord,
    Record,
    SideRecord,
    SinceLastPass,
    SpotRecord,
)
from prepcheck.terms import FLAGS, Standing, State

MARGIN_MARK = "shop practice, from memory"
"""Where the width of the margin beside a joint comes from."""
_LABELS = {state.key: state.label for state in State}
_SHORT = {State.OXIDE.key: "oxide", State.PIT.key: "pit", State.COATING.key: "coating", State.FOREIGN.key: "foreign"}


def score_words(bright_share: float | None, interval: Interval | None) -> str:
    """Say a score with its interval: ``score 71 (62 to 79)``; the interval rounded outwards, 100 never rounded to."""
    if bright_share is None:
        return "no score"
    score = round(_hundred(bright_share))
    if score == 100 and bright_share < 1.0:
        score = 99
    return f"score {score}" + ("" if interval is None else f" ({interval_words(interval)})")


def answer_words(answer: Record | PersonRecord) -> str:
    """Say the score of an answer for a photo; that of a photo to retake is not said."""
    if answer.standing is Standing.RETAKE:
        return "photo not fit to judge"
    return score_words(answer.bright_share, answer.interval)


def interval_words(interval: Interval) -> str:
    """Say an interval of shares in points of the score, rounded outwards: ``62 to 79``."""
    low, high = interval
    return f"{math.floor(_hundred(low))} to {math.ceil(_hundred(high))}"


def share_words(share: float | None) -> str:
    """Say a share in per cent; what is there but under half a per cent is ``<1%``, what is missing a dash."""
    if share is None:
        return "-"
    if 0 < share < 0.005:
        return "<1%"
    return f"{min(round(_hundred(share)), 100 if share >= 1 else 99)}%"


def patch_words(patch: PatchRecord | None) -> str:
    """Say a patch: ``oxide 11 mm``; ``oxide, no scale`` when its length is not known; a dash when there is none."""
    if patch is None:
        return "-"
    name = _SHORT.get(patch.state, patch.state)
    doubt = "" if patch.sure else "?"
    if patch.length_mm is None:
        return f"{name}{doubt}, no scale"
    return f"{name}{doubt} {length_words(patch.length_mm)}"


def patches_of(spot: SpotRecord) -> list[PatchRecord]:
    """Return the patches that a record tells of a spot, longest first; only the longest in records made long ago."""
    return spot.longest_patches or ([] if spot.largest_patch is None else [spot.largest_patch])


def place_in(patch: PatchRecord, spot: SpotRecord) -> str:
    """Say where in a spot a patch lies, by thirds of the spot's width and height in the photo: ``lower left``."""
    across, down = (_third(patch.at[axis], [point[axis] for point in spot.outline]) for axis in (0, 1))
    words = [word for word in (("upper", "", "lower")[down], ("left", "", "right")[across]) if word]
    return " ".join(words) or "in the middle"


def _third(at: float, outline: list[float]) -> int:
    low, high = min(outline, default=at), max(outline, default=at)
    return min(2, max(0, int(3 * (at - low) / (high - low)))) if high > low else 1


def patches_words(spot: SpotRecord, say: Callable[[PatchRecord], str] = patch_words, most: int = 5) -> str:
    """List the longest patches of a spot with their places; empty for fewer than two, which are told elsewhere."""
    if spot.patches < 2:
        return ""
    listed = [f"{say(patch)} {place_in(patch, spot)}" for patch in patches_of(spot)[:most]]
    rest = spot.patches - len(listed)
    return "; ".join(listed) + (f"; and {rest} more" if rest else "")


def length_words(mm: float) -> str:
    """Say a length: one decimal under 10 mm, none from there on."""
    return f"{mm:.1f} mm" if mm < 9.95 else f"{mm:.0f} mm"


def area_words(spot: SpotRecord) -> str:
    """Say a spot's area in cm2 (mm2 when small), in pixels without a scale."""
    if spot.area_mm2 is None:
        return f"{spot.area_px} px"
    return f"{spot.area_mm2:.0f} mm²" if spot.area_mm2 < 1000 else f"{spot.area_mm2 / 100:.1f} cm²"


def shares_words(spot: SpotRecord) -> str:
    """Say the shares of the states other than bright metal, largest first."""
    left = sorted(((v, k) for k, v in spot.shares.items() if v > 0 and k != State.BRIGHT.key), reverse=True)
    return ", ".join(f"{_LABELS.get(key, key)} {share_words(share)}" for share, key in left) or "bright metal only"


def joint_words(joint: JointRecord) -> list[str]:
    """Say what was seen at the joint line: what touches it, then a line for each side's margin with its mark."""
    touching = ", ".join(patch_words(patch) for patch in joint.touching)
    said = [f"Joint line: touched by {touching}" if touching else "Joint line: no residue patch found at it"]
    if joint.margin_mm is None:
        return [f"{said[0]}. No scale, so the margin beside it is not judged."]
    mark = "as stated by a person" if joint.margin_stated else MARGIN_MARK
    said = [f"{said[0]}. Margin of {joint.margin_mm:g} mm each side ({mark}; changes no standing):"]
    return said + [_side_words(side, joint.margin_mm) for side in joint.sides]


def _side_words(side: SideRecord, margin_mm: float) -> str:
    told = {"residue": "residue", "not_ground": "not ground", "cannot_tell": "cannot tell"}
    left = ", ".join(
        f"{words} {share_words(side.shares[kind])}" for kind, words in told.items() if side.shares[kind] > 0
    )
    if side.clear_mm >= margin_mm:
        return f"{side.name}: no residue patch as far as the margin{f'; {left}' if left else ''}"
    where = "right at the line" if side.clear_mm < 0.5 else f"the nearest {length_words(side.clear_mm)} from the line"
    return f"{side.name}: {left}; {where}"


def fit_words(origin: OriginRecord) -> str:
    """Say with which fit of the shop an answer was read: ``read with this shop's own fit of 2026-11-28``; empty for none."""
    return "" if origin.shop_fit is None else f"read with this shop's own fit of {origin.shop_fit_made_on}"


def set_words(behind: MovedLightRecord) -> str:
    """Say how many photos of a moved-light set were used, how well they lie on the first, how far the light moved."""
    used = [photo for photo in behind.photos if not photo.left_out]
    said = f"Moved light: {len(used)} of {len(behind.photos)} photos used"
    if errors := [photo.error_px for photo in used if photo.error_px is not None]:
        said += f", laid on the first to about {max(errors):.1f} px"
    if behind.moved is not None:
        said += f", light moved by {behind.moved:.2f}" + ("" if behind.enough else " (too little)")
    alone = score_words(behind.alone.bright_share, behind.alone.interval)
    return f"{said}. The first photo alone: {behind.alone.standing}, {alone}."


def rests_words(record: Record) -> str:
    """Say in one line on how many photos the answer for a moved-light set rests; empty for a single photo."""
    behind = record.moved_light
    if behind is None:
        return ""
    used, given = sum(not photo.left_out for photo in behind.photos), len(behind.photos)
    if record.standing is Standing.RETAKE:
        return f"The first of {given} photos under a moved light."
    if used == 1:
        return f"Rests on 1 of {given} photos, no moved light."
    return (
        f"Rests on {used} of {given} photos {'under a moved light' if behind.enough else 'whose light hardly moved'}."
    )


def since_words(since: SinceLastPass) -> str:
    """Say what changed on a spot since an earlier pass, in one line."""
    if since.shares is None:
        return f"not compared with pass {since.pass_no}: {since.reason}"
    told = {"newly bright": "newly_bright", "still residue": "still_residue", "newly exposed": "newly_exposed"}
    parts = [f"{words} {share_words(since.shares[name])}" for words, name in told.items()]
    if since.shares["not_comparable"] >= 0.005:
        parts.append(f"not comparable {share_words(since.shares['not_comparable'])}")
    return f"since pass {since.pass_no}: {', '.join(parts)} of the spot{_stays(since)}"


def _stays(since: SinceLastPass) -> str:
    if not since.persisting:
        return ""
    count, most = len(since.persisting), max(patch.passes for patch in since.persisting)
    return f"; {count} {'place stays' if count == 1 else 'places stay'} residue over up to {most} passes"


def flag_name(flag: FlagRecord) -> str:
    """Return the short name of a flag; a flag of a newer version keeps its code."""
    return FLAGS[flag.code].name if flag.code in FLAGS else flag.code


def flag_action(flag: FlagRecord, *, with_command: bool = False) -> str:
    """Return what to do about a flag, with the option or command that does it where asked for."""
    card = FLAGS.get(flag.code)
    if card is None:
        return "Not known to this version of prepcheck."
    return f"{card.action} ({card.command})" if with_command and card.command else card.action


def person_spots(record: Record) -> list[SpotRecord]:
    """Return the spots with an outline of a person's own; those kept from the tool are not among them."""
    spots = record.by_person.spots if record.by_person else []
    return [spot for spot in spots if spot.outlined_by == "person"]


def judged(spots: list[SpotRecord]) -> list[SpotRecord]:
    """Return the spots whose figures mean something: not those of a photo to retake."""
    return [spot for spot in spots if spot.standing is not Standing.RETAKE]


def pointed_at(record: Record) -> PatchRecord | None:
    """Return the patch to point at: sure ones first, then the longest; None without any in a spot that is judged."""
    refused = record.by_person.refused if record.by_person else {}
    spots = [spot for spot in record.spots if spot.number not in refused] + person_spots(record)
    found = [spot.largest_patch for spot in judged(spots) if spot.largest_patch is not None]
    return max(found, key=lambda patch: (patch.sure, patch.length_mm or 0.0, patch.length_px), default=None)


def _hundred(share: float) -> float:
    return round(100 * share, 6)
