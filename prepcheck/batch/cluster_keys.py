"""The keys of a cluster: one certificate that scheduler, workers and clients share, and the authority that signed only it.

Whoever has the folder can make every machine of the cluster run anything; whoever has not is not let in. The authority's own
key is thrown away, so there is never a second certificate: to shut somebody out, make new keys and copy them anew.
"""

from __future__ import annotations

import os
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

from prepcheck.archive.bucket import is_here
from prepcheck.archive.durable import make_folder, write_new
from prepcheck.errors import CannotWrite, WrongUse

if TYPE_CHECKING:
    from cryptography import x509
    from cryptography.hazmat.primitives.asymmetric.ec import EllipticCurvePrivateKey

AUTHORITY, CERTIFICATE, KEY = "ca.pem", "cert.pem", "key.pem"
DAYS = 397
"""How long keys are good."""
_EXAMPLE = "Give it like tls://192.168.1.20:8786"


def make_keys(folder: Path, now: datetime) -> datetime:
    """Write the three files of a cluster into a new or empty folder, and return when they end.

    Raises
    ------
    CannotWrite
        There are keys already, or the folder cannot be written.
    """
    from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat

    authority, certificate, key = _pair(now)
    private = key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    files = {AUTHORITY: authority.public_bytes(Encoding.PEM), CERTIFICATE: certificate.public_bytes(Encoding.PEM)}
    try:
        make_folder(folder)
        write_new(folder / KEY, private, 0o400)
        for name, data in files.items():
            write_new(folder / name, data)
    except OSError as error:
        if any((folder / name).exists() for name in (KEY, *files)):
            raise CannotWrite("there are keys already", "Name a new folder", str(folder)) from error
        raise CannotWrite(f"cannot be written ({error.strerror})", "Choose another folder", str(folder)) from error
    return certificate.not_valid_after_utc


def check_address(address: str, keys: Path | None) -> None:
    """Check that an address of a scheduler may be spoken to.

    Raises
    ------
    WrongUse
        It is no address; it is unencrypted and not this computer; or ``tls`` without keys.
    """
    try:
        parts = urlsplit(address)
        complete = bool(parts.hostname and parts.port) and not (parts.path or parts.query or "@" in parts.netloc)
    except ValueError:
        complete = False
    if not complete or parts.scheme not in ("tls", "tcp"):
        raise WrongUse("is no address of a scheduler", _EXAMPLE, address.rpartition("@")[2])
    if parts.scheme == "tcp" and not is_here(parts.hostname or ""):
        raise WrongUse("would send photos unencrypted to another computer", _EXAMPLE, address)
    if parts.scheme == "tls" and keys is None:
        raise WrongUse("needs the keys of the cluster", "Name their folder with --cluster-keys", address)


def security(folder: Path) -> Any:
    """Return the keys in a folder for `distributed`.

    Raises
    ------
    WrongUse
        A file is not there, cannot be used, or is open to others on this computer.
    """
    from distributed.security import Security

    paths = [folder / name for name in (AUTHORITY, CERTIFICATE, KEY)]
    for path in paths:
        if not path.is_file():
            do = "Copy the keys of the cluster here, or make new ones with prepcheck cluster keys"
            raise WrongUse("is not there", do, str(path))
    if os.name != "nt" and paths[-1].stat().st_mode & 0o077:
        raise WrongUse(
            "can be read by others on this computer", "Let only its owner read it: chmod 400", str(paths[-1])
        )
    ca, certificate, key = map(str, paths)
    made = Security(tls_ca_file=ca, tls_client_cert=certificate, tls_client_key=key, require_encryption=True)
    try:
        made.get_connection_args("client")  # reads the files
    except (OSError, ValueError) as error:
        raise WrongUse("holds keys that cannot be used", "Copy the keys of the cluster anew", str(folder)) from error
    return made


def _pair(now: datetime) -> tuple[x509.Certificate, x509.Certificate, EllipticCurvePrivateKey]:
    """Return an authority, the one certificate that it signed, and the key to that."""
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.x509.oid import ExtendedKeyUsageOID as Usage

    from prepcheck.archive.certificates import certificate as begun
    from prepcheck.archive.certificates import common_name

    signing, key = (ec.generate_private_key(ec.SECP256R1()) for _ in range(2))
    issuer, subject = common_name("prepcheck cluster, authority"), common_name("prepcheck cluster")
    start, end = now - timedelta(days=1), now + timedelta(days=DAYS)
    identifier = x509.SubjectKeyIdentifier.from_public_key(signing.public_key())
    authority = (
        begun(issuer, issuer, signing.public_key(), start, end, signs=True)
        .add_extension(identifier, critical=False)
        .sign(signing, hashes.SHA256())
    )
    both = x509.ExtendedKeyUsage([Usage.SERVER_AUTH, Usage.CLIENT_AUTH])
    certificate = (
        begun(subject, issuer, key.public_key(), start, end, signs=False)
        .add_extension(both, critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_subject_key_identifier(identifier), critical=False)
        .sign(signing, hashes.SHA256())
    )
    return authority, certificate, key
