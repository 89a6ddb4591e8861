"""``prepcheck demo``: the whole job on shipped samples, into a throw-away store."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from prepcheck.cli.output import print_rich

WORKER = "Demo Welder"
BOWSER: dict[str, Any] = {
    "title": "Diesel bowser, leak at the lower seam (invented demo)",
    "part": "farm co-op's diesel bowser, lower shell, road side",
    "alloy": "5083 by the plate on the tank, not checked",
    "wall_mm": 5.0,
    "previous_contents": "diesel",
    "customer_reference": "DEMO-1",
}


def demo(
    out: Annotated[
        Path | None, typer.Option(help="Folder for pictures and log; a new temporary one otherwise.")
    ] = None,
) -> None:
    """Run the whole job on shipped samples: open a job, inspect photos pass by pass, log them, tell the story.

    The scene is invented: a farm co-op's aluminium diesel bowser.
    """
    import tempfile

    from prepcheck import looking, tasks
    from prepcheck.cli.inspect import answer
    from prepcheck.cli.moment import now
    from prepcheck.cli.story import story_text
    from prepcheck.report.outputs import Outputs
    from prepcheck.samples import samples
    from prepcheck.store import NewJob

    place = Path(tempfile.mkdtemp(prefix="prepcheck-demo-")) if out is None else out
    outputs = Outputs(picture=place / "pictures", several=True)
    look = looking.prepare()
    store, archive = tasks.open_log(place / "log", look.settings)
    job = tasks.open_job(store, NewJob(**BOWSER), person=WORKER, at=now())
    for sample in samples():
        if sample.demo is None:
            continue
        typer.echo(f"--- {sample.title}")
        spot = looking.Place(store, archive, job.number, *sample.demo, WORKER, outline=1 if sample.spots > 1 else None)
        looked = looking.look_at(sample.path, look, spot, now(), keep_maps=True)
        answer(looked, outputs, now(), json=False)
    print_rich(story_text(tasks.job_story(store, job.number)))
    typer.echo(f"Pictures: {place / 'pictures'}")
    typer.echo(f"Record:   {place / 'log'}   (prepcheck job show {job.number} --store {place / 'log'})")
