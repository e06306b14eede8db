"""A time stamp of a seal by somebody else, RFC 3161: asked for by name, and never otherwise.

Only the SHA-512 of the line of the seal leaves the machine.  The answer lies beside the seals as a
file that `openssl ts -verify` reads.
"""

from __future__ import annotations

import urllib.error
import urllib.request
from dataclasses import dataclass
from datetime import UTC, datetime
from hashlib import sha512
from pathlib import Path
from types import ModuleType
from urllib.parse import urlsplit

from cryptography import x509

from handsfree.errors import BadInput, Damaged, Missing
from handsfree.log.folder import read_file, told_plainly, write_file
from handsfree.seal.statement import Seal

#: Seconds that an authority is waited for, and bytes of its answer, at most.
WAIT, LARGEST_STAMP = 20.0, 1 << 16


@dataclass(frozen=True, slots=True)
class Stamp:
    """What a time stamp says.

    Attributes:
        time: by the authority's clock, UTC.
        checked: whether the authority's certificate was given, and is its.
    """

    time: datetime
    checked: bool

    def __str__(self) -> str:
        by = "the authority whose certificate was given"
        if not self.checked:
            by = "an authority that nobody looked at: give its certificate with --authority"
        return f"time stamp of {self.time:%Y-%m-%d %H:%M:%S} UTC, by {by}"


def stamp_name(seal: Seal) -> str:
    """Where in the job the stamp of a seal lies."""
    return f"seal-{seal.statement.number:05d}.tsr"


def stamp_job(job: Path, seal: Seal, authority: str) -> Stamp:
    """Have the seal of a job stamped.

    Args:
        job: its folder.
        seal: of it.
        authority: address of a time stamping authority, http or https.

    Raises:
        BadInput: the authority cannot be reached, or its answer is no stamp of this seal.
        Missing: the extra `stamp` is not installed.
    """
    answer = _ask(seal.encode(), authority)
    stamp = read_stamp(seal.encode(), answer, None)
    with told_plainly(job):
        write_file(job / stamp_name(seal), answer)
    return stamp


def stamp_of(job: Path, seal: Seal, certificates: bytes | None) -> Stamp | None:
    """The stamp that lies beside a seal; None if there is none.

    Args:
        job: its folder.
        seal: of it.
        certificates: of the authority, PEM; None if they are not at hand.

    Raises:
        Damaged: it is no stamp of this seal, or not by that authority.
        Missing: the extra `stamp` is not installed.
    """
    answer = read_file(job, stamp_name(seal))
    if answer is None:
        return None
    try:
        return read_stamp(seal.encode(), answer, certificates)
    except BadInput as error:
        raise Damaged(error.what, where=str(job / stamp_name(seal))) from error


def read_stamp(data: bytes, answer: bytes, certificates: bytes | None) -> Stamp:
    """The stamp of `data` that an authority has answered.

    Raises:
        BadInput: it is none.
        Missing: the extra `stamp` is not installed.
    """
    client = _client()
    try:
        found = client.decode_timestamp_response(answer)
        builder = client.VerifierBuilder()
        for root in x509.load_pem_x509_certificates(certificates) if certificates else ():
            builder = builder.add_root_certificate(root)
        if certificates:
            builder.build().verify_message(found, data)
        elif found.tst_info.message_imprint.message != _hashed(data):
            raise BadInput("the time stamp is of something else")
        return Stamp(found.tst_info.gen_time.astimezone(UTC), certificates is not None)
    except (ValueError, client.VerificationError) as error:
        raise BadInput(f"this is no time stamp of the seal: {error}") from error


def _client() -> ModuleType:
    try:
        import rfc3161_client
    except ImportError as error:
        raise Missing(
            "the library for time stamps is not there",
            remedy="pip install 'handsfree[stamp]'",
        ) from error
    return rfc3161_client


def _hashed(data: bytes) -> bytes:
    return sha512(data).digest()


def _ask(data: bytes, authority: str) -> bytes:
    if urlsplit(authority).scheme not in ("http", "https"):
        raise BadInput("an authority has an address with http or https", where="--stamp")
    asked = _client().TimestampRequestBuilder().data(data).build().as_bytes()
    request = urllib.request.Request(
        authority, asked, {"Content-Type": "application/timestamp-query"}
    )
    try:
        with urllib.request.urlopen(request, timeout=WAIT) as opened:
            answer: bytes = opened.read(LARGEST_STAMP)
    except (OSError, urllib.error.URLError, ValueError) as error:
        raise BadInput(
            f"the authority does not answer: {error}",
            where=authority,
            remedy="The seal is there, without a stamp; `handsfree seal stamp` asks again.",
        ) from error
    return answer
