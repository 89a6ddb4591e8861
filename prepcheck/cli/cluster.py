"""``prepcheck cluster``: the keys of a Dask cluster, and a look at its machines before work."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer

from prepcheck.cli.commands import Commands
from prepcheck.cli.options import Json
from prepcheck.cli.output import print_json
from prepcheck.errors import printable

app = Commands("Make the keys of a Dask cluster, and see who is in it.")
_HOW = """\
Written: {folder}, good until {end:%Y-%m-%d}. Copy it to every machine of the cluster in a way that nobody reads along: whoever
has it can run anything on these machines. Then, with the same version of prepcheck on each of them:

On one machine:
dask scheduler --protocol tls --port 8786 {options}

On each machine that is to work, with the first one's name or number in the place of HOST; a process for each core:
dask worker tls://HOST:8786 --nworkers -1 --nthreads 1 {options}

Here:
prepcheck cluster check tls://HOST:8786 --cluster-keys {folder}
prepcheck batch SOURCE --out FOLDER --cluster tls://HOST:8786 --cluster-keys {folder}"""


@app.command()
def keys(
    folder: Annotated[Path, typer.Argument(help="New folder for the keys.")],
) -> None:
    """Make keys that let scheduler, workers and clients into one cluster, and nobody else; say how to start it."""
    from shlex import quote

    from prepcheck.batch.cluster_keys import AUTHORITY, CERTIFICATE, KEY, make_keys
    from prepcheck.cli.moment import now

    end = make_keys(folder, now())
    files = {"--tls-ca-file": AUTHORITY, "--tls-cert": CERTIFICATE, "--tls-key": KEY}
    options = " ".join(f"{option} {quote(printable(str(folder / name)))}" for option, name in files.items())
    closed = f"{options} --no-dashboard --dashboard-address 127.0.0.1:0"
    typer.echo(_HOW.format(folder=quote(printable(str(folder))), end=end, options=closed))


@app.command()
def check(
    address: Annotated[str, typer.Argument(help="Of the scheduler: tls://HOST:PORT.")],
    cluster_keys: Annotated[Path | None, typer.Option(help="Folder with the keys of the cluster.")] = None,
    json: Json = False,
) -> None:
    """Say which workers a cluster has. One that is not of the version here is named, and nothing is worked."""
    from contextlib import closing

    from prepcheck.batch.cluster import Cluster
    from prepcheck.batch.cluster_work import own_kit

    with closing(Cluster(address, cluster_keys)) as crew:
        machines = crew.machines()
    kit = own_kit()
    if json:
        print_json({"kit": asdict(kit), "workers": machines})
        return
    for machine, threads in machines.items():
        typer.echo(f"{machine}: {threads} at once")
    told = ", ".join(f"{name} {value}" for name, value in asdict(kit).items())
    typer.echo(f"{len(machines)} workers, {sum(machines.values())} photos at once. All have, as here: {told}")
