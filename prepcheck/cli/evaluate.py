"""``prepcheck evaluate``: measure a labelled folder, or look at pictures that show no work at all."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from prepcheck.cli.options import ModelName, SettingsFile
from prepcheck.errors import WrongUse

if TYPE_CHECKING:
    from prepcheck.evaluate.baselines import Rule
    from prepcheck.evaluate.bootstrap import Figure
    from prepcheck.evaluate.forest import Labelled
    from prepcheck.evaluate.outside import Outsider
    from prepcheck.evaluate.result import Evaluation, Part
    from prepcheck.settings import Settings
    from prepcheck.surface import Model

_FOREST_SHAPE = (576, 768)


def evaluate(
    folder: Annotated[Path | None, typer.Argument(help="Folder with images/ and states/, or with points.json.")] = None,
    model: ModelName = None,
    by: Annotated[bool, typer.Option("--by", help="Also split by what the meta files say.")] = False,
    out: Annotated[Path | None, typer.Option(help="Folder for figures.json, curves and the worst photos.")] = None,
    worst: Annotated[int, typer.Option(min=1, max=200, help="How many photos the contact sheet shows.")] = 30,
    baselines: Annotated[bool, typer.Option("--baselines", help="Also measure simple rules.")] = False,
    forest_pictures: Annotated[
        int, typer.Option(min=1, help="Synthetic pictures the random forest is fitted on.")
    ] = 40,
    forest_seed: Annotated[int, typer.Option(min=0, help="Seed of the first of them.")] = 8_000_000,
    outside: Annotated[bool, typer.Option("--outside", help="Look at pictures that show no work at all.")] = False,
    settings: SettingsFile = None,
) -> None:
    """Measure the tool on labelled photos: every figure with its 95 % interval, losses included."""
    from prepcheck.settings import load
    from prepcheck.surface import load_model

    chosen, thresholds = load_model(model), load(settings)
    typer.echo(f"model {chosen.origin.name}, SHA-256 {chosen.origin.sha256[:12]}")
    if outside:
        _outside(chosen, thresholds, out)
    if folder is not None:
        rules = _rules(forest_pictures, forest_seed) if baselines else {}
        _measure(folder, chosen, thresholds, rules, by=by, out=out, worst=worst)
    elif not outside:
        raise WrongUse("there is nothing to measure", "Give a labelled folder, or --outside")


def _measure(
    folder: Path, model: Model, settings: Settings, rules: Mapping[str, Rule], *, by: bool, out: Path | None, worst: int
) -> None:
    from prepcheck.evaluate.folder import judge_folder, judge_points
    from prepcheck.evaluate.result import evaluation, write_evaluation

    pointed = (folder / "points.json").is_file()
    judged = judge_points(folder, model, settings) if pointed else judge_folder(folder, model, settings, rules)
    made = evaluation(judged, folder, model, settings, worst=worst)
    _show(made, by)
    if out is not None:
        for path in write_evaluation(out, made, judged, worst=worst):
            typer.echo(f"wrote {path}")


def _rules(count: int, seed: int) -> dict[str, Rule]:
    from prepcheck.evaluate.baselines import FOREST, RULES
    from prepcheck.evaluate.forest import fit_forest

    typer.echo(f"fitting a random forest on {count} synthetic pictures, seeds {seed} to {seed + count - 1}")
    return {**RULES, FOREST: fit_forest(_pictures(count, seed))}


def _pictures(count: int, seed: int) -> Iterator[Labelled]:
    from prepcheck.synth import make_picture

    for number in range(seed, seed + count):
        picture = make_picture(number, _FOREST_SHAPE)
        yield picture.image, picture.states, picture.ground


def _show(made: Evaluation, by: bool) -> None:
    names = {"maps": "photos", "points": "photos with points", "pits": "photos of which only pits are labelled"}
    all_of = made.overall
    title = f"{all_of.photos} {names[made.kind]} in {all_of.groups} scenes, {made.seconds:.2f} s a photo"
    _figures(title, all_of.figures)
    _standings(all_of)
    _beside(made)
    _causes(made)
    _edges(made)
    for key, parts in made.parts.items() if by else ():
        for value, part in parts.items():
            _figures(f"{key} {value}: {part.photos} photos", part.figures)


def _figures(title: str, figures: Mapping[str, Figure]) -> None:
    typer.echo(f"\n{title}")
    for name, figure in figures.items():
        typer.echo(f"  {name:<32} {figure.value:7.3f}   ({figure.low:.3f} to {figure.high:.3f})")


def _standings(part: Part) -> None:
    typer.echo("\nstandings, photos")
    for truly, counts in part.standings.items():
        said = ", ".join(f"{standing} {count}" for standing, count in counts.items())
        of = "all" if truly == "photos" else f"truly {truly}"
        bright = (
            "   (bright: {:.3f} to {:.3f} of such photos)".format(*part.bright[truly]) if truly in part.bright else ""
        )
        typer.echo(f"  {of}: {said}{bright}")


def _beside(made: Evaluation) -> None:
    if not made.rules:
        return
    names = list(next(iter(made.rules.values()))[0])
    typer.echo("\nbeside simple rules, to which the true ground area is given")
    typer.echo("  " + " " * 26 + "".join(f"{name:>26}" for name in names) + "   s a photo")
    rows = {"prepcheck, nothing given": (made.overall.figures, made.seconds), **made.rules}
    for rule, (reached, seconds) in rows.items():
        cells = [f"{one.value:.3f} ({one.low:.3f} to {one.high:.3f})" for one in (reached[name] for name in names)]
        typer.echo(f"  {rule:<26}" + "".join(f"{cell:>26}" for cell in cells) + f"{seconds:>12.2f}")


def _causes(made: Evaluation) -> None:
    typer.echo("\nwhat went wrong, mean share over photos, and first cause of how many of the worst")
    for what, share in list(made.causes.items())[:12]:
        typer.echo(f"  {what:<38} {share:7.3f}   {made.main_causes.get(what, 0)}")


def _edges(made: Evaluation) -> None:
    """Tell how the recall falls towards the edge between bright metal and residue."""
    from prepcheck.evaluate.edges import edge_table
    from prepcheck.evaluate.measures import Tally

    if not isinstance(made.counts, Tally):
        return
    typer.echo(
        "\nrecall by distance from the edge between bright metal and residue, in px of a photo of 1280, where all is told"
    )
    typer.echo("  (and which share of the pixels lies there)")
    for row in edge_table(made.counts.edge):
        cells = (
            f"{kind} {'-' if row[kind] is None else format(row[kind], '.2f')} ({row[f'{kind}_share']:.0%})"
            for kind in ("bright", "residue")
        )
        typer.echo(f"  {row['px']:<12}" + "   ".join(cells))


def _outside(model: Model, settings: Settings, out: Path | None) -> None:
    from prepcheck.evaluate.outside import look_outside, write_outside

    seen = list(look_outside(model, settings))
    typer.echo(
        f"\n{len(seen)} pictures that show no work: standing (spots alone; map at its word), bright metal, spots"
    )
    for one in seen:
        typer.echo(_outsider(one))
    fooled = [one for one in seen if one.standing == "bright"]
    nearly = [one for one in seen if one.by_map == "bright"]
    typer.echo(f"standing bright: {len(fooled)} of {len(seen)}; by its map alone: {len(nearly)}")
    if out is not None:
        for path in write_outside(out, seen, model):
            typer.echo(f"wrote {path}")


def _outsider(one: Outsider) -> str:
    said = f"{one.standing} ({one.by_spots or 'no spot'}; {one.by_map or 'no spot'})"
    return f"  {one.kind:<26} {one.name:<22} {said:<42} {one.bright:6.1%} {one.spots:6.1%}"
