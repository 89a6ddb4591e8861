"""Checks that ``job.json`` tells what the log's entries and records say, all of it and nothing else."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Any

import rfc8785

from prepcheck.archive.bag_parts import Tell
from prepcheck.archive.faults import Kind
from prepcheck.archive.sequence import told
from prepcheck.archive.statement import LogFile, sha256

Facts = dict[str, Any]
_WHERE = "data/job.json"
_JOB = ("title", "part", "alloy", "wall_mm", "previous_contents", "customer_reference")
_ERASED_JOB = {"title": "erased", "part": "", "customer_reference": ""}
_EVENT = ("at", "person", "role", "entry")


def check_story(log: LogFile, story: Any, record: Callable[[Any], Any], tell: Tell) -> None:
    """Hold every fact of the story against the log.

    Parameters
    ----------
    story : object
        What ``job.json`` holds, as read; anything at all.
    record : callable
        Gives the record of an inspection, as read, by what its entry in the log says; None where there is none.
    """
    if not isinstance(story, dict):
        tell(Kind.FORM, _WHERE, "cannot be read as the story of a job")
        return
    logged, seen = _logged(log, record), set()
    for what, facts in _listed(story):
        if what in seen:
            tell(Kind.LOG, _WHERE, f"tells {what} twice")
        seen.add(what)
        if what not in logged:
            tell(Kind.LOG, _WHERE, f"tells {what}, which is not in the log")
        elif wrong := [name for name, value in logged[what].items() if facts.get(name) != value]:
            tell(Kind.LOG, _WHERE, f"{what}: not as it was logged: {', '.join(wrong)}")
    for what in sorted(logged.keys() - seen):
        tell(Kind.LOG, _WHERE, f"does not tell {what} of the log")
    _check_erased(log, story, tell)


def _check_erased(log: LogFile, story: Mapping[str, Any], tell: Tell) -> None:
    empty = [event for event in _dicts(story.get("events")) if event.get("entry") is None]
    if len(empty) > sum(entry.text is None for entry in log.entries):
        tell(Kind.LOG, _WHERE, "tells more entries as erased than were")


def _listed(story: Mapping[str, Any]) -> Iterator[tuple[str, Facts]]:
    yield "the job", _dict(story.get("job"))
    for event in _dicts(story.get("events")):
        if event.get("entry") is not None:
            yield f"entry {event.get('number')}", event
    for spot in _dicts(story.get("spots")):
        for of_pass in _dicts(spot.get("passes")):
            for one in _dicts(of_pass.get("inspections")):
                yield f"inspection {one.get('number')}", _as_listed(one, spot, of_pass)


def _as_listed(one: Facts, spot: Facts, of_pass: Facts) -> Facts:
    compared = {name: value for name, value in one.items() if name not in ("flags", "since")}
    return {
        **compared,
        "spot": spot.get("number"),
        "spot_name": spot.get("name"),
        "pass": of_pass.get("pass_no"),
        "flags": _flags(one.get("flags")),
        "since": _hash(one.get("since")),
        "disagreements": [_disagreement(other, other.get("person")) for other in _dicts(one.get("disagreements"))],
    }


def _logged(log: LogFile, record: Callable[[Any], Any]) -> dict[str, Facts]:
    names = {str(told(one).get("number")): told(one).get("name") for one in log.people}
    texts = [{**told(one), "who": _name(told(one), names)} for one in log.entries if one.text is not None]
    found: dict[str, Facts] = {"the job": dict(_ERASED_JOB)}  # what an erased entry told of it is gone
    found |= {what: facts for text in texts for what, facts in _one_logged(text, record)}
    for text in texts:
        corrected = found.get(f"inspection {text.get('corrects')}")
        if text.get("kind") == "inspection" and corrected is not None:
            corrected["corrected_by"].append(text.get("number"))
        about = found.get(f"inspection {text.get('inspection')}")
        if text.get("kind") == "disagreement" and about is not None:
            about["disagreements"].append(_disagreement(text, text["who"]))
    return found


def _name(text: Facts, names: Mapping[str, Any]) -> Any:
    return names.get(str(text.get("person")), f"erased person {text.get('person')}")


def _one_logged(text: Facts, record: Callable[[Any], Any]) -> Iterator[tuple[str, Facts]]:
    kind, number = text.get("kind"), text.get("number")
    told_by = {"at": text.get("at"), "person": text["who"]}
    if kind == "job":
        opened = {"number": text.get("job"), "opened_at": text.get("at"), "opened_by": text["who"]}
        yield "the job", {**{name: text.get(name) for name in _JOB}, **opened}
    elif kind == "event":
        yield f"entry {number}", {**{name: text.get(name) for name in _EVENT}, **told_by}
    elif kind == "inspection":
        own = {name: text.get(name) for name in ("outline", "note", "corrects", "spot", "spot_name", "pass")}
        of_record = _answer(record(text), text)
        lists: Facts = {"since": text.get("since_sha256"), "corrected_by": [], "disagreements": []}
        yield f"inspection {number}", {**own, **told_by, **of_record, **lists}


def _answer(record: Any, text: Facts) -> Facts:
    """Return what a record says of the outline of an inspection; nothing where there is no record."""
    if not isinstance(record, dict):
        return {}
    person, photo, origin = (_dict(record.get(name)) for name in ("by_person", "photo", "origin"))
    standing = _dicts((person or record).get("spots"))
    spot = next((one for one in standing if one.get("number") == text.get("outline")), {})
    answer = spot or person or record
    return {
        **{name: answer.get(name) for name in ("standing", "bright_share", "interval")},
        "tool_standing": record.get("standing"),
        "reason": spot.get("reason", ""),
        "photo_name": photo.get("name"),
        "photo_sha256": photo.get("sha256"),
        "taken": photo.get("taken"),
        "photos": [one.get("name") for one in _dicts(record.get("photos")) or [photo]],
        "origin": f"prepcheck {origin.get('version')}, {origin.get('model')}",
        "refused": _dict(person.get("refused")),
        "drawn": [one.get("number") for one in standing if one.get("outlined_by") == "person"],
        "flags": _flags([*_dicts(record.get("flags")), *_dicts(text.get("flags"))]),
    }


def _disagreement(one: Facts, who: Any) -> list[Any]:
    return [who, *(one.get(name) for name in ("standing", "reason", "at"))]


def _flags(flags: Any) -> list[Any]:
    return [[one.get("code"), one.get("blocking")] for one in _dicts(flags)]


def _hash(since: Any) -> str | None:
    try:
        return None if since is None else sha256(rfc8785.dumps(since))
    except (ValueError, RecursionError):
        return "cannot be hashed"


def _dict(found: Any) -> Facts:
    return found if isinstance(found, dict) else {}


def _dicts(found: Any) -> list[Facts]:
    return [one for one in found if isinstance(one, dict)] if isinstance(found, list) else []
