"""``prepcheck serve``: the page for phones in the shop."""

from __future__ import annotations

import socket
import sys
import threading
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from prepcheck.cli.options import Json, SettingsFile, Store, folder_of
from prepcheck.cli.output import print_json
from prepcheck.errors import WrongUse, printable

if TYPE_CHECKING:
    from fastapi import FastAPI

    from prepcheck.web.certificate import Files

_PIN = "A PIN guards this page and ties entries to a person; it does not guard a copy of the log's folder."
_HERE = "Only this computer can open it. For phones in the shop: prepcheck serve --lan"
_PLAIN = (
    "Plain http: whoever is on this network can read along and can take over a phone's session. Use it on a network that\n"
    "only the shop uses; or give --https. Photos can be taken and sent; the page does not open without a network."
)
_HTTPS = (
    "https with the shop's own certificate: a phone warns until it has installed the shop's authority, which can vouch for\n"
    "this computer's names and for private addresses only. Compare this number on the phone before you trust it:"
)
_IPV4 = (
    "It answers by IPv4 alone. By IPv6 it does not: such an address can often be reached from the whole internet, and no\n"
    "router of the shop stands before it."
)
_MOST_AT_ONCE = 200


def serve(
    lan: Annotated[bool, typer.Option("--lan", help="Let phones on the same network open the page.")] = False,
    https: Annotated[
        bool, typer.Option("--https", help="With the shop's own certificate, so that nobody reads along.")
    ] = False,
    port: Annotated[int, typer.Option(min=1, max=65535, help="Port of this computer.")] = 8473,
    json: Json = False,
    settings: SettingsFile = None,
    store: Store = None,
) -> None:
    """Open the page: photograph ground spots with a phone, read the answer there, keep the log together."""
    from prepcheck.settings import load
    from prepcheck.web import create_app
    from prepcheck.web import lan as network
    from prepcheck.web.certificate import certificates
    from prepcheck.web.shop import PAGE_FOLDER, shop_of

    found = network.addresses() if lan else []
    if lan and not found:
        raise WrongUse("this computer is in no network", "Join the shop's network, or leave out --lan")
    if https and found and not network.is_private(found[0]):
        raise WrongUse(
            "is no private address, and the shop's authority vouches for no other", "Leave out --https", found[0]
        )
    folder = folder_of(store)
    address = network.url("https" if https else "http", found[0] if found else "127.0.0.1", port)
    door = _door("0.0.0.0" if lan else "127.0.0.1", port)
    app = create_app(store or folder, load(settings), address=address)
    shop = shop_of(app)
    shop.hold.take()
    files = (
        certificates(folder / PAGE_FOLDER, network.host_names(), [*found, "127.0.0.1"], shop.clock()) if https else None
    )
    _say(app, folder, lan=lan, files=files, json=json)
    if sys.stdin is not None and sys.stdin.isatty() and not json:
        threading.Thread(target=_more_links, args=(app, lan), daemon=True).start()
    _run(app, door, files)


def _door(host: str, port: int) -> socket.socket:
    """Return the socket to listen on; `WrongUse` when somebody else has it."""
    door = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    door.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        door.bind((host, port))
    except OSError as error:
        door.close()
        raise WrongUse(f"cannot be used ({error.strerror})", "Choose another with --port", f"port {port}") from error
    return door


def _say(app: FastAPI, folder: Path, *, lan: bool, files: Files | None, json: bool) -> None:
    """Print where the page is, how a phone is paired, and what that means."""
    from prepcheck.web.shop import shop_of

    shop = shop_of(app)
    if json:
        told = {"address": shop.address, "pair": f"{shop.address}/pair/{shop.sessions.new_link()}"}
        print_json(told | ({} if files is None else {"authority_sha256": files.fingerprint}))
        return
    typer.echo(f"The page of the log in {printable(str(folder))}: {shop.address}")
    if not shop.sessions.has_keeper():
        typer.echo("Nobody keeps this log yet: who signs in first becomes its keeper.")
    typer.echo(f"{_PIN}\n{_meaning(lan, files)}")
    if lan:
        typer.echo(_IPV4)
    _say_link(app, lan)


def _meaning(lan: bool, files: Files | None) -> str:
    if files is not None:
        return f"{_HTTPS}\n  {files.fingerprint}"
    return _PLAIN if lan else _HERE


def _say_link(app: FastAPI, lan: bool) -> None:
    from prepcheck.web.lan import code_for_terminal
    from prepcheck.web.shop import shop_of

    shop = shop_of(app)
    link = f"{shop.address}/pair/{shop.sessions.new_link()}"
    minutes = f"{shop.limits.pairing_minutes:g} min"
    typer.echo(f"\nPair {'a phone' if lan else 'a browser'}, once, within {minutes}: {link}")
    if lan:
        typer.echo(code_for_terminal(link))
    typer.echo("Enter: a new link. Ctrl+C: stop." if sys.stdin is not None and sys.stdin.isatty() else "Ctrl+C: stop.")


def _more_links(app: FastAPI, lan: bool) -> None:
    for _ in sys.stdin:
        _say_link(app, lan)


def _run(app: FastAPI, door: socket.socket, files: Files | None) -> None:
    """Serve until somebody stops it. Nothing is logged of a request: its path may hold a link to pair."""
    import uvicorn

    config = uvicorn.Config(
        app,
        log_level="warning",
        access_log=False,
        server_header=False,
        proxy_headers=False,
        limit_concurrency=_MOST_AT_ONCE,
        timeout_keep_alive=30,
        timeout_graceful_shutdown=10,
        ssl_certfile=None if files is None else files.page,
        ssl_keyfile=None if files is None else files.key,
    )
    uvicorn.Server(config).run(sockets=[door])
