"""A bucket of an object store: whole objects by name. What the server complains about is told in words.

An address is ``s3://bucket/folder``, ``gs://...``, ``az://account/container/folder`` or ``file:///folder``. Credentials come from
the surroundings alone (``AWS_ACCESS_KEY_ID`` and the like, for S3 also the file ``~/.aws/credentials``), and are never part
of an address, a message or a log. Another server than the provider's own is named by ``AWS_ENDPOINT_URL``.
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterator
from configparser import ConfigParser
from configparser import Error as BadFile
from dataclasses import dataclass
from datetime import timedelta
from functools import lru_cache
from ipaddress import ip_address
from pathlib import Path
from typing import Any, TypeVar
from urllib.parse import SplitResult, urlsplit

from prepcheck.errors import StoreFault, TooLarge, WrongUse

ENDPOINTS = {
    "s3": ("AWS_ENDPOINT_URL_S3", "AWS_ENDPOINT_URL", "AWS_ENDPOINT"),
    "gs": ("GOOGLE_BASE_URL",),
    "az": ("AZURE_STORAGE_ENDPOINT", "AZURE_ENDPOINT"),
    "file": (),
}
"""Kinds of addresses, each with the variables that name another server."""

_MOST_TRIES, _SECONDS, _SECONDS_TO_CONNECT = 3, 60, 5
_WORDS = {
    "PermissionDeniedError": ("does not let you in", "Check the credentials and what they allow"),
    "UnauthenticatedError": ("does not know your credentials", "Check the credentials in the environment"),
    "FileNotFoundError": ("is not there", "Check the address; the bucket has to be made first"),
    "NotImplementedError": ("cannot write an object only once", "Use an object store that knows conditional writes"),
    "InvalidPathError": (
        "holds an object with a name that no file may have, and cannot be listed",
        "Rename that object, or give another folder",
    ),
    "NotSupportedError": ("cannot write an object only once", "Use an object store that knows conditional writes"),
}
_STATUS = {"401": "UnauthenticatedError", "403": "PermissionDeniedError", "404": "FileNotFoundError"}
"""Kinds of errors by the status that the server answered (RFC 9110), where obstore tells no kind."""
_NO_CREDENTIALS = (
    "has no credentials to use",
    "Set them in the environment, or in the file that is usual for this store",
)
_SILENT = ("does not answer as it should", "Check the network and the address, then try again")
T = TypeVar("T")


@dataclass(frozen=True)
class Found:
    """An object: its name in the bucket, its size in bytes, and a mark that changes with its content."""

    name: str
    size: int
    mark: str


class Bucket:
    """One place in an object store.

    Parameters
    ----------
    place : str
        Its address, as shown to people.
    store
        An object store of obstore.
    """

    def __init__(self, place: str, store: Any) -> None:
        self.place = place
        self._store = store

    def __reduce__(self) -> tuple[Any, ...]:
        return _reopened, (self.place,)  # on another machine with that one's credentials; ours never travel

    def find(self, name: str) -> Found | None:
        """Say what is kept under a name; None for nothing."""
        try:
            return _found(self._ask(lambda: self._store.head(name)))
        except FileNotFoundError:
            return None

    def read(self, name: str, most: int) -> tuple[bytes, Found] | None:
        """Return an object of at most `most` bytes, and what it was when reading began; None when there is none.

        Raises
        ------
        TooLarge
            It has more bytes; none were read.
        StoreFault
            The server refuses or does not answer.
        """
        try:
            reply = self._ask(lambda: self._store.get(name))
            found = _found(reply.meta)
            if found.size > most:
                raise TooLarge(f"has {found.size:,} bytes, at most {most:,} are read", "Check the file", name)
            return self._ask(lambda: bytes(reply.bytes())), found
        except FileNotFoundError:
            return None

    def write_new(self, name: str, data: bytes) -> bool:
        """Keep `data` under a name that is still free; False, and nothing written, when it is taken."""
        from obstore.exceptions import AlreadyExistsError, PreconditionError

        try:
            self._ask(lambda: self._store.put(name, data, mode="create", use_multipart=False))
        except (AlreadyExistsError, PreconditionError):
            return False
        except FileNotFoundError as error:
            raise self._fault(error) from error
        return True

    def remove(self, name: str) -> None:
        """Take an object away; one that is not there is fine. A bucket that keeps older versions keeps this one too."""
        try:
            self._ask(lambda: self._store.delete(name))
        except FileNotFoundError:
            return

    def names(self) -> Iterator[Found]:
        """Give all objects in the order of the server, a thousand at a time."""
        chunks = self._ask(lambda: iter(self._store.list(chunk_size=1000)))
        while True:
            try:
                chunk = self._ask(lambda: next(chunks, None))
            except FileNotFoundError as error:
                raise self._fault(error) from error
            if chunk is None:
                return
            yield from map(_found, chunk)

    def _ask(self, ask: Callable[[], T]) -> T:
        from obstore.exceptions import AlreadyExistsError, BaseError, PreconditionError

        try:
            return ask()
        except (AlreadyExistsError, PreconditionError, FileNotFoundError):
            raise
        except (BaseError, OSError, NotImplementedError, ValueError) as error:
            raise self._fault(error) from error

    def _fault(self, error: Exception) -> StoreFault:
        """Say what the server refused; its own words may hold names and keys and are not repeated."""
        kind, said = type(error).__name__, str(error)
        status = re.search(r"status code: (\d{3})", said)
        default = _NO_CREDENTIALS if "credential" in said.lower() else _SILENT
        what, do = _WORDS.get(_STATUS.get(status[1], kind) if status else kind, default)
        return StoreFault(what + (f" (status {status[1]})" if status else ""), do, self.place)


def is_address(text: str) -> bool:
    """Say whether a text is the address of an object store and no path of this computer."""
    return re.match("[A-Za-z][A-Za-z0-9+.-]+://", text) is not None


def open_bucket(address: str) -> Bucket:
    """Open a place in an object store; the server is not asked yet.

    Raises
    ------
    WrongUse
        No address of a kind known here, credentials in it, an unencrypted server that is not this computer, or the
        optional part is not installed.
    """
    parts = _checked(address)
    place = f"{parts.scheme}://{parts.netloc}{parts.path}"
    try:
        from obstore.exceptions import BaseError
        from obstore.store import from_url
    except ImportError as error:
        raise WrongUse(
            "object stores need an optional part", "Install it: pip install prepcheck[objectstore]", place
        ) from error
    extra: dict[str, Any] = {} if parts.scheme == "file" else _options(parts.scheme)
    try:
        return Bucket(place, from_url(place, **extra))
    except (BaseError, ValueError, OSError) as error:
        do = "Check the address, such as s3://bucket/folder, and what the environment says of it"
        raise WrongUse("cannot be used as an object store", do, place) from error


@lru_cache(maxsize=4)
def _reopened(place: str) -> Bucket:
    """Open a place once a process, however many tasks bring it along."""
    return open_bucket(place)


def _checked(address: str) -> SplitResult:
    """Take an address apart; what may be a secret in it is not shown."""
    try:
        parts = urlsplit(address)
    except ValueError as error:
        raise WrongUse("is no address", "Give it like s3://bucket/folder", address.partition("?")[0][:20]) from error
    place = f"{parts.scheme}://{parts.netloc.rpartition('@')[2]}{parts.path}"
    if parts.scheme not in ENDPOINTS:
        raise WrongUse("is no object store known here", f"Use one of: {', '.join(ENDPOINTS)}", place)
    if "@" in parts.netloc or parts.query or parts.fragment:
        raise WrongUse("an address holds no credentials and no options", "Set them in the environment", place)
    if (parts.scheme == "file") == bool(parts.netloc) or ".." in parts.path.split("/"):
        raise WrongUse("is no whole address", "Give it like s3://bucket/folder or file:///folder", place)
    return parts


def _options(scheme: str) -> dict[str, Any]:
    seconds = timedelta(seconds=_SECONDS)
    options: dict[str, Any] = {
        "client_options": {
            "allow_http": _plain_server_here(scheme),
            "timeout": seconds,
            "connect_timeout": timedelta(seconds=_SECONDS_TO_CONNECT),
        },
        "retry_config": {"max_retries": _MOST_TRIES, "retry_timeout": seconds},
    }
    if scheme == "s3" and (keys := _keys_of_file()):
        options["config"] = keys
    return options


def _plain_server_here(scheme: str) -> bool:
    """Say whether the server speaks plain http, which only one on this computer may."""
    server = next((os.environ[name] for name in ENDPOINTS[scheme] if os.environ.get(name)), "")
    parts = urlsplit(server)
    if parts.scheme != "http":
        return False
    if not is_here(parts.hostname or ""):
        raise WrongUse("would send photos unencrypted", "Give a server with https", parts.hostname)
    return True


def is_here(host: str) -> bool:
    """Say whether a host is this computer by its number; a name could lead anywhere, but for ``localhost``."""
    try:
        return host == "localhost" or ip_address(host).is_loopback
    except ValueError:
        return False


def _keys_of_file() -> dict[str, str]:
    """Return the credentials of the usual file of S3, when the environment has none."""
    if os.environ.get("AWS_ACCESS_KEY_ID"):
        return {}
    file = Path(os.environ.get("AWS_SHARED_CREDENTIALS_FILE") or "~/.aws/credentials").expanduser()
    wanted = ("aws_access_key_id", "aws_secret_access_key", "aws_session_token")
    parser = ConfigParser(interpolation=None)
    try:
        parser.read(file, encoding="utf-8")
        profile = parser[os.environ.get("AWS_PROFILE") or "default"]
    except (BadFile, KeyError, OSError, ValueError):
        return {}
    return {name: profile[name] for name in wanted if name in profile}


def _found(meta: Any) -> Found:
    return Found(meta["path"], meta["size"], meta["e_tag"] or str(meta["last_modified"]))
