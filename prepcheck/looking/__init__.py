"""Use case: look at a photo, a clip or a moved-light set, and log what was seen."""

from prepcheck.looking.look import Look, at_shop, prepare
from prepcheck.looking.looked import Looked, look_at
from prepcheck.looking.place import Place, Seen, compare, log_seen, place_in_log
from prepcheck.looking.sight import Received, Sight, check_set, received, see

__all__ = [
    "Look",
    "Looked",
    "Place",
    "Received",
    "Seen",
    "Sight",
    "at_shop",
    "check_set",
    "compare",
    "log_seen",
    "look_at",
    "place_in_log",
    "prepare",
    "received",
    "see",
]
