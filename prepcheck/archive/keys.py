"""The shop's key: one Ed25519 key pair (RFC 8032), made on first use, kept where only its owner can read it.

All lies in one file, so that it is never half changed: the private key, and the public keys that came before, each new one
signed by the one before it. Whoever has this file can sign as the shop; whoever loses it cannot sign on.
"""

from __future__ import annotations

import hashlib
import os
import secrets
import stat
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from pathlib import Path
from typing import Annotated, Literal

import rfc8785
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from pydantic import BaseModel, ConfigDict, Field, StringConstraints, ValidationError

from prepcheck.archive.durable import make_folder, sync_folder, write_file, write_new
from prepcheck.errors import NameClash, StoreFault
from prepcheck.store import os_fault

KEY_FOLDER, KEY_FILE = "keys", "shop-key.json"
Hex32 = Annotated[str, StringConstraints(pattern="^[0-9a-f]{64}$")]
Hex64 = Annotated[str, StringConstraints(pattern="^[0-9a-f]{128}$")]
_MOST = 2**20
_GROUPS, _DIGITS = 8, 5


class PublicKey(BaseModel):
    """A public key of the shop (hex), since when, and the signature of the key before it; empty for the first."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    public_key: Hex32
    since: str = Field(max_length=40)
    signed_by_earlier: Hex64 | Literal[""] = ""


class _File(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")

    version: Literal[1] = 1
    private_key: Hex32
    public_keys: tuple[PublicKey, ...] = Field(min_length=1)


@dataclass(frozen=True)
class ShopKey:
    """The shop's key, loaded.

    Parameters
    ----------
    public_keys : tuple of PublicKey
        Oldest first; the last is the one that signs now.
    """

    _private: Ed25519PrivateKey
    public_keys: tuple[PublicKey, ...]

    def __repr__(self) -> str:
        return f"ShopKey({self.fingerprint})"

    @property
    def public(self) -> str:
        """The public key that signs now, hex."""
        return self.public_keys[-1].public_key

    @property
    def fingerprint(self) -> str:
        """The number to read out."""
        return fingerprint(self.public)

    @property
    def mark(self) -> str:
        """What tells files of this shop from those of another, whichever of its keys signs: 8 letters of its first key."""
        return self.public_keys[0].public_key[:8]

    def sign(self, message: bytes) -> bytes:
        """Return the signature of `message`, 64 bytes."""
        return self._private.sign(message)


def fingerprint(public_key: str) -> str:
    """Return the number by which two people compare a key over the phone: 8 groups of 5 digits.

    It is the SHA-256 of the public key modulo 10^40, so that finding another key with the same number takes some 2^132
    trials.

    Parameters
    ----------
    public_key : str
        32 bytes, hex.
    """
    number = int.from_bytes(hashlib.sha256(bytes.fromhex(public_key)).digest(), "big")
    digits = f"{number % 10 ** (_GROUPS * _DIGITS):0{_GROUPS * _DIGITS}}"
    return " ".join(digits[at : at + _DIGITS] for at in range(0, len(digits), _DIGITS))


def holds(public_key: str, signature: bytes, message: bytes) -> bool:
    """Say whether `signature` is the one of `public_key` (hex) for `message`."""
    try:
        Ed25519PublicKey.from_public_bytes(bytes.fromhex(public_key)).verify(signature, message)
    except (InvalidSignature, ValueError):
        return False
    return True


def chain_holds(keys: tuple[PublicKey, ...]) -> bool:
    """Say whether each key but the first is signed by the one before it."""
    return all(
        holds(old.public_key, bytes.fromhex(new.signed_by_earlier), _handover(old, new)) for old, new in pairwise(keys)
    )


def has_key(store_folder: Path) -> bool:
    """Say whether the shop has a key."""
    return (store_folder / KEY_FOLDER / KEY_FILE).exists()


def shop_key(store_folder: Path, at: datetime) -> ShopKey:
    """Return the shop's key, made now when there is none.

    Raises
    ------
    StoreFault
        Others can read it, or it is damaged, or it cannot be read or written.
    """
    path = store_folder / KEY_FOLDER / KEY_FILE
    try:
        if not path.exists():
            _make(path, at)
        return _load(path)
    except OSError as error:
        raise os_fault(error, path) from error


def rotate(store_folder: Path, at: datetime) -> ShopKey:
    """Make a new key, signed by the one before, which is given up; earlier public keys are kept.

    Raises
    ------
    StoreFault
        As for `shop_key`.
    """
    old = shop_key(store_folder, at)
    private = Ed25519PrivateKey.generate()
    unsigned = PublicKey(public_key=_public(private), since=at.isoformat())
    signature = old.sign(_handover(old.public_keys[-1], unsigned)).hex()
    keys = (*old.public_keys, unsigned.model_copy(update={"signed_by_earlier": signature}))
    path = store_folder / KEY_FOLDER / KEY_FILE
    try:
        write_file(path, _bytes(private, keys), 0o600)
    except OSError as error:
        raise os_fault(error, path) from error
    return ShopKey(private, keys)


def backup(store_folder: Path, to: Path, at: datetime) -> ShopKey:
    """Copy the key file to `to`, readable by its owner alone; it is put back by copying it over the lost one.

    Raises
    ------
    NameClash
        There is something at `to`.
    StoreFault
        As for `shop_key`.
    """
    key = shop_key(store_folder, at)
    try:
        write_new(to, _bytes(key._private, key.public_keys), 0o600)
        sync_folder(to.parent)
    except FileExistsError as error:
        raise NameClash("is there already; a backup replaces nothing", "Choose another name", str(to)) from error
    except OSError as error:
        raise os_fault(error, to) from error
    return key


def _handover(old: PublicKey, new: PublicKey) -> bytes:
    told = {"statement": "prepcheck key handover", "old": old.public_key, "new": new.public_key, "since": new.since}
    return rfc8785.dumps(told)


def _make(path: Path, at: datetime) -> None:
    """Make a key, unless another process was faster: then that one's stays."""
    make_folder(path.parent.parent)
    path.parent.mkdir(mode=0o700, exist_ok=True)
    private = Ed25519PrivateKey.generate()
    new = path.with_name(f".{KEY_FILE}.{secrets.token_hex(8)}.part")
    keys = (PublicKey(public_key=_public(private), since=at.isoformat()),)
    try:
        write_new(new, _bytes(private, keys), 0o600)
        path.hardlink_to(new)
    except FileExistsError:
        return
    except OSError:  # no hard links on this disk: of two makers the later one's stays, and both load that
        new.replace(path)
    finally:
        new.unlink(missing_ok=True)
    sync_folder(path.parent)
    sync_folder(path.parent.parent)


