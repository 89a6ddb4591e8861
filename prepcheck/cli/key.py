"""``prepcheck key``: the shop's key that signs sealed evidence."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from prepcheck.cli.commands import Commands
from prepcheck.cli.moment import now
from prepcheck.cli.options import Json, Store, folder_of
from prepcheck.cli.output import print_json
from prepcheck.errors import printable

if TYPE_CHECKING:
    from prepcheck.archive.keys import ShopKey

app = Commands("Show, back up and rotate the key that signs sealed evidence.")


@app.command()
def show(json: Json = False, store: Store = None) -> None:
    """Show the shop's public key, and the number to read out over the phone. A key is made when there is none."""
    from prepcheck.archive.keys import shop_key

    _say(shop_key(folder_of(store), now()), json)


@app.command()
def backup(
    file: Annotated[Path, typer.Argument(help="File to write; best on a medium that is then locked away.")],
    json: Json = False,
    store: Store = None,
) -> None:
    """Copy the key to a file that only you can read. Whoever has that file can sign as the shop."""
    from prepcheck.archive import keys

    folder = folder_of(store)
    key = keys.backup(folder, file, now())
    _say(key, json)
    if not json:
        back = folder / keys.KEY_FOLDER / keys.KEY_FILE
        typer.echo(f"Written: {printable(str(file))}. Lock it away; to put it back, copy it to {printable(str(back))}")


@app.command()
def rotate(json: Json = False, store: Store = None) -> None:
    """Make a new key, signed by the old one, which is given up. Bags of the old key stay as they are."""
    from prepcheck.archive.keys import rotate

    _say(rotate(folder_of(store), now()), json)
    if not json:
        typer.echo("Back up the new key, and tell its number to those who know the old one.")


def _say(key: ShopKey, json: bool) -> None:
    from prepcheck.archive.keys import fingerprint

    if json:
        print_json([{"fingerprint": fingerprint(one.public_key), **one.model_dump()} for one in key.public_keys])
        return
    typer.echo(f"Key of this shop, to read out: {key.fingerprint}")
    typer.echo(f"  public key (Ed25519) {key.public}, since {key.public_keys[-1].since}")
    for one in reversed(key.public_keys[:-1]):
        typer.echo(f"  before it: {fingerprint(one.public_key)}, since {one.since}")
