"""The passphrase of the shop's key, remembered by the system's key ring.

Only where it was asked for (`seal init --keyring`, `seal keyring`); else no key ring is touched.
The private key stays in its file under the passphrase, so that whoever has the file alone, or the
key ring alone, cannot seal, and whoever knows the passphrase can on another machine.  The library
`keyring`, an extra, speaks to Secret Service or KWallet on Linux, to the Keychain and to the
Windows Credential Manager.
"""

from __future__ import annotations

from typing import Any

from handsfree.errors import Missing
from handsfree.seal.keys import ShopKey, set_uses_keyring, uses_keyring

#: Under which the passphrase stands in the key ring, with the public key as the user's name.
SERVICE = "handsfree seal"
#: From this on the library recommends a key ring; those below keep a secret in plain text, or none.
LEAST_PRIORITY = 1


def keep_passphrase(key: ShopKey, passphrase: str) -> str:
    """Let the key ring remember the passphrase of a key; returns the name of the key ring.

    Raises:
        Missing: there is no key ring that keeps a secret, or it does not take this one.
    """
    ring, refused = _ring()
    try:
        ring.set_password(SERVICE, key.public, passphrase)
        kept = ring.get_password(SERVICE, key.public)
    except refused as error:
        raise _none(f"the key ring does not take it: {error}") from error
    if kept != passphrase:
        raise _none("the key ring does not give back what it took")
    set_uses_keyring(True, key.folder)
    return str(ring.name)


def kept_passphrase(public: str) -> str | None:
    """The passphrase of this machine's key; None if it is not remembered, or cannot be had now."""
    if not uses_keyring():
        return None
    try:
        ring, refused = _ring()
        kept: str | None = ring.get_password(SERVICE, public)
    except Missing:
        return None
    except refused:  # locked, and nobody opened it
        return None
    return kept


def forget_passphrase(public: str) -> None:
    """Take the passphrase out of the key ring; it is asked again from now on.

    Raises:
        Missing: the key ring cannot be reached.
    """
    if uses_keyring():
        ring, refused = _ring()
        try:
            if ring.get_password(SERVICE, public) is not None:
                ring.delete_password(SERVICE, public)
        except refused as error:
            raise _none(f"the key ring does not forget it: {error}") from error
        set_uses_keyring(False)


def _ring() -> tuple[Any, type[Exception]]:
    """The system's key ring, and what it raises."""
    try:
        import keyring
        from keyring.errors import KeyringError
    except ImportError as error:
        raise Missing(
            "the library that speaks to the key ring is not installed",
            remedy="pip install 'handsfree[keyring]'",
        ) from error
    ring = keyring.get_keyring()
    if ring.priority < LEAST_PRIORITY:
        raise _none("there is no key ring of the system that keeps a secret")
    return ring, KeyringError


def _none(what: str) -> Missing:
    return Missing(what, remedy="Seal with the passphrase; it is asked where it is needed.")
