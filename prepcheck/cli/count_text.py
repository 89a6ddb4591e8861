"""What ``prepcheck count`` prints, as lines and as objects for JSON."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from prepcheck.agreement import kappa as k
from prepcheck.agreement import point_count as p
from prepcheck.agreement.acceptance import Acceptance, ByState
from prepcheck.agreement.compare import Agreement, Comparison
from prepcheck.agreement.fields import Field
from prepcheck.agreement.folder import CROSSES, FORMS, Count
from prepcheck.agreement.form import Counted
from prepcheck.agreement.grid import GRID_CHOICE
from prepcheck.agreement.labels import HELP
from prepcheck.agreement.proportion import SOURCE, Proportion
from prepcheck.errors import printable
from prepcheck.terms import Standing, State

KAPPA_NOTE = (
    f"Words of the scale of {k.SCALE}, for the lowest and the highest end of both intervals; other scales use other\n"
    "words and bounds.\n"
    "The first interval takes points as independent. Points of one photo resemble each other, so it is rather too\n"
    "narrow; the one by photo (three photos or more) takes only photos as independent. Where all could tell, not this\n"
    "work and coating count as one answer: away from spots both are right.\n"
    f"Of two: {k.COHEN}.\n"
    f"Of several: {k.FLEISS}.\n"
    f"By photo: {k.BY_PHOTO}."
)
_SHORT = {
    State.BACKGROUND: "not work",
    State.BRIGHT: "bright",
    State.OXIDE: "oxide",
    State.PIT: "pit",
    State.COATING: "coating",
    State.FOREIGN: "foreign",
    State.CANNOT_TELL: "no answer",
}
_MOST_NAMED = 5


def laid(fields: Sequence[Field], out: Path) -> list[str]:
    """Say what was laid and what a person does next."""
    rows = [f"  {printable(one.name)}: {len(one.points)} points, {one.laid.pitch:.0f} px apart" for one in fields]
    choice = ", ".join(f"{share} {fact.value:.0f}" for share, fact in GRID_CHOICE)
    fact = GRID_CHOICE[0][1]
    return [
        f"Points on {len(fields)} photo{'s' * (len(fields) != 1)} in {printable(str(out))}",
        *rows,
        f"Look at {CROSSES}/NAME.jpg; write your name and a label for each number on {FORMS}/NAME.csv.",
        f"Labels: {HELP}.",
        "For a second person, or a second time, copy the empty form to another name there. Do not look at the tool's",
        "answer before: it would lead your eye.",
        f"Points a photo by rough share of what is counted: {choice} ({fact.source}; {fact.mark.value}).",
    ]


def shares(person: str, counts: Sequence[Counted], found: Mapping[State, p.AreaFraction], wished: float) -> list[str]:
    """Tell area shares by state as a table."""
    head = f"{'percent of points':<18}{'mean':>7}{'s':>8}{'95 % interval':>17}{'rel. accuracy':>15}"
    points = sum(len(one.labels) for one in counts)
    seen = {state: one for state, one in found.items() if one.mean}
    return [
        f"{person}: {_number(len(counts), 'photo')}, {points:,} points",
        f"  {head}{f'photos for {wished:g} %':>18}",
        *(_share(state, one, wished) for state, one in seen.items()),
        *_unseen(found),
        *_share_notes(len(counts)),
    ]


def shares_json(
    person: str, counts: Sequence[Counted], found: Mapping[State, p.AreaFraction], wished: float
) -> dict[str, Any]:
    """Tell area shares by state as an object."""
    states = {
        state.key: {
            "mean_percent": one.mean,
            "deviation": one.deviation,
            "half_width": one.half_width,
            "interval": one.interval,
            "relative_accuracy_percent": one.relative_accuracy,
            "photos_needed": p.fields_needed(one, wished),
        }
        for state, one in found.items()
    }
    photos = [{"name": one.photo, "sha256": one.sha256, "points": len(one.labels)} for one in counts]
    return {"person": person, "photos": photos, "wished_accuracy_percent": wished, "states": states, "source": p.SOURCE}


def comparison(kind: str, one: Comparison) -> list[str]:
    """Tell how well two or more agree."""
    head = {"repeat": "The same person twice", "reproduce": "Person against person", "tool": "Person against tool"}
    left_out = f", {one.boundary} more on a boundary left out" if one.boundary else ""
    of = one.agreements[0].of
    return [
        f"{head[kind]}: {' | '.join(one.who)}; {_number(one.photos, 'photo')}, {_number(of, 'point')}{left_out}",
        f"  {'':<18}{'points':>8}{'equal':>8}{'kappa':>8}{'95 % interval':>18}{'by photo':>18}   words",
        *(_agreement(each) for each in one.agreements),
        *([] if one.table is None else _table(one)),
    ]


def comparison_json(kind: str, one: Comparison) -> dict[str, Any]:
    """Tell how well two or more agree as an object."""
    return {
        "kind": kind,
        "who": one.who,
        "photos": one.photos,
        "on_boundary": one.boundary,
        "agreements": [_agreement_json(each) for each in one.agreements],
        "scale_of_words": k.SCALE,
        "states": [state.key for state in State],
        "table": one.table,
    }


def acceptance(one: Acceptance) -> list[str]:
    """Tell how often the tool was wrong in the eyes of one person."""
    left_out = f", {one.boundary} more on a boundary left out" if one.boundary else ""
    rows = (
        ("residue that the tool called bright", one.wrongly_bright, one.photos_wrongly_bright),
        ("bright metal that it called otherwise", one.wrongly_residue, one.photos_wrongly_residue),
        ("oxide, pits, foreign matter it found", one.residue_found, None),
        ("points for which it told a state", one.coverage, None),
    )
    return [
        f"The tool beside {one.person}: {_number(one.photos, 'photo')}, {_number(one.points, 'point')}{left_out}",
        *(line for row in rows for line in _wrong(*row)),
        f"  {'by state of the person':<22}{'told':>16}{'same state':>16}   wrong side",
        *(_by_state(each) for each in one.by_state),
        *comparison("tool", one.agreement),
        "",
    ]


def acceptance_json(one: Acceptance) -> dict[str, Any]:
    """Tell how often the tool was wrong in the eyes of one person as an object."""
    names = ("coverage", "wrongly_bright", "wrongly_residue", "residue_found")
    by_photo = ("photos_wrongly_bright", "photos_wrongly_residue")
    return {
        "person": one.person,
        "photos": one.photos,
        "points": one.points,
        "on_boundary": one.boundary,
        **{name: _proportion_json(getattr(one, name)) for name in (*names, *by_photo)},
        "by_state": {
            each.state.key: {name: _proportion_json(getattr(each, name)) for name in ("coverage", "same", "wrong")}
            for each in one.by_state
        },
        "agreement": comparison_json("tool", one.agreement),
        "interval_source": SOURCE,
    }


def beside(count: Count, standings: Sequence[Standing | None]) -> list[str]:
    """Say what stands beside the figures: what is not counted yet, what they rest on, what they do not say."""
    missing, retake = count.uncounted, standings.count(Standing.RETAKE)
    named = ", ".join(printable(name) for name in missing[:_MOST_NAMED])
    more = f" and {len(missing) - _MOST_NAMED} more" if len(missing) > _MOST_NAMED else ""
    return [
        *([f"Not counted yet: {named}{more}."] if missing else []),
        *(
            [f"The tool wanted {_number(retake, 'photo')} taken again; its map there is counted all the same."]
            * bool(retake)
        ),
        "Wrong side: residue called bright, or bright metal called anything else. Shares are of the points told.",
        f"Intervals of 95 % by {SOURCE}, points taken as independent. Points of one photo resemble each",
        "other, so these are rather too narrow; the shares of photos with such a point stand for themselves.",
        KAPPA_NOTE,
        "This is how often the tool was wrong on these photos, as these people see them. People err too: two of them",
        "on the same photos (prepcheck count agree) show how much. Other metal, light or cameras need their own count.",
    ]


def _number(count: int, what: str) -> str:
    return f"{count:,} {what}{'' if count == 1 else 's'}"


def _share(state: State, one: p.AreaFraction, wished: float) -> str:
    interval = "-" if one.interval is None else "{:.1f} to {:.1f}".format(*one.interval)
    deviation = "-" if one.deviation is None else f"{one.deviation:.2f}"
    accuracy = "-" if one.relative_accuracy is None else f"{one.relative_accuracy:.1f} %"
    needed = p.fields_needed(one, wished)
    return (
        f"  {state.label:<18}{one.mean:7.1f}{deviation:>8}{interval:>17}{accuracy:>15}"
        f"{'-' if needed is None else format(needed, ','):>18}"
    )


def _unseen(found: Mapping[State, p.AreaFraction]) -> list[str]:
    none = [state.label for state, one in found.items() if not one.mean]
    return [f"  no point on: {', '.join(none)}"] if none else []


def _share_notes(photos: int) -> list[str]:
    alone = ["  One photo says nothing about the spread between photos: count more for an interval."]
    few = [f"  {p.FEWEST_FIELDS} photos are a usual least number (ASTM E562; from memory, check it)."]
    return [*(alone if photos == 1 else []), *(few if photos < p.FEWEST_FIELDS else []), f"  {p.SOURCE}."]


def _agreement(one: Agreement) -> str:
    found = one.kappa
    value = "-" if found.value is None else f"{found.value:.3f}"
    equal = "-" if found.observed is None else f"{100 * found.observed:.1f} %"
    interval = found.interval
    said = "no kappa: all gave one answer" if interval is None else _words(one)
    if not one.points:
        said = "no such point"
    return (
        f"  {one.way:<18}{one.points:>8,}{equal:>8}{value:>8}{_range(interval):>18}{_range(one.by_photo):>18}   {said}"
    )


def _words(one: Agreement) -> str:
    """Return the words for the lowest and the highest end of both intervals: with few photos either may be too narrow."""
    ends = [end for interval in (one.kappa.interval, one.by_photo) if interval for end in interval]
    return k.words((min(ends), max(ends)))


def _range(interval: tuple[float, float] | None) -> str:
    return "-" if interval is None else "{:.3f} to {:.3f}".format(*interval)


def _agreement_json(one: Agreement) -> dict[str, Any]:
    found = one.kappa
    return {
        "way": one.way,
        "points": one.points,
        "of": one.of,
        "equal": found.observed,
        "equal_by_chance": found.chance,
        "kappa": found.value,
        "standard_error": found.error,
        "interval": found.interval,
        "interval_by_photo": one.by_photo,
        "words": None if found.interval is None else _words(one),
        "source": found.method,
        "source_by_photo": None if one.by_photo is None else k.BY_PHOTO,
    }


def _table(one: Comparison) -> list[str]:
    """Lay out who said what, without states that nobody named."""
    assert one.table is not None
    states = list(State)
    used = [at for at in range(len(states)) if any(one.table[at]) or any(row[at] for row in one.table)]
    head = "".join(f"{_SHORT[states[at]]:>11}" for at in used)
    rows = [
        f"    {_SHORT[states[row]]:<12}" + "".join(f"{one.table[row][at] or '.':>11}" for at in used) for row in used
    ]
    return [f"  rows: {one.who[0]}; columns: {one.who[1]}", f"    {'':<12}{head}", *rows]


def _proportion(one: Proportion) -> str:
    if one.share is None:
        return "no such point"
    return f"{one.hits:,} of {one.of:,}, {100 * one.low:.1f} to {100 * one.high:.1f} %"


def _proportion_json(one: Proportion) -> dict[str, Any]:
    return {"hits": one.hits, "of": one.of, "share": one.share, "interval": (one.low, one.high)}


def _wrong(what: str, points: Proportion, photos: Proportion | None) -> list[str]:
    line = f"  {what:<40}{_percent(points):>8}   {_proportion(points)}"
    if photos is None or photos.share is None:
        return [line]
    return [line, f"    {'photos with such a point':<38}{_percent(photos):>8}   {_proportion(photos)}"]


def _percent(one: Proportion) -> str:
    return "" if one.share is None else f"{100 * one.share:.1f} %"


def _by_state(one: ByState) -> str:
    told, same = (f"{each.hits:,} of {each.of:,}" for each in (one.coverage, one.same))
    return f"    {one.state.label:<20}{told:>16}{same:>16}   {_proportion(one.wrong)}"
