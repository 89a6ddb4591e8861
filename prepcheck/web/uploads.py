"""What phones send, piece by piece: an upload goes on where it stopped, and the same key is never a second one.

An upload is a file ``page/uploads/ID`` that only grows. How many of its bytes are surely on the disk is in the book; after
a crash what lies beyond is cut off, and the phone sends it again. Paths are made of our own random ids alone.
"""

from __future__ import annotations

import asyncio
import hashlib
import os
import secrets
import shutil
from collections.abc import AsyncIterator
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path, PurePath
from typing import Any

import sqlalchemy as sa
from starlette.concurrency import run_in_threadpool

from prepcheck.archive.durable import make_folder, sync_folder
from prepcheck.errors import DamagedPhoto, StoreFull, TooLarge
from prepcheck.settings import Settings
from prepcheck.store import clean, os_fault
from prepcheck.web import book as b
from prepcheck.web.book import Book, moment
from prepcheck.web.errors import Clash, KeyTaken, TooMuch, UnknownPage
from prepcheck.web.limits import WebLimits
from prepcheck.web.shop import Clock

_MOST_NAME = 120


@dataclass(frozen=True)
class Upload:
    """A file on its way: `offset` of its `bytes` are here for good."""

    id: str
    key: str
    name: str
    bytes: int
    sha256: str
    offset: int
    used_by: str | None = None

    @property
    def whole(self) -> bool:
        """Whether all of it is here."""
        return self.offset == self.bytes


class WrongOffset(Clash):
    """The piece does not go on where the upload stands; the header ``Upload-Offset`` says where it does."""

    code = "wrong_offset"

    def __init__(self, offset: int) -> None:
        self.headers = {"Upload-Offset": str(offset)}
        super().__init__(f"the upload stands at byte {offset}", "Go on from there")


