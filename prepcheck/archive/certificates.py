"""What every certificate that is made here has in common. Importing this loads `cryptography`."""

from __future__ import annotations

from datetime import datetime

from cryptography import x509
from cryptography.hazmat.primitives.asymmetric.ec import EllipticCurvePublicKey
from cryptography.x509.oid import NameOID


def common_name(text: str) -> x509.Name:
    """Return a name that says only `text`."""
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, text)])


def usage(*, signs_certificates: bool) -> x509.KeyUsage:
    """Return what a key is for: signing certificates, or showing who one is."""
    return x509.KeyUsage(
        digital_signature=not signs_certificates,
        key_cert_sign=signs_certificates,
        crl_sign=signs_certificates,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        encipher_only=False,
        decipher_only=False,
    )


def certificate(
    subject: x509.Name, issuer: x509.Name, key: EllipticCurvePublicKey, start: datetime, end: datetime, *, signs: bool
) -> x509.CertificateBuilder:
    """Begin a certificate of `key`, good from `start` to `end`, for an authority that `signs` only what it gives out itself, or
    for somebody whom an authority knows.
    """
    return (
        x509.CertificateBuilder(issuer, subject, key, x509.random_serial_number(), start, end)
        .add_extension(x509.BasicConstraints(ca=signs, path_length=0 if signs else None), critical=True)
        .add_extension(usage(signs_certificates=signs), critical=True)
    )
