"""The shop's own authority vouches for the shop alone; checked with Python's ssl and, where it is there, openssl."""

from __future__ import annotations

import shutil
import ssl
import subprocess
import threading
from datetime import UTC, datetime, timedelta
from socket import create_connection, create_server

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec

from prepcheck.archive.certificates import common_name
from prepcheck.errors import StoreFault
from prepcheck.web import certificate as c

NAMES = {"shop-pc", "shop-pc.local", "localhost"}
NOW = datetime.now(UTC)


@pytest.fixture
def files(tmp_path):
    return c.certificates(tmp_path, NAMES, ["127.0.0.1", "192.168.1.5"], NOW)


def page_of(folder):
    return x509.load_pem_x509_certificate((folder / c.PAGE_FILE).read_bytes())


def authority_of(folder):
    return x509.load_pem_x509_certificate((folder / c.AUTHORITY_FILE).read_bytes())


def handshake(tmp_path, cert, key, name):
    """Connect to a server with this certificate, trusting the shop's authority alone."""
    server = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    server.load_cert_chain(cert, key)
    client = ssl.create_default_context(cafile=tmp_path / c.AUTHORITY_FILE)
    client.verify_flags |= ssl.VERIFY_X509_STRICT
    with create_server(("127.0.0.1", 0)) as door:

        def answer():
            try:
                with door.accept()[0] as one, server.wrap_socket(one, server_side=True) as secured:
                    secured.recv(1)
            except (ssl.SSLError, OSError):
                pass

        thread = threading.Thread(target=answer)
        thread.start()
        try:
            with create_connection(door.getsockname(), 5) as one, client.wrap_socket(one, server_hostname=name) as line:
                return line.version()
        finally:
            thread.join(5)


@pytest.mark.parametrize("name", ["127.0.0.1", "192.168.1.5", "shop-pc.local", "localhost"])
def test_a_client_that_trusts_the_authority_trusts_the_page(tmp_path, files, name):
    assert handshake(tmp_path, files.page, files.key, name) == "TLSv1.3"


@pytest.mark.parametrize("name", ["192.168.1.6", "other-pc.local"])
def test_the_page_is_trusted_under_no_other_name(tmp_path, files, name):
    with pytest.raises(ssl.SSLCertVerificationError):
        handshake(tmp_path, files.page, files.key, name)


@pytest.mark.parametrize(
    "told", [x509.DNSName("bank.example"), x509.IPAddress(c.ipaddress.ip_address("93.184.216.34"))]
)
def test_whoever_steals_the_key_cannot_pose_as_anybody_else(tmp_path, files, told):
    """RFC 5280, 4.2.1.10: a certificate for a name outside the constraints is not valid (from memory)."""
    forged, key = forge(tmp_path, told)
    with pytest.raises(ssl.SSLCertVerificationError, match="permitted subtree violation"):
        handshake(tmp_path, forged, key, str(told.value))


def forge(tmp_path, told):
    authority = authority_of(tmp_path)
    stolen = c.load_key(tmp_path / c.AUTHORITY_KEY)
    key = ec.generate_private_key(ec.SECP256R1())
    built = c._builder(common_name("forged"), authority.subject, key, NOW, 30, signs=False)
    built = built.add_extension(x509.SubjectAlternativeName([told]), critical=False)
    issuer = x509.AuthorityKeyIdentifier.from_issuer_public_key(stolen.public_key())
    c._write(
        tmp_path, "forged.pem", "forged-key.pem", c._signed(built.add_extension(issuer, critical=False), stolen), key
    )
    return tmp_path / "forged.pem", tmp_path / "forged-key.pem"


@pytest.mark.skipif(shutil.which("openssl") is None, reason="openssl is not installed")
def test_openssl_trusts_the_page_too(tmp_path, files):
    command = ["openssl", "verify", "-x509_strict", "-CAfile", tmp_path / c.AUTHORITY_FILE, files.page]
    assert subprocess.run(command, capture_output=True, text=True).returncode == 0


def test_the_page_lasts_at_most_397_days_and_the_authority_five_years(tmp_path, files):
    """CA/Browser Forum, Baseline Requirements: at most 398 days (from memory); five years is our own choice."""
    page, authority = page_of(tmp_path), authority_of(tmp_path)
    assert page.not_valid_after_utc - page.not_valid_before_utc <= timedelta(days=397)
    assert authority.not_valid_after_utc - authority.not_valid_before_utc == timedelta(days=5 * 365)


def test_the_authority_cannot_make_another_authority(tmp_path, files):
    constraints = authority_of(tmp_path).extensions.get_extension_for_class(x509.BasicConstraints)
    assert (constraints.critical, constraints.value.ca, constraints.value.path_length) == (True, True, 0)


def test_keys_are_for_the_owner_alone(tmp_path, files):
    assert {(tmp_path / name).stat().st_mode & 0o777 for name in (c.AUTHORITY_KEY, c.PAGE_KEY)} == {0o600}


def test_the_authority_stays_and_the_page_follows_the_addresses(tmp_path, files):
    again = c.certificates(tmp_path, NAMES, ["10.0.0.7"], NOW + timedelta(days=30))
    assert again.fingerprint == files.fingerprint
    told = page_of(tmp_path).extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert [str(one) for one in told.get_values_for_type(x509.IPAddress)] == ["10.0.0.7"]


def test_an_authority_that_would_end_before_the_page_is_made_anew(tmp_path, files):
    again = c.certificates(tmp_path, NAMES, [], NOW + timedelta(days=4 * 365))
    assert again.fingerprint != files.fingerprint


def test_public_addresses_are_left_out(tmp_path):
    c.certificates(tmp_path, NAMES, ["93.184.216.34", "127.0.0.1"], NOW)
    told = page_of(tmp_path).extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert [str(one) for one in told.get_values_for_type(x509.IPAddress)] == ["127.0.0.1"]


def test_a_damaged_authority_is_told(tmp_path, files):
    (tmp_path / c.AUTHORITY_FILE).write_text("x")
    with pytest.raises(StoreFault, match="cannot be read"):
        c.certificates(tmp_path, NAMES, [], NOW)
