"""What a shop signs, and how it is written: one line a seal.  Pure.

    {"statement":{…},"public":"…","signature":"…"}

The signature is Ed25519 (RFC 8032) over `SIGNED` followed by the bytes of the statement as they
stand in the line.  A line has one form only: what reads the same but is written otherwise is no
seal, so that no byte of it can be changed unseen.
"""

from __future__ import annotations

from dataclasses import dataclass
from hashlib import sha256
from typing import Annotated, Literal, Self

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
from pydantic import BaseModel, ConfigDict, Field, StringConstraints

#: What a seal shows and what it cannot, for people.
LIMITS = (
    "A seal shows that whoever holds the shop's key vouched for exactly this, and that not a byte "
    "of it was changed since. It does not show that what was said or measured is true, nor when: "
    "the time is that of the shop's own clock, unless a time stamp stands beside it. Whoever has "
    "the key and its passphrase can seal anything. An older copy of the whole folder, with its "
    "older seal, looks like what it was then: only the list of seals on the shop's machine, or a "
    "later fingerprint or seal that was kept, shows that there was more. Without the shop's public "
    "key from the shop itself, a seal shows no more than that all of it is of one hand."
)

#: Stands before each statement that is signed, so that no signature means anything else.
SIGNED = b"handsfree seal 1\n"
#: Characters of the name of a shop, at most.
LONGEST_SHOP = 120

Sha256 = Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{64}$")]
Count = Annotated[int, Field(ge=0, lt=1 << 53)]


class Statement(BaseModel):
    """What is vouched for.

    Attributes:
        seals: a job, or a file made of it, such as its report.
        job: SHA-256 of the line that opened the job; tells it from every other.
        events, head: how many events the log had, and the SHA-256 of the last.
        clips: how many recordings they name, each by its hash.
        state: of the job then.
        file, sha256: name and hash of the file; empty if it is the job itself.
        shop: name of who seals.
        key: identity of the key.
        number: which of the seals of this key it is, from 1.
        time: of the machine's clock, UTC.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)

    seals: Literal["job", "file"]
    job: Sha256
    events: Count
    head: Sha256
    clips: Count
    state: Literal["finished", "open"]
    file: Annotated[str, StringConstraints(max_length=255)] = ""
    sha256: Sha256 | Literal[""] = ""
    shop: Annotated[str, StringConstraints(min_length=1, max_length=LONGEST_SHOP)]
    key: Sha256
    number: Annotated[int, Field(ge=1, lt=1 << 53)]
    time: Annotated[str, StringConstraints(pattern=r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ$")]

    def to_sign(self) -> bytes:
        """The bytes that the signature is over."""
        return SIGNED + self.model_dump_json().encode()


class Seal(BaseModel):
    """A statement and the signature under it.

    Attributes:
        statement: what is vouched for.
        public: the public key of the signature, hexadecimal.
        signature: hexadecimal.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)

    statement: Statement
    public: Sha256
    signature: Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{128}$")]

    def encode(self) -> bytes:
        """The line, newline included."""
        return self.model_dump_json().encode() + b"\n"

    @classmethod
    def decode(cls, line: bytes) -> Self:
        """The seal of a line.

        Raises:
            ValueError: the line is no seal, or its signature is not of its statement.
        """
        seal = cls.model_validate_json(line)
        if seal.encode() != line:
            raise ValueError("a seal is written otherwise")
        if key_id(seal.public) != seal.statement.key:
            raise ValueError("the key is not the one that is named")
        try:
            key = Ed25519PublicKey.from_public_bytes(bytes.fromhex(seal.public))
            key.verify(bytes.fromhex(seal.signature), seal.statement.to_sign())
        except InvalidSignature as error:
            raise ValueError("the signature is not of this statement") from error
        return seal


def key_id(public: str) -> str:
    """The identity of a public key: SHA-256 over its 32 bytes, hexadecimal."""
    return sha256(bytes.fromhex(public)).hexdigest()


def shown_key(identity: str) -> str:
    """A key's identity to be compared by eye: its first 128 bits in groups of four digits."""
    return " ".join(identity[i : i + 4] for i in range(0, 32, 4))


@dataclass(frozen=True, slots=True)
class BadLine:
    """A line of the seals that is none: it was changed, or its signature is not of it."""

    number: int
    why: str


def read_seals(data: bytes) -> tuple[tuple[Seal, ...], tuple[BadLine, ...]]:
    """The seals of a file, in order, and the lines that are none."""
    seals: list[Seal] = []
    bad: list[BadLine] = []
    for number, line in enumerate(data.splitlines(keepends=True), 1):
        try:
            seals.append(Seal.decode(line))
        except ValueError as error:
            why = str(error) if not hasattr(error, "errors") else "it cannot be read"
            bad.append(BadLine(number, why))
    return tuple(seals), tuple(bad)
