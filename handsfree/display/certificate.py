"""A certificate made on this machine, so that a phone gives its microphone to the page.

No authority vouches for it: the browser warns once, and the fingerprint shown in the terminal
is what to compare.
"""

from __future__ import annotations

import os
import ssl
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

DAYS = 397
"""Days that it is good for; phones refuse more than 398 (CA/Browser Forum, from memory)."""

COMMON_NAME = "handsfree on this machine"


@dataclass(frozen=True, slots=True)
class Certificate:
    """A certificate and its key.

    Attributes:
        file: PEM with both.
        fingerprint: SHA-256, in pairs of hexadecimal digits.
    """

    file: Path
    fingerprint: str

    def context(self) -> ssl.SSLContext:
        """For a server."""
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.minimum_version = ssl.TLSVersion.TLSv1_2
        context.load_cert_chain(self.file)
        return context


def local_certificate(folder: Path, names: Iterable[str]) -> Certificate:
    """The certificate in `folder`; made anew if it is missing, old, or not for all `names`.

    Args:
        folder: for nobody else to read.
        names: host names and addresses that the page is opened by.
    """
    wanted = frozenset(names)
    file = folder / "page.pem"
    try:
        known = x509.load_pem_x509_certificate(file.read_bytes())
    except (OSError, ValueError):
        known = None
    if known is None or not _serves(known, wanted):
        known = _make(file, sorted(wanted))
    return Certificate(file, known.fingerprint(hashes.SHA256()).hex(":").upper())


def _serves(certificate: x509.Certificate, names: frozenset[str]) -> bool:
    extension = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName)
    tomorrow = datetime.now(UTC) + timedelta(days=1)
    covered = {str(name.value) for name in extension.value}
    return names <= covered and tomorrow < certificate.not_valid_after_utc


def _make(file: Path, names: list[str]) -> x509.Certificate:
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, COMMON_NAME)])
    now = datetime.now(UTC)
    certificate = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=DAYS - 1))
        .add_extension(x509.SubjectAlternativeName(list(map(_alternative, names))), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .sign(key, hashes.SHA256())
    )
    secret = key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )
    file.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    file.unlink(missing_ok=True)
    with os.fdopen(os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as out:
        out.write(secret + certificate.public_bytes(serialization.Encoding.PEM))
    return certificate


def _alternative(name: str) -> x509.GeneralName:
    try:
        return x509.IPAddress(ip_address(name))
    except ValueError:
        return x509.DNSName(name)
