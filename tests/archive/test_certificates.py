"""What certificates made here have in common."""

from datetime import UTC, datetime, timedelta

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec

from prepcheck.archive.certificates import certificate, common_name

START = datetime(2026, 3, 1, tzinfo=UTC)
KEY = ec.generate_private_key(ec.SECP256R1())


def made(*, signs):
    subject, issuer = common_name("page"), common_name("authority")
    begun = certificate(subject, issuer, KEY.public_key(), START, START + timedelta(days=3), signs=signs)
    return begun.sign(KEY, hashes.SHA256())


def extension(found, kind):
    return found.extensions.get_extension_for_class(kind)


@pytest.mark.parametrize("signs", [True, False])
def test_only_an_authority_may_sign_certificates(signs):
    usage = extension(made(signs=signs), x509.KeyUsage).value
    assert (usage.key_cert_sign, usage.digital_signature) == (signs, not signs)


@pytest.mark.parametrize(("signs", "told"), [(True, (True, 0)), (False, (False, None))])
def test_an_authority_has_none_below_it(signs, told):
    limits = extension(made(signs=signs), x509.BasicConstraints)
    assert (limits.value.ca, limits.value.path_length) == told
    assert limits.critical


def test_a_certificate_says_for_whom_it_is_who_signed_it_and_when_it_ends():
    found = made(signs=False)
    assert (found.subject, found.issuer) == (common_name("page"), common_name("authority"))
    assert (found.not_valid_before_utc, found.not_valid_after_utc) == (START, START + timedelta(days=3))
