"""The words of prepcheck: states, standings, flags and cautions.

The one registry that records, pictures, pages, docs and tests read. Imports nothing of ours.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum, StrEnum


class State(IntEnum):
    """What a pixel shows; the numbers are the codes in ``NAME.states.png``."""

    BACKGROUND = 0
    BRIGHT = 1
    OXIDE = 2
    PIT = 3
    COATING = 4
    FOREIGN = 5
    CANNOT_TELL = 255

    @property
    def key(self) -> str:
        """Lower-case name used in records, e.g. ``cannot_tell``."""
        return self.name.lower()

    @property
    def label(self) -> str:
        """Words for a person."""
        return STATE_LABELS[self]


STATE_LABELS: dict[State, str] = {
    State.BACKGROUND: "not this work",
    State.BRIGHT: "bright metal",
    State.OXIDE: "residual oxide",
    State.PIT: "pit or void",
    State.COATING: "coating left",
    State.FOREIGN: "foreign matter",
    State.CANNOT_TELL: "cannot tell",
}

RESIDUE: tuple[State, ...] = (State.OXIDE, State.PIT, State.COATING, State.FOREIGN)
"""States that count as residue inside a spot."""


class Standing(StrEnum):
    """The outcome for a spot or a photo: these four words everywhere."""

    BRIGHT = "bright"
    RESIDUE_LEFT = "residue left"
    CANNOT_TELL = "cannot tell"
    RETAKE = "retake"

    @property
    def next_step(self) -> str:
        """What to do next, in words."""
        return NEXT_STEPS[self]


WORST_FIRST: tuple[Standing, ...] = (Standing.RETAKE, Standing.RESIDUE_LEFT, Standing.CANNOT_TELL, Standing.BRIGHT)
"""Order in which the standings of spots decide that of the photo."""

NEXT_STEPS: dict[Standing, str] = {
    Standing.BRIGHT: "No residue seen at the set limit. Look yourself under a moved torch before you go on.",
    Standing.RESIDUE_LEFT: "Grind the marked places again, brush off the dust, take the photo again.",
    Standing.CANNOT_TELL: "Move the torch and take another photo, or look closely at the marked places yourself.",
    Standing.RETAKE: "Take the photo again: see the flags for what to change.",
}


@dataclass(frozen=True)
class FlagCard:
    """What a flag means and what to do about it.

    Parameters
    ----------
    code : str
        Stable name in records.
    name : str
        Short name for a person.
    blocking : bool
        A blocking flag gives the photo the standing ``retake``.
    what, why, action : str
        What was seen, why it matters, what to do.
    command : str
        The option or command that does it on the command line; the page, which has none, leaves it out.
    """

    code: str
    name: str
    blocking: bool
    what: str
    why: str
    action: str
    command: str = ""


def _cards(*cards: FlagCard) -> dict[str, FlagCard]:
    return {card.code: card for card in cards}


FLAGS: dict[str, FlagCard] = _cards(
    FlagCard(
        "blurred",
        "blurred",
        True,
        "The finest marks of the surface are smeared, by motion or by focus.",
        "Scratches that run through metal and stop at oxide are the main cue; blur removes them.",
        "Wipe the lens, rest your hands on the part, tap the spot to focus, take it again.",
    ),
    FlagCard(
        "too_dark",
        "too dark",
        True,
        "Most of the picture is so dark that noise hides the surface.",
        "In deep shade bright metal looks like oxide and the other way round.",
        "Bring a lamp or switch the torch on, hold it to the side, take it again.",
    ),
    FlagCard(
        "too_bright",
        "too bright",
        True,
        "Most of the picture is pure white.",
        "Where the camera recorded only white, no surface can be seen.",
        "Turn the lamp away or lower the exposure on the phone, take it again.",
    ),
    FlagCard(
        "burnt_out",
        "burnt-out highlights",
        True,
        "A large part of the spot is pure white: the camera recorded no surface there.",
        "What lies under a burnt-out highlight cannot be known from this photo.",
        "Move the light or step aside so that it does not mirror into the lens, take it again.",
    ),
    FlagCard(
        "colour_cast",
        "colour cast",
        False,
        "The whole picture is tinted by coloured light or a wrong white balance.",
        "A tint hides the difference between grey oxide, stains and metal.",
        "Use white light, switch off effects of the camera, lay the scale card beside the spot.",
    ),
    FlagCard(
        "small_spot",
        "spot too small in the frame",
        True,
        "The ground spot covers too few pixels.",
        "Patches of a few millimetres cannot be resolved.",
        "Go closer until the spot fills about half of the picture, take it again.",
    ),
    FlagCard(
        "no_spot",
        "no spot found",
        True,
        "No ground spot was found in the picture.",
        "Without a spot there is nothing to score.",
        "Take the photo square to the spot, or draw its outline yourself.",
        "--outline-file",
    ),
    FlagCard(
        "several_parts",
        "more than one part",
        False,
        "The picture seems to show more than one part with ground places.",
        "Spots of different parts must not be logged as one.",
        "Take one photo for each part, or check the numbers of the spots.",
    ),
    FlagCard(
        "fills_picture",
        "spot fills the picture",
        True,
        "Nearly the whole picture was taken for one ground spot.",
        "Without the unground surface around it nothing shows that this is a ground spot at all.",
        "Step back until the edge of the spot and some coating around it are in view, take it again.",
    ),
    FlagCard(
        "cut_off",
        "spot runs out of the picture",
        False,
        "A ground spot reaches the edge of the picture.",
        "What lies outside was not looked at.",
        "Step back a little, or take a second photo of the rest.",
    ),
    FlagCard(
        "no_scale",
        "no scale",
        False,
        "No scale card was found and no scale was stated.",
        "Sizes in millimetres and the worst unit area cannot be given; limits fall back to shares of the spot.",
        "Lay the scale card flat beside the spot, or state how many millimetres a pixel is.",
        "prepcheck card, --mm-per-px",
    ),
    FlagCard(
        "doubtful_scale",
        "doubtful scale",
        False,
        "A scale card was seen, but its size in the picture is not certain enough.",
        "A wrong scale gives wrong sizes.",
        "Lay the card flat on the surface, all four corners in view, closer to the lens.",
    ),
    FlagCard(
        "card_off_plane",
        "card lies off the spot's plane",
        False,
        "The scale card lies on another part than the spot.",
        "Its scale does not hold at the spot.",
        "Lay the card flat beside the spot on the same surface.",
    ),
    FlagCard(
        "re_encoded",
        "looks re-encoded",
        False,
        "The file looks as if a messaging or editing program had saved it again.",
        "Such programs sharpen, smooth and drop the capture time.",
        "Use the original file from the phone.",
    ),
    FlagCard(
        "stated_scale_differs",
        "stated scale and card differ",
        False,
        "The scale card gives another scale than the one stated.",
        "One of the two is wrong.",
        "Check the printed card against its checking line, and the number you stated.",
    ),
    FlagCard(
        "used_before",
        "photo used before",
        False,
        "The same photo, to the byte, is already in the log.",
        "One photo is no evidence for two passes or two spots.",
        "Take a new photo for each pass.",
    ),
    FlagCard(
        "looks_used_before",
        "nearly the same picture as before",
        False,
        "A nearly identical picture is already in the log.",
        "It may be a copy of an older photo saved again.",
        "Check the capture time; take a new photo for each pass.",
    ),
    FlagCard(
        "light_hardly_moved",
        "light hardly moved",
        False,
        "The light is nearly the same in all photos of the set.",
        "Photos under one light tell hardly more than one of them, so no standing is better than that of the first alone.",
        "Keep the phone still, hold the torch low on another side of the spot, take another photo.",
    ),
    FlagCard(
        "photo_left_out",
        "photo of the set left out",
        False,
        "A photo of the set is unfit, the same as another, or does not lie on the first one.",
        "What it shows was not used.",
        "Take it again from the same place: only the torch moves, the phone and the part stay.",
    ),
    FlagCard(
        "set_of_one",
        "only one photo of the set used",
        False,
        "All photos of the set but the first were left out.",
        "One photo lies with its light; no spot is called bright where a set was wanted and could not be used.",
        "Take all photos of the set again from one place: only the torch moves, the phone and the part stay.",
    ),
    FlagCard(
        "first_photo_unfit",
        "first photo not fit, another one is",
        False,
        "The first photo of the set is not fit to be judged; a later one is.",
        "The answer lies in the frame of the first photo and starts from what that one shows.",
        "Give the set again, with a fit photo first.",
    ),
    FlagCard(
        "mixed_flash",
        "flash in some photos only",
        False,
        "The camera's flash fired in some photos of the set and not in others.",
        "That is a moved light too, but the flash sits beside the lens, where bright metal glares most.",
        "Nothing, if it was meant; better switch the flash off and move the torch.",
    ),
    FlagCard(
        "not_compared",
        "not compared with the pass before",
        False,
        "The photo could not be laid over one of an earlier pass of this spot.",
        "Whether residue stays in the same place is not known.",
        "Check that it is the same spot and name its outline; take passes from about the same place.",
        "--outline",
    ),
    FlagCard(
        "residue_may_go_deep",
        "residue may go deep",
        False,
        "Residue was seen in the same place in two or more grinding passes.",
        "What stays under the grinder may reach down; no photo shows how far, nor what lies below.",
        "Grind on there and look whether the dust is still white; measure the wall that is left; consider a patch plate "
        "with whoever is competent to decide on it.",
    ),
    FlagCard(
        "shop_fit_not_used",
        "the shop's own fit was not used",
        False,
        "The log holds a fit of the tool to this shop's metal and light, and this answer was made without it.",
        "A fit that was changed, or made for another model, would mislead without being seen.",
        "Look at what the fit rests on; then fit again, or take it back.",
        "prepcheck calibrate show, prepcheck calibrate back",
    ),
)

CAUTIONS: tuple[str, ...] = (
    "No published grade exists for oxide left on ground aluminium; the limit used here is a setting.",
    "The native oxide film is invisible in any photo.",
    "The metal itself cannot be known from a photo.",
    "A photo does not show what lies below the surface.",
)
"""Said wherever a score is shown."""

CAUTION_LINE = (
    "A photo shows neither the native oxide film nor what lies below the surface; prepcheck cannot know the metal; "
    "no published grade exists for oxide left on ground aluminium."
)
"""The cautions in one line, for pictures and narrow screens."""

HOT_WORK_LINE = (
    "Whether a vessel is clear of vapour and whether a weld may start is for licensed, competent people under the "
    "local code, never for prepcheck."
)
