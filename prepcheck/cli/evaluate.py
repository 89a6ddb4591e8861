"""``prepcheck evaluate``: measure a labelled folder."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from prepcheck.cli.options import SettingsFile

if TYPE_CHECKING:
    from prepcheck.evaluate.folder import Figure, Judged


def evaluate(
    folder: Annotated[Path, typer.Argument(help="Folder with images/ and states/, or with points.json.")],
    model: Annotated[str | None, typer.Option(help="Another model of the registry.")] = None,
    by: Annotated[bool, typer.Option("--by", help="Also split by what the meta files say.")] = False,
    settings: SettingsFile = None,
) -> None:
    """Measure the tool on labelled photos: every figure with its 95 % interval, losses included."""
    from prepcheck.evaluate import folder as measured
    from prepcheck.settings import load
    from prepcheck.surface import load_model

    chosen, thresholds = load_model(model), load(settings)
    typer.echo(f"model {chosen.origin.name}, SHA-256 {chosen.origin.sha256[:12]}")
    if (folder / "points.json").is_file():
        points = measured.judge_points(folder, chosen, thresholds)
        _show(f"{len(points)} photos with points", measured.point_figures(points))
        return
    judged = measured.judge_folder(folder, chosen, thresholds)
    _show(f"{len(judged)} photos in {len({one.group for one in judged})} scenes", measured.figures(judged))
    _show(
        "for comparison, brightness by Otsu's threshold, true ground area given",
        {"balanced accuracy": measured.baseline(judged)},
    )
    _standings(judged)
    for key, value, part in measured.splits(judged) if by else ():
        _show(f"{key} {value}: {len(part)} photos", measured.figures(part, draws=200))


def _show(title: str, figures: dict[str, Figure]) -> None:
    typer.echo(f"\n{title}")
    for name, figure in figures.items():
        typer.echo(f"  {name:<28} {figure.value:7.3f}   ({figure.low:.3f} to {figure.high:.3f})")


def _standings(judged: list[Judged]) -> None:
    from prepcheck.evaluate.folder import standings
    from prepcheck.evaluate.statistics import wilson
    from prepcheck.terms import WORST_FIRST, Standing

    counts = standings(judged)
    typer.echo("\nstandings, photos")
    for truly in ("clean", "dirty"):
        said = ", ".join(f"{standing} {counts.get((truly, standing), 0)}" for standing in WORST_FIRST)
        of = sum(counts.get((truly, standing), 0) for standing in WORST_FIRST)
        low, high = wilson(counts.get((truly, Standing.BRIGHT), 0), of) if of else (0.0, 1.0)
        typer.echo(f"  truly {truly}: {said}   (bright: {low:.3f} to {high:.3f} of such photos)")
