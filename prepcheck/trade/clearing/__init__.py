"""Clearing a closed vessel before hot work: the gate of each condition, the purge planner, the warnings.

Nothing here says that a vessel is fit for heat. It computes, shows limits with source and mark, warns, and leaves the
decision to whoever the law names.
"""

from prepcheck.trade.clearing.advice import Vessel
from prepcheck.trade.clearing.clearing_plan import Wish, clearing_plan
from prepcheck.trade.clearing.limits import Family, family
from prepcheck.trade.clearing.planner import Method, PurgePlan, purge_plan, room_air
from prepcheck.trade.clearing.price import Price, read_price
from prepcheck.trade.clearing.readings import WITHIN_LIMITS, check_certificate, check_readings

__all__ = [
    "WITHIN_LIMITS",
    "Family",
    "Method",
    "Price",
    "PurgePlan",
    "Vessel",
    "Wish",
    "check_certificate",
    "check_readings",
    "clearing_plan",
    "family",
    "purge_plan",
    "read_price",
    "room_air",
]
