"""Timestamps of others (RFC 3161) over a bag's signature: the query to send, and the reply to keep. No network in here.

Needs the extra ``timestamp``; without it a bag's timestamp is kept and not looked at.
"""

from __future__ import annotations

import hashlib
import os
import secrets
import shutil
import zipfile
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cryptography import x509

from prepcheck.archive import statement as s
from prepcheck.archive.bag_parts import Tell
from prepcheck.archive.bag_source import ZipSource, open_source, read
from prepcheck.archive.durable import sync_folder, write_file
from prepcheck.archive.faults import Kind
from prepcheck.errors import BrokenBag, MissingDecoder, NameClash, WrongUse
from prepcheck.store import os_fault

if TYPE_CHECKING:
    from rfc3161_client import TimeStampResponse

NO_TIMESTAMP = "the shop's own word: no timestamp of another lies in the bag"
_NOT_PROVED = "which is not proved until its authority's certificate is given"
_NO_EXTRA = "the shop's own word: a timestamp lies in the bag, and looking at it needs prepcheck[timestamp]"
_SHA256 = "2.16.840.1.101.3.4.2.1"
_SLACK = timedelta(minutes=10)


class BadTimestamp(ValueError):
    """A reply that is no timestamp of this signature; says why."""


@dataclass(frozen=True)
class Stamp:
    """What a timestamp says: when, by whom, and whether that was proved with a certificate that somebody trusts."""

    at: datetime
    authority: str
    proved: bool


def query(bag: Path) -> bytes:
    """Return the query (DER) for a timestamp of a bag's signature, to be sent to any authority.

    Raises
    ------
    BrokenBag
        The bag has no signature.
    MissingDecoder
        The extra is not installed.
    """
    client = _client()
    builder = client.TimestampRequestBuilder().data(_signature(bag)).hash_algorithm(client.HashAlgorithm.SHA256)
    return bytes(builder.nonce(nonce=False).cert_request(cert_request=True).build().as_bytes())


def keep_reply(bag: Path, reply: bytes, authority: bytes | None = None) -> Stamp:
    """Check an authority's reply and put it into the bag, beside the signature.

    Raises
    ------
    WrongUse
        It is no timestamp of this bag's signature.
    NameClash
        The bag has one already.
    BrokenBag, MissingDecoder, StoreFault
        As for `query`; the bag cannot be written.
    """
    signature = _signature(bag)
    try:
        stamp = read_reply(reply, signature, authority)
    except BadTimestamp as error:
        raise WrongUse(f"is no timestamp of this bag ({error})", "Send the query again", str(bag)) from error
    if s.TIMESTAMP in open_source(bag).sizes:
        raise NameClash("has a timestamp already, which is not replaced", "Nothing more is needed", str(bag))
    try:
        write_file(bag / s.TIMESTAMP, reply) if bag.is_dir() else _into_zip(bag, reply)
    except OSError as error:
        raise os_fault(error, bag) from error
    return stamp


def check_timestamp(reply: bytes, signature: bytes, sealed_at: datetime, authority: bytes | None, tell: Tell) -> str:
    """Tell what speaks against a bag's timestamp, and return what the time rests on."""
    try:
        stamp = read_reply(reply, signature, authority)
    except MissingDecoder:
        return _NO_EXTRA
    except BadTimestamp as error:
        tell(Kind.TIME, s.TIMESTAMP, f"is no timestamp of this signature ({error})")
        return "the shop's own word: the timestamp in the bag does not hold"
    if sealed_at - stamp.at > _SLACK:
        tell(Kind.TIME, s.TIMESTAMP, f"is of {stamp.at}, before the shop says that it sealed, {sealed_at}")
    if not stamp.proved:
        return f"the shop's own word: a timestamp in the bag names {stamp.at:%Y-%m-%d %H:%M:%S %Z}, {_NOT_PROVED}"
    return f"a timestamp: signed no later than {stamp.at:%Y-%m-%d %H:%M:%S %Z}, says {stamp.authority}"


def read_reply(reply: bytes, signature: bytes, authority: bytes | None = None) -> Stamp:
    """Read a reply and check that it is a timestamp of `signature`.

    Parameters
    ----------
    authority : bytes, optional
        Certificates (PEM, one or several, or DER) that lead to the authority's. Without them its signature is not looked at.

    Raises
    ------
    BadTimestamp
        It is not, or not by that authority.
    WrongUse
        `authority` is no certificate.
    MissingDecoder
        The extra is not installed.
    """
    client = _client()
    trusted = [] if authority is None else _certificates(authority)
    try:
        response = client.decode_timestamp_response(reply)
        if trusted:
            client.VerifierBuilder(roots=trusted).build().verify_message(response, signature)
        else:
            _check_imprint(response, signature)
        return Stamp(response.tst_info.gen_time, _name(response), bool(trusted))
    except (ValueError, TypeError, client.VerificationError) as error:
        raise BadTimestamp(str(error).partition(":")[0] or type(error).__name__) from error


def _check_imprint(response: TimeStampResponse, signature: bytes) -> None:
    """Check that the authority granted a timestamp for the SHA-256 of `signature`."""
    if response.status != 0:
        raise BadTimestamp("the authority did not grant it")
    imprint = response.tst_info.message_imprint
    if (imprint.hash_algorithm.dotted_string, imprint.message) != (_SHA256, hashlib.sha256(signature).digest()):
        raise BadTimestamp("it is of something else")


def _name(response: TimeStampResponse) -> str:
    signer = next(iter(response.signed_data.signer_infos))
    for der in response.signed_data.certificates:
        certificate = x509.load_der_x509_certificate(der)
        if (certificate.issuer, certificate.serial_number) == (signer.issuer, signer.serial_number):
            return str(certificate.subject.rfc4514_string())
    return "an authority that does not name itself"


def _certificates(data: bytes) -> list[x509.Certificate]:
    try:
        if data.lstrip().startswith(b"-----"):
            return x509.load_pem_x509_certificates(data)
        return [x509.load_der_x509_certificate(data)]
    except ValueError as error:
        raise WrongUse("is no certificate (PEM or DER)", "Ask the authority for it", "--authority") from error


def _signature(bag: Path) -> bytes:
    try:
        return read(open_source(bag), s.SIGNATURE)
    except (KeyError, OSError) as error:
        raise BrokenBag("holds no signature", "Give a bag that prepcheck sealed", str(bag)) from error


def _into_zip(bag: Path, reply: bytes) -> None:
    """Add a file to a zip file: to a copy beside it, which then takes its place."""
    source = open_source(bag)
    inside = source.inside if isinstance(source, ZipSource) else ""
    beside = bag.with_name(f".{bag.name}.{secrets.token_hex(8)}.part")
    try:
        shutil.copyfile(bag, beside)
        with beside.open("r+b") as raw:
            with zipfile.ZipFile(raw, "a", zipfile.ZIP_STORED) as file:
                file.writestr(zipfile.ZipInfo(f"{inside}{s.TIMESTAMP}", (1980, 1, 1, 0, 0, 0)), reply)
            raw.flush()
            os.fsync(raw.fileno())
        beside.replace(bag)
    except BaseException:
        beside.unlink(missing_ok=True)
        raise
    sync_folder(bag.parent)


def _client() -> Any:
    try:
        import rfc3161_client
    except ImportError as error:
        raise MissingDecoder(
            "timestamps need an optional part", "Install it: pip install prepcheck[timestamp]"
        ) from error
    return rfc3161_client
