"""A PostgreSQL server of our own for tests and measures: found by searching, started in an empty folder, gone afterwards."""

from __future__ import annotations

import os
import pwd
import shutil
import signal
import socket
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import psycopg

PASSWORD = "not-to-be-shown"
"""Of the user ``guarded``; the user ``tester`` needs none."""
_ACCESS = """
local all all trust
host all guarded 127.0.0.1/32 scram-sha-256
host all all 127.0.0.1/32 trust
"""
_FAST = {"fsync": "off", "full_page_writes": "off", "shared_buffers": "128MB", "max_connections": "60"}


class NoServer(Exception):
    """There is no PostgreSQL on this computer, or no user that may run it."""


@dataclass
class Server:
    """A running server."""

    folder: Path
    port: int
    user: dict[str, Any]
    settings: dict[str, str]
    process: subprocess.Popen[bytes] | None = field(default=None, repr=False)

    def address(self, database: str, *, user: str = "tester") -> str:
        """Return the address of a database."""
        return f"postgresql://{user}@127.0.0.1:{self.port}/{database}"

    def run(self, statement: str, database: str = "postgres") -> list[Any]:
        """Run a statement outside of any transaction and return its rows."""
        with psycopg.connect(self.address(database), autocommit=True) as connection:
            cursor = connection.execute(statement)
            return cursor.fetchall() if cursor.description else []

    def start(self) -> None:
        """Start it and wait until it answers."""
        options = [word for name, value in self.settings.items() for word in ("-c", f"{name}={value}")]
        where = ["-D", self.folder / "data", "-h", "127.0.0.1", "-p", str(self.port), "-k", self.folder]
        with (self.folder / "said").open("ab") as said:
            self.process = subprocess.Popen(
                [programs() / "postgres", *where, *options], stdout=said, stderr=said, **self.user
            )
        end = time.monotonic() + 30
        while time.monotonic() < end:
            try:
                self.run("SELECT 1")
                return
            except psycopg.OperationalError:
                time.sleep(0.05)
        raise NoServer((self.folder / "said").read_text())

    def stop(self, how: signal.Signals = signal.SIGINT) -> None:
        """Stop it: SIGINT cuts connections off, SIGQUIT does not even tidy up."""
        if self.process is not None:
            self.process.send_signal(how)
            self.process.wait(30)
            self.process = None


def programs() -> Path:
    """Return the folder of the server's programs, of the newest version."""
    known = shutil.which("initdb")
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda path: int(path.parts[-3]))
    if known is None and not found:
        raise NoServer("no PostgreSQL server is installed")
    return Path(known).parent if known else found[-1].parent


@contextmanager
def running(**settings: str) -> Iterator[Server]:
    """Start a server in an empty folder; afterwards it and its folder are gone."""
    folder = Path(tempfile.mkdtemp(prefix="prepcheck-server-"))
    server = Server(folder, _free_port(), _ordinary_user(), {**_FAST, **settings})
    try:
        if server.user:
            os.chown(folder, server.user["user"], server.user["group"])
        _make(server)
        server.start()
        server.run(f"CREATE ROLE guarded LOGIN PASSWORD '{PASSWORD}'")
        yield server
    finally:
        server.stop()
        shutil.rmtree(folder, ignore_errors=True)


def _make(server: Server) -> None:
    data = server.folder / "data"
    command = [programs() / "initdb", "-D", data, "-U", "tester", "-E", "UTF8", "--locale=C.UTF-8", "-A", "trust", "-N"]
    made = subprocess.run(command, capture_output=True, text=True, **server.user)
    if made.returncode != 0:
        raise NoServer(made.stderr)
    (data / "pg_hba.conf").write_text(_ACCESS)


def _ordinary_user() -> dict[str, Any]:
    """Return whom the server runs as: root may not."""
    if os.getuid() != 0:
        return {}
    for name in ("postgres", "nobody"):
        try:
            found = pwd.getpwnam(name)
        except KeyError:
            continue
        return {"user": found.pw_uid, "group": found.pw_gid, "extra_groups": [], "cwd": "/"}
    raise NoServer("no user to run the server as")


def _free_port() -> int:
    with socket.socket() as door:
        door.bind(("127.0.0.1", 0))
        return int(door.getsockname()[1])
