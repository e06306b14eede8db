"""The shop's key: the private half under a passphrase on one machine, the public one for everybody.

    shop.json   name of the shop, and whether the system's key ring remembers the passphrase
    shop.key    private key, PEM (PKCS #8, encrypted with the passphrase); its owner's alone
    shop.pub    public key, PEM (SubjectPublicKeyInfo); may be given to anybody
    known/      public keys of others that somebody here has vouched for

All of them are in formats that `openssl pkey` reads.  Neither the private key nor the passphrase
ever stands in a job.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from cryptography.exceptions import UnsupportedAlgorithm
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from cryptography.hazmat.primitives.serialization import (
    BestAvailableEncryption,
    Encoding,
    PrivateFormat,
    PublicFormat,
    load_pem_private_key,
    load_pem_public_key,
)
from platformdirs import user_config_path

from handsfree.errors import BadInput, Missing
from handsfree.log.folder import told_plainly
from handsfree.seal.statement import LONGEST_SHOP, key_id
from handsfree.showable import showable

#: Characters of a passphrase, at least (NIST SP 800-63B-4, 3.1.1.2: 15 where it stands alone).
SHORTEST_PASSPHRASE = 15
#: Bytes of a file with a public key, at most.
LARGEST_KEY = 1 << 14


def seal_folder() -> Path:
    """Where the key and the list of what it sealed are: this user's own folder for settings."""
    return user_config_path("handsfree") / "seal"


@dataclass(frozen=True)
class ShopKey:
    """The shop's key, unlocked; it lives as long as the program runs.

    Attributes:
        shop: name of the shop.
        public: its public half, hexadecimal.
        folder: where its list of seals is kept.
    """

    shop: str
    folder: Path
    _private: Ed25519PrivateKey

    @property
    def public(self) -> str:
        """The public half, hexadecimal."""
        return _hexadecimal(self._private.public_key())

    def sign(self, data: bytes) -> str:
        """The signature of `data`, hexadecimal."""
        return self._private.sign(data).hex()


@dataclass(frozen=True, slots=True)
class Trusted:
    """Public keys that are not only known from the seals themselves.

    Attributes:
        given: that the user has named now; if there are any, no other key counts.
        own: of this machine's shop.
        known: that somebody has vouched for here.
    """

    given: frozenset[str] = frozenset()
    own: frozenset[str] = frozenset()
    known: frozenset[str] = frozenset()

    @classmethod
    def here(cls, files: Iterable[Path] = (), folder: Path | None = None) -> Trusted:
        """The keys in these files, and those that this machine knows.

        Raises:
            BadInput: a file holds no such key.
        """
        where = folder or seal_folder()
        own = (where / "shop.pub",) if (where / "shop.pub").is_file() else ()
        return cls(
            frozenset(map(load_public, files)),
            frozenset(map(load_public, own)),
            frozenset(map(load_public, sorted((where / "known").glob("*.pub")))),
        )


def shop_name(folder: Path | None = None) -> str | None:
    """The name of the shop whose key is here; None if there is no key."""
    name = _shop(folder).get("shop")
    return name if isinstance(name, str) else None


def uses_keyring(folder: Path | None = None) -> bool:
    """Whether the system's key ring was told the passphrase of the key."""
    return _shop(folder).get("keyring") is True


def set_uses_keyring(told: bool, folder: Path | None = None) -> None:
    """Keep in mind whether the key ring was told."""
    where = folder or seal_folder()
    known = {name: value for name, value in _shop(where).items() if name != "keyring"}
    ready = where / "shop.json.new"
    with told_plainly(where):
        ready.unlink(missing_ok=True)
        _write(ready, json.dumps(known | ({"keyring": True} if told else {})).encode())
        ready.replace(where / "shop.json")


