"""The shop's own certificate authority, and the certificate of its page. Phones that install the first trust the second.

The authority is limited: it can only vouch for the shop's names and for private addresses, so that whoever steals its key
cannot pose as anybody's bank (RFC 5280, 4.2.1.10, from memory). The page's certificate is made anew at each start, because
addresses in a shop change; it lasts at most 397 days, which browsers ask for (CA/Browser Forum, from memory).
"""

from __future__ import annotations

import ipaddress
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from prepcheck.archive.durable import make_folder, write_file
from prepcheck.errors import StoreFault
from prepcheck.store import os_fault
from prepcheck.web.lan import PRIVATE

if TYPE_CHECKING:
    from cryptography import x509
    from cryptography.hazmat.primitives.asymmetric.ec import EllipticCurvePrivateKey

AUTHORITY_DAYS, PAGE_DAYS = 5 * 365, 397
AUTHORITY_FILE, AUTHORITY_KEY, PAGE_FILE, PAGE_KEY = "authority.pem", "authority-key.pem", "page.pem", "page-key.pem"
_ALLOWED = (*PRIVATE, *map(ipaddress.ip_network, ("127.0.0.0/8", "fc00::/7", "fe80::/10", "::1/128")))
_BEFORE = timedelta(hours=1)
"""Clocks of phones differ."""


@dataclass(frozen=True)
class Files:
    """Certificate and key of the page for a server, the authority's certificate (DER), and its SHA-256 to compare."""

    page: Path
    key: Path
    authority: bytes
    fingerprint: str


def certificates(folder: Path, names: Collection[str], addresses: Iterable[str], now: datetime) -> Files:
    """Make a certificate of the page for these names and addresses, and the authority if there is none that lasts.

    Names that the authority was not made for, and addresses that are not private, are left out.

    Raises
    ------
    StoreFault
        The folder cannot be written, or the authority's files cannot be read.
    """
    from cryptography.hazmat.primitives import hashes
    from cryptography.hazmat.primitives.serialization import Encoding

    try:
        make_folder(folder)
        authority, authority_key = _authority(folder, names, now)
        page, key = _page(authority, authority_key, addresses, now)
        _write(folder, PAGE_FILE, PAGE_KEY, page, key)
    except OSError as error:
        raise os_fault(error, folder) from error
    except ValueError as error:
        what = "holds a certificate that cannot be read"
        raise StoreFault(what, f"Remove {AUTHORITY_FILE} there; phones then install a new one", str(folder)) from error
    fingerprint = authority.fingerprint(hashes.SHA256()).hex(":").upper()
    return Files(folder / PAGE_FILE, folder / PAGE_KEY, authority.public_bytes(Encoding.DER), fingerprint)


def authority_der(folder: Path) -> bytes | None:
    """Return the authority's certificate for a phone to install, None where there is none."""
    from cryptography import x509
    from cryptography.hazmat.primitives.serialization import Encoding

    path = folder / AUTHORITY_FILE
    return x509.load_pem_x509_certificate(path.read_bytes()).public_bytes(Encoding.DER) if path.is_file() else None


def _authority(folder: Path, names: Collection[str], now: datetime) -> tuple[x509.Certificate, EllipticCurvePrivateKey]:
    """Return the authority, made anew when it is not there or would end before the page's certificate."""
    from cryptography import x509

    path = folder / AUTHORITY_FILE
    if path.is_file():
        found = x509.load_pem_x509_certificate(path.read_bytes())
        if found.not_valid_after_utc > now + timedelta(days=PAGE_DAYS):
            return found, load_key(folder / AUTHORITY_KEY)
    made, key = _new_authority(names, now)
    _write(folder, AUTHORITY_FILE, AUTHORITY_KEY, made, key)
    return made, key


def load_key(path: Path) -> EllipticCurvePrivateKey:
    """Read a private key that was written here; `ValueError` for anything else."""
    from cryptography.hazmat.primitives.asymmetric.ec import EllipticCurvePrivateKey
    from cryptography.hazmat.primitives.serialization import load_pem_private_key

    key = load_pem_private_key(path.read_bytes(), None)
    if not isinstance(key, EllipticCurvePrivateKey):
        raise ValueError(path)
    return key


def _new_authority(names: Collection[str], now: datetime) -> tuple[x509.Certificate, EllipticCurvePrivateKey]:
    from cryptography import x509
    from cryptography.hazmat.primitives.asymmetric import ec

    from prepcheck.archive.certificates import common_name

    key = ec.generate_private_key(ec.SECP256R1())
    name = common_name(f"prepcheck, this shop's own authority, {now:%Y-%m-%d}")
    allowed = [*map(x509.DNSName, sorted(names)), *map(x509.IPAddress, _ALLOWED)]
    built = _builder(name, name, key, now, AUTHORITY_DAYS, signs=True)
    built = built.add_extension(x509.NameConstraints(allowed, None), critical=True)
    return _signed(built, key), key


def _page(
    authority: x509.Certificate, authority_key: EllipticCurvePrivateKey, addresses: Iterable[str], now: datetime
) -> tuple[x509.Certificate, EllipticCurvePrivateKey]:
    from cryptography import x509
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.x509.oid import ExtendedKeyUsageOID

    from prepcheck.archive.certificates import common_name

    key = ec.generate_private_key(ec.SECP256R1())
    names = [one.value for one in _allowed(authority) if isinstance(one, x509.DNSName)]
    found = [ipaddress.ip_address(one.partition("%")[0]) for one in addresses]
    private = [one for one in found if any(one in net for net in _ALLOWED)]
    told = [*map(x509.DNSName, names), *map(x509.IPAddress, private)]
    built = _builder(common_name("prepcheck, page"), authority.subject, key, now, PAGE_DAYS, signs=False)
    built = built.add_extension(x509.SubjectAlternativeName(told), critical=False)
    built = built.add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
    issuer = x509.AuthorityKeyIdentifier.from_issuer_public_key(authority_key.public_key())
    return _signed(built.add_extension(issuer, critical=False), authority_key), key


def _allowed(authority: x509.Certificate) -> list[x509.GeneralName]:
    from cryptography import x509

    return list(authority.extensions.get_extension_for_class(x509.NameConstraints).value.permitted_subtrees or [])


def _builder(
    subject: x509.Name, issuer: x509.Name, key: EllipticCurvePrivateKey, now: datetime, days: int, *, signs: bool
) -> x509.CertificateBuilder:
    from cryptography import x509

    from prepcheck.archive.certificates import certificate

    start = now - _BEFORE
    public = key.public_key()
    begun = certificate(subject, issuer, public, start, start + timedelta(days=days), signs=signs)
    return begun.add_extension(x509.SubjectKeyIdentifier.from_public_key(public), critical=False)


def _signed(built: x509.CertificateBuilder, key: EllipticCurvePrivateKey) -> x509.Certificate:
    from cryptography.hazmat.primitives import hashes

    return built.sign(key, hashes.SHA256())


def _write(folder: Path, file: str, key_file: str, made: x509.Certificate, key: EllipticCurvePrivateKey) -> None:
    from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat

    plain = key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    write_file(folder / key_file, plain, 0o600)
    write_file(folder / file, made.public_bytes(Encoding.PEM), 0o644)
