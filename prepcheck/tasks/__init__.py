"""Use cases of the log. Time, person and place are arguments; nothing here reads a clock or the surroundings."""

from prepcheck.tasks.entries import log_entry
from prepcheck.tasks.log import (
    cached_result,
    check_entry,
    disagree,
    job_story,
    list_jobs,
    log_inspection,
    open_job,
    open_log,
    tied_outline,
)
from prepcheck.tasks.people import Role, add_person, check_pin, list_people, set_pin

__all__ = [
    "Role",
    "add_person",
    "cached_result",
    "check_entry",
    "check_pin",
    "disagree",
    "job_story",
    "list_jobs",
    "list_people",
    "log_entry",
    "log_inspection",
    "open_job",
    "open_log",
    "set_pin",
    "tied_outline",
]