def _load(path: Path) -> ShopKey:
    _check_rights(path.parent)
    _check_rights(path)
    try:
        with path.open("rb") as file:
            told = _File.model_validate_json(file.read(_MOST))
        private = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(told.private_key))
        whole = _public(private) == told.public_keys[-1].public_key and chain_holds(told.public_keys)
    except (ValidationError, ValueError):
        whole = False
    if not whole:
        raise StoreFault("holds no whole key of a shop", "Copy the backup of the key over it", str(path))
    return ShopKey(private, told.public_keys)


def _check_rights(path: Path) -> None:
    """Refuse what others may read or write, where the system tells."""
    if os.name == "nt":
        return
    status = path.stat()
    if stat.S_IMODE(status.st_mode) & 0o077 or status.st_uid != os.geteuid():
        do = "Take their rights away (chmod go-rwx), and rotate the key if they may have read it"
        raise StoreFault("can be used by others than its owner", do, str(path))


def _public(private: Ed25519PrivateKey) -> str:
    return private.public_key().public_bytes_raw().hex()


def _bytes(private: Ed25519PrivateKey, keys: tuple[PublicKey, ...]) -> bytes:
    told = _File(private_key=private.private_bytes_raw().hex(), public_keys=keys)
    return rfc8785.dumps(told.model_dump()) + b"\n"