class Uploads:
    """The uploads of a shop."""

    def __init__(self, folder: Path, book: Book, clock: Clock, limits: WebLimits, settings: Settings) -> None:
        self._folder = folder
        self._book, self._clock, self._limits = book, clock, limits
        self.most_bytes = max(settings.photo.max_bytes, settings.clip.max_bytes)
        self._turns: dict[str, int] = {}
        self._locks: dict[str, asyncio.Lock] = {}
        make_folder(folder)

    def path(self, upload: Upload) -> Path:
        """Return where the bytes of an upload lie."""
        return self._folder / upload.id

    def start(self, key: str, name: str, size: int, sha256: str = "") -> Upload:
        """Begin an upload, or return the one with this key.

        Raises
        ------
        TooLarge
            More bytes than any photo or clip may have.
        Clash
            The key belongs to another file.
        StoreFull
            Too many or too large uploads wait, or the disk is nearly full.
        """
        named = clean(PurePath(name.replace("\\", "/")).name, "the file's name", _MOST_NAME)
        if not 0 < size <= self.most_bytes:
            raise TooLarge(f"holds {size:,} bytes; 1 to {self.most_bytes:,} can be taken", "Send a smaller file", named)
        with self._book.writing() as connection:
            row = connection.execute(sa.select(b.uploads).where(b.uploads.c.key == key)).first()
            if row is not None:
                return _same(_upload(row), named, size, sha256)
            self._check_room(connection, size)
            upload = Upload(secrets.token_hex(16), key, named, size, sha256, 0)
            self.path(upload).touch(mode=0o600)
            connection.execute(
                sa.insert(b.uploads).values(
                    id=upload.id, key=key, name=named, bytes=size, sha256=sha256, changed_at=moment(self._clock())
                )
            )
        return upload

    def find(self, id: str) -> Upload:
        """Return an upload; `UnknownPage` when there is none (any more)."""
        with self._book.reading() as connection:
            return self.read(connection, id)

    def read(self, connection: sa.Connection, id: str) -> Upload:
        """Return an upload, inside a transaction of the caller; as `find`."""
        row = connection.execute(sa.select(b.uploads).where(b.uploads.c.id == id)).first()
        if row is None:
            raise UnknownPage("no such upload; old ones are removed", "Send the photo again")
        return _upload(row)

    def used_by(self, work: str) -> list[Upload]:
        """Return the uploads that a work has taken."""
        with self._book.reading() as connection:
            return [_upload(row) for row in connection.execute(sa.select(b.uploads).where(b.uploads.c.used_by == work))]

    async def add(self, id: str, offset: int, pieces: AsyncIterator[bytes]) -> Upload:
        """Add the bytes of `pieces` from `offset` on; what came before an error or a lost connection stays.

        A phone that comes back before its old connection is noticed to be lost takes over: the older request ends.

        Raises
        ------
        WrongOffset
            The upload stands elsewhere, or another request took over.
        TooMuch
            More bytes than were told.
        DamagedPhoto
            All bytes are here and have another SHA-256 than was told; the upload begins anew.
        """
        turn = self._turns[id] = self._turns.get(id, 0) + 1
        lock = self._locks.setdefault(id, asyncio.Lock())
        async with lock:
            upload = await run_in_threadpool(self.find, id)
            if upload.offset != offset or upload.used_by is not None:
                raise WrongOffset(upload.offset)
        waiting = bytearray()
        try:
            async for piece in pieces:
                if offset + len(waiting) + len(piece) > upload.bytes:
                    raise TooMuch(f"more than the {upload.bytes:,} bytes that were told", "Begin a new upload")
                waiting += piece
                if len(waiting) >= self._limits.piece_bytes:
                    offset = await self._keep(upload, offset, waiting, turn, lock)
        finally:
            if waiting:
                offset = await self._keep(upload, offset, waiting, turn, lock)
        return await run_in_threadpool(self._ended, id)

    async def _keep(self, upload: Upload, offset: int, waiting: bytearray, turn: int, lock: asyncio.Lock) -> int:
        async with lock:
            if self._turns.get(upload.id) != turn:
                waiting.clear()
                raise WrongOffset(offset)
            data = bytes(waiting)
            waiting.clear()
            return await asyncio.shield(run_in_threadpool(self._append, upload, offset, data))

    def _append(self, upload: Upload, offset: int, data: bytes) -> int:
        """Write and sync a piece, then say so in the book."""
        path = self.path(upload)
        try:
            with path.open("r+b") as file:
                file.seek(offset)
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
        except OSError as error:
            raise os_fault(error, Path(upload.name)) from error
        self._change(upload.id, synced=offset + len(data))
        return offset + len(data)

    def _ended(self, id: str) -> Upload:
        """Check a whole upload against the hash that the phone told, if it did."""
        upload = self.find(id)
        if upload.whole and upload.sha256:
            with self.path(upload).open("rb") as file:
                found = hashlib.file_digest(file, "sha256").hexdigest()
            if found != upload.sha256:
                self._change(id, synced=0)
                raise DamagedPhoto("did not arrive as it was sent", "Send it again", upload.name)
        return upload

    def _change(self, id: str, **values: Any) -> None:
        with self._book.writing() as connection:
            told = {"changed_at": moment(self._clock()), **values}
            connection.execute(sa.update(b.uploads).where(b.uploads.c.id == id).values(told))

    def remove(self, upload: Upload) -> None:
        """Take away the bytes of an upload that is in the archive now; its key stays, so that it is not sent twice."""
        self.path(upload).unlink(missing_ok=True)

    def sweep(self) -> None:
        """Remove uploads that nobody went on with. Keys of logged ones stay, so that no late phone logs them twice."""
        u, now = b.uploads.c, self._clock()
        old = u.changed_at < moment(now - timedelta(hours=self._limits.upload_hours))
        with self._book.writing() as connection:
            ids = connection.scalars(sa.select(u.id).where(old, u.used_by.is_(None))).all()
            connection.execute(sa.delete(b.uploads).where(u.id.in_(ids)))
        for id in ids:
            (self._folder / id).unlink(missing_ok=True)
            self._turns.pop(id, None)
            self._locks.pop(id, None)

    def _check_room(self, connection: sa.Connection, size: int) -> None:
        u = b.uploads.c
        waits = sa.select(sa.func.count(), sa.func.coalesce(sa.func.sum(u.bytes), 0)).where(u.used_by.is_(None))
        count, total = connection.execute(waits).one()
        if count >= self._limits.uploads_open or total + size > self._limits.uploads_bytes:
            raise StoreFull("too many photos wait to be inspected", "Wait until some are done, then try again")
        if shutil.disk_usage(self._folder).free < size + self._limits.free_bytes:
            raise StoreFull("the shop's computer has no room left on its disk", "Free some room there, then try again")

    def mend(self) -> None:
        """After a crash: cut off what may not be on the disk, and drop files that no row names."""
        with self._book.reading() as connection:
            rows = {row.id: row for row in connection.execute(sa.select(b.uploads))}
        for path in self._folder.iterdir():
            row = rows.get(path.name)
            if row is None:
                path.unlink(missing_ok=True)
            elif path.stat().st_size > row.synced:
                os.truncate(path, row.synced)
        for id, row in rows.items():
            if row.used_by is None and not (self._folder / id).exists():
                (self._folder / id).touch(mode=0o600)
                self._change(id, synced=0)
        sync_folder(self._folder)


def _upload(row: Any) -> Upload:
    return Upload(row.id, row.key, row.name, row.bytes, row.sha256, row.synced, row.used_by)


def _same(upload: Upload, name: str, size: int, sha256: str) -> Upload:
    if (upload.name, upload.bytes, upload.sha256) != (name, size, sha256):
        raise KeyTaken("this key belongs to another file", "Make a new key for each file", name)
    return upload
