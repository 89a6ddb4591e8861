"""Where a store is: a folder, and for a log on a PostgreSQL server its address. Loads no database.

The folder has the photos (or says where they are), the shop's keys and what the page needs; the log lies in it as a file
unless an address is given. A password in an address is never shown.
"""

from __future__ import annotations

import os
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import SplitResult, parse_qsl, unquote, urlencode, urlsplit

from prepcheck.errors import WrongUse

LOG_FILE = "log.sqlite"
"""Name of a log that is a file in its folder."""
SCHEMES = ("postgresql", "postgres")
FOLDER_VARIABLE = "PREPCHECK_FOLDER"
"""Environment variable that names the folder of a log on a server."""
_EXAMPLE = "Write it like postgresql://ola@db.example/prepcheck?folder=/srv/prepcheck"


@dataclass(frozen=True)
class StoreAddress:
    """Where a store is.

    Parameters
    ----------
    folder : Path
        Photos, keys, and the log if it is a file.
    database : str
        Address of the log's database on a server, without the folder; empty for a file in the folder. May hold a
        password: show `name` instead.
    """

    folder: Path
    database: str = field(default="", repr=False)

    @property
    def name(self) -> str:
        """The store as it may be shown: the folder, or the address without password and options."""
        return shown(self.database) if self.database else str(self.folder)


def is_database(text: str) -> bool:
    """Say whether a text is meant as the address of a database, not as a folder."""
    return "://" in text and text.partition("://")[0].lower() in SCHEMES


def read_address(text: str) -> StoreAddress:
    """Read what a person gives as a store: a folder, or ``postgresql://USER@HOST/DATABASE?folder=FOLDER``.

    The folder may also come from the environment variable ``PREPCHECK_FOLDER``. A password is better left to the
    environment variable ``PGPASSWORD`` or the file ``~/.pgpass``, which the server's own library reads.

    Raises
    ------
    WrongUse
        No address that can be used, or no folder.
    """
    if not is_database(text):
        return StoreAddress(Path(text))
    parts = _parts(text)
    options = dict(parse_qsl(parts.query, keep_blank_values=True))
    folder = options.pop("folder", "") or os.environ.get(FOLDER_VARIABLE, "")
    if not folder:
        do = f"Add ?folder=FOLDER to the address, or set {FOLDER_VARIABLE}"
        raise WrongUse("names no folder for photos and keys", do, shown(text))
    return StoreAddress(Path(folder), parts._replace(query=urlencode(options)).geturl())


def address_of(place: Path | StoreAddress) -> StoreAddress:
    """Return the address of a store that may be given as its folder."""
    return place if isinstance(place, StoreAddress) else StoreAddress(place)


def password_in(text: str) -> str:
    """Return the password in an address, empty without one."""
    return unquote(_parts(text).password or "") if is_database(text) else ""


def shown(database: str) -> str:
    """Return an address as it may be shown: without password and options."""
    parts = _parts(database)
    return parts._replace(netloc=_without_password(parts.netloc), query="", fragment="").geturl()


def _parts(text: str) -> SplitResult:
    try:
        parts = urlsplit(text)
        parts.port  # noqa: B018 - a port that is no number raises here
    except ValueError:
        raise WrongUse("the address of the store cannot be read", _EXAMPLE) from None
    if parts.fragment or not parts.path.strip("/") or "/" in parts.path.strip("/"):
        raise WrongUse("the address of the store names no database", _EXAMPLE)
    return parts._replace(scheme="postgresql")


def _without_password(netloc: str) -> str:
    user, at, host = netloc.rpartition("@")
    return f"{user.partition(':')[0]}{at}{host}"