def _shop(folder: Path | None) -> dict[str, object]:
    """What is told of the shop whose key is here; nothing if there is none."""
    file = (folder or seal_folder()) / "shop.json"
    try:
        found = json.loads(file.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return found if isinstance(found, dict) else {}


def make_key(shop: str, passphrase: str, folder: Path | None = None) -> ShopKey:
    """Make the key of a shop.

    Args:
        shop: its name, as a customer knows it.
        passphrase: that opens the key; it is stored nowhere.
        folder: for the key; else this user's.

    Raises:
        BadInput: there is a key already, the name or the passphrase cannot be used, or the key
            cannot be written.
    """
    where = folder or seal_folder()
    name = " ".join(shop.split())
    if not name or len(name) > LONGEST_SHOP or showable(name) != name:
        raise BadInput(f"{shop!r} cannot be used as a shop's name", where="--shop")
    if len(passphrase) < SHORTEST_PASSPHRASE:
        raise BadInput(
            f"the passphrase is too short: {SHORTEST_PASSPHRASE} characters at least",
            remedy="Four or five words that do not belong together are easily remembered.",
        )
    if (where / "shop.key").exists():
        raise BadInput(
            "there is a key already, and seals made with it need it",
            where=str(where / "shop.key"),
            remedy="To begin with another, move this folder away and keep it.",
        )
    private = Ed25519PrivateKey.generate()
    hidden = BestAvailableEncryption(passphrase.encode())
    with told_plainly(where):
        where.mkdir(parents=True, exist_ok=True, mode=0o700)
        _write(where / "shop.json", json.dumps({"shop": name}, ensure_ascii=False).encode())
        _write(where / "shop.pub", public_pem(private.public_key()))
        _write(where / "shop.key", private.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, hidden))
    return ShopKey(name, where, private)


def unlock(passphrase: str, folder: Path | None = None) -> ShopKey:
    """The shop's key.

    Raises:
        Missing: there is none.
        BadInput: that is not its passphrase, or it is no such key.
    """
    where = folder or seal_folder()
    shop, file = shop_name(where), where / "shop.key"
    if shop is None or not file.is_file():
        raise Missing(
            "there is no key to seal with",
            where=str(file),
            remedy="Make one: handsfree seal init --shop 'NAME OF THE SHOP'",
        )
    try:
        private = load_pem_private_key(file.read_bytes(), passphrase.encode())
    except (ValueError, TypeError, UnsupportedAlgorithm) as error:
        raise BadInput("that is not the passphrase of this key", where=str(file)) from error
    if not isinstance(private, Ed25519PrivateKey):
        raise BadInput("this is no Ed25519 key", where=str(file))
    return ShopKey(shop, where, private)


def load_public(file: Path) -> str:
    """The public key in a file, hexadecimal.

    Raises:
        BadInput: it holds none.
    """
    try:
        with file.open("rb") as opened:
            key = load_pem_public_key(opened.read(LARGEST_KEY))
    except (OSError, ValueError, UnsupportedAlgorithm) as error:
        why = error.strerror if isinstance(error, OSError) else "it is no public key in PEM"
        raise BadInput(
            f"the public key cannot be read: {why}",
            where=str(file),
            remedy="Ask the shop for the file that `handsfree seal key -o FILE` wrote.",
        ) from error
    if not isinstance(key, Ed25519PublicKey):
        raise BadInput("this is no Ed25519 key", where=str(file))
    return _hexadecimal(key)


def vouch(file: Path, folder: Path | None = None) -> str:
    """Keep a public key among those that this machine knows; returns its identity."""
    public = load_public(file)
    where = (folder or seal_folder()) / "known"
    key = Ed25519PublicKey.from_public_bytes(bytes.fromhex(public))
    with told_plainly(where):
        where.mkdir(parents=True, exist_ok=True, mode=0o700)
        kept = where / f"{key_id(public)[:32]}.pub"
        kept.unlink(missing_ok=True)
        _write(kept, public_pem(key))
    return key_id(public)


def public_pem(key: Ed25519PublicKey) -> bytes:
    """A public key as PEM."""
    return key.public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo)


def _hexadecimal(key: Ed25519PublicKey) -> str:
    return key.public_bytes(Encoding.Raw, PublicFormat.Raw).hex()


def _write(file: Path, data: bytes) -> None:
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL
    with os.fdopen(os.open(file, flags, 0o600), "wb") as out:
        out.write(data)
