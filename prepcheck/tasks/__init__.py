"""Use cases of the log. Time, person and place are arguments; nothing here reads a clock or the surroundings."""

from prepcheck.tasks.entries import log_entry
from prepcheck.tasks.erasing import Erasure, erase_entry, erase_job, erase_person, erase_photo
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
from prepcheck.tasks.people import Role, add_person, check_pin, list_people, refuse_stranger, set_pin
from prepcheck.tasks.steps import choose_work, mark_step, release_step, reopen_step, story_state

__all__ = [
    "Erasure",
    "Role",
    "add_person",
    "cached_result",
    "check_entry",
    "check_pin",
    "choose_work",
    "disagree",
    "erase_entry",
    "erase_job",
    "erase_person",
    "erase_photo",
    "job_story",
    "list_jobs",
    "list_people",
    "log_entry",
    "log_inspection",
    "mark_step",
    "open_job",
    "open_log",
    "refuse_stranger",
    "release_step",
    "reopen_step",
    "set_pin",
    "story_state",
    "tied_outline",
]
