"""Vosk models from their public index: fetched once, checked, unpacked where they are found.

The index is the one that the vosk package itself reads (`MODEL_LIST_URL` in its `__init__`).
Of its models only those that can be held to a grammar are offered: a model whose graph is
composed beforehand takes none.  The index may be anybody's, so it proves nothing of what it names:
an archive is unpacked only if its SHA-256 is one that is pinned here, or was given by the user.
"""

from __future__ import annotations

import errno
import hashlib
import json
import re
import shutil
import stat
import tempfile
import zlib
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from http.client import HTTPException, HTTPResponse
from pathlib import Path, PurePosixPath
from typing import Any
from urllib.error import HTTPError
from urllib.request import Request, urlopen
from zipfile import BadZipFile, ZipFile, ZipInfo

from platformdirs import user_data_path

from handsfree.errors import BadInput, Missing

INDEX = "https://alphacephei.com/vosk/models/model-list.json"

#: Kinds of model whose graph is composed while they listen, so that a grammar may hold them.
GRAMMAR_KINDS = ("small", "big-lgraph")

#: SHA-256 of the archives that are known, as package builds of several distributions pin them too.
PINNED = {
    "vosk-model-small-en-us-0.15": (
        "30f26242c4eb449f948e42cb302dd7a686cb29a3423a8367f99ff41780942498"
    ),
    "vosk-model-en-us-0.22-lgraph": (
        "d9838b4aaa82a75c4a17f5aca300eaca129aaab2a7cbf951bafbb500eb9c4334"
    ),
}

#: Bytes of an index, and of an archive, at most.
LARGEST_INDEX, LARGEST_ARCHIVE = 1 << 22, 1 << 33
#: What a model or a language may be called: it becomes the name of a file.
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,80}")

#: Seconds without an answer or a byte after which a transfer has failed.
TIMEOUT = 30.0
#: Attempts in a row without a new byte before a transfer is given up.
ATTEMPTS = 3
_BLOCK = 1 << 18  # bytes

Report = Callable[[int, int], None]
"""Told of progress: bytes that are there, bytes in all."""


@dataclass(frozen=True, slots=True)
class Offer:
    """A model in the index.

    Attributes:
        name: such as "vosk-model-small-en-us-0.15".
        language: such as "en-us".
        kind: "small", or "big-lgraph": more exact, several times the size.
        url: of its archive.
        size: of the archive in bytes.
        sha256: of the archive, in hexadecimal; empty if it is not known.
    """

    name: str
    language: str
    kind: str
    url: str
    size: int
    sha256: str = ""


def models_folder() -> Path:
    """Where models are kept: one folder `vosk-LANGUAGE` each."""
    return user_data_path("handsfree") / "models"


def offers(index: str = INDEX) -> list[Offer]:
    """The models of an index that can be held to a grammar, by language, the small first.

    Raises:
        Missing: it cannot be reached, or is none.
    """
    try:
        with _open(index) as answer:
            text = answer.read(LARGEST_INDEX + 1)
    except (OSError, HTTPException, ValueError) as error:  # ValueError: no address of the web
        raise _unreachable("the list of models", index, error) from error
    try:
        if len(text) > LARGEST_INDEX:
            raise ValueError("too long")
        found = [
            _offered(model)
            for model in json.loads(text)
            if model["type"] in GRAMMAR_KINDS and model["obsolete"] == "false"
        ]
    except (ValueError, KeyError, TypeError, OverflowError, RecursionError) as error:
        raise Missing("the list of models cannot be understood", where=index) from error
    return sorted(found, key=lambda o: (o.language, GRAMMAR_KINDS.index(o.kind), o.name))


def _offered(model: Mapping[str, Any]) -> Offer:
    """A model of an index.

    Raises:
        ValueError, KeyError, TypeError: it is none that could be kept.
    """
    name, language, url, size = (model[key] for key in ("name", "lang", "url", "size"))
    if not (_NAME.fullmatch(name) and _NAME.fullmatch(language)):
        raise ValueError("this is no name of a model")
    if not str(url).startswith(("https://", "http://")):
        raise ValueError("this is no address of the web")
    if isinstance(size, bool) or not 0 < int(size) <= LARGEST_ARCHIVE:
        raise ValueError("no model is so large")
    return Offer(name, language, model["type"], url, int(size), PINNED.get(name, ""))


def choose(found: list[Offer], wanted: str) -> Offer:
    """The model of that name, or the small one of that language.

    Raises:
        BadInput: there is none.
    """
    for offer in found:
        if wanted in (offer.name, offer.language):
            return offer
    known = ", ".join(dict.fromkeys(offer.language for offer in found))
    raise BadInput(f"there is no model {wanted!r}", remedy=f"Languages: {known}")


def fetch(offer: Offer, folder: Path, report: Report = lambda have, size: None) -> Path:
    """Fetch a model, check it and put it in place, all or nothing.

    What was fetched stays until the next attempt, which goes on from there.

    Args:
        offer: the model.
        folder: where models are kept; an earlier one of that language is replaced.
        report: told of progress.

    Returns:
        The folder of the model, `vosk-LANGUAGE` in `folder`.

    Raises:
        Missing: it cannot be fetched.
        BadInput: its SHA-256 is not known or is another, or there is no room for it.
    """
    if not offer.sha256:
        raise BadInput(
            f"the SHA-256 of {offer.name} is not known here, so nobody could tell what comes",
            where=offer.url,
            remedy="Take it from a place that you trust, and give it with --sha256.",
        )
    target = folder / f"vosk-{offer.language}"
    part = folder / f"{offer.name}.zip.part"
    with _told_plainly(folder):
        folder.mkdir(parents=True, exist_ok=True)
        _download(offer, part, report)
        _check(offer, part)
        with tempfile.TemporaryDirectory(prefix=".unpacked-", dir=folder) as scratch:
            model = _unpack(part, Path(scratch))
            if target.exists():
                target.rename(Path(scratch) / "before")
            model.rename(target)
        part.unlink()
    return target


class _BrokenError(Exception):
    """A transfer that broke off; another attempt may go on."""


def _open(url: str, start: int = 0) -> HTTPResponse:
    """The answer of a server, from byte `start` on where it can."""
    request = Request(url, headers={"Range": f"bytes={start}-"} if start else {})
    answer: HTTPResponse = urlopen(request, timeout=TIMEOUT)
    return answer


def _download(offer: Offer, part: Path, report: Report) -> None:
    """Make `part` as long as the offer says, going on with what is there."""
    have = part.stat().st_size if part.exists() else 0
    if have > offer.size:  # it can only be another file
        part.unlink()
        have = 0
    _want_space(part.parent, offer.size - have)
    most, failed = have, 0
    while have != offer.size:
        broken = None
        try:
            for length in _transfer(offer, part, have):
                have = length
                report(have, offer.size)
                if have > offer.size:
                    part.unlink()
                    raise BadInput(
                        f"more comes than the {offer.size} bytes of {offer.name}",
                        where=offer.url,
                        remedy="It was thrown away: this is another file.",
                    )
        except _BrokenError as error:
            broken = error.__cause__
        failed = 0 if most < have <= offer.size else failed + 1
        if failed >= ATTEMPTS:
            raise _unreachable(offer.name, offer.url, broken)
        most = max(most, have)


def _transfer(offer: Offer, part: Path, have: int) -> Iterator[int]:
    """Append to `part` from byte `have` on; yields its length after each block.

    A server that gives no ranges, or has less than `have`, starts from nought.
    """
    try:
        answer = _open(offer.url, have)
    except HTTPError as error:
        if error.code != 416:
            raise _unreachable(offer.name, offer.url, error) from error
        part.unlink()
        yield 0
        return
    except (OSError, HTTPException, ValueError) as error:
        raise _BrokenError from error
    goes_on = answer.headers.get("Content-Range", "").startswith(f"bytes {have}-")
    with answer, part.open("ab" if goes_on else "wb") as file:
        while True:
            try:
                block = answer.read(_BLOCK)
            except (OSError, HTTPException) as error:
                raise _BrokenError from error
            if not block:
                return
            file.write(block)
            yield file.tell()


def _check(offer: Offer, part: Path) -> None:
    with part.open("rb") as file:
        found = hashlib.file_digest(file, "sha256").hexdigest()
    if found != offer.sha256.lower():
        part.unlink()
        raise BadInput(
            f"what was fetched is not {offer.name}: its checksum is {found}, not {offer.sha256}",
            where=offer.url,
            remedy="It was thrown away. Try again; if that fails too, do not trust this network.",
        )


def _unpack(archive: Path, scratch: Path) -> Path:
    """The one folder that the archive holds, unpacked in `scratch`."""
    try:
        with ZipFile(archive) as opened:
            members = opened.infolist()
            outside = next((m.filename for m in members if not _stays_inside(m)), None)
            if outside is not None:
                raise BadInput(f"the archive would write outside its folder: {outside!r}")
            _want_space(scratch, sum(member.file_size for member in members))
            opened.extractall(scratch)
    except (BadZipFile, RuntimeError, zlib.error) as error:  # RuntimeError: no way to unpack it
        raise BadInput(f"the archive is damaged: {error}", where=str(archive)) from error
    found = list(scratch.iterdir())
    if len(found) != 1 or not found[0].is_dir():
        raise BadInput("the archive does not hold one model in one folder", where=str(archive))
    return found[0]


def _stays_inside(member: ZipInfo) -> bool:
    path = PurePosixPath(member.filename)
    plain = not path.is_absolute() and ".." not in path.parts and not set("\\:") & set(str(path))
    return plain and not stat.S_ISLNK(member.external_attr >> 16)


def _want_space(folder: Path, size: int) -> None:
    if shutil.disk_usage(folder).free < size:
        raise OSError(errno.ENOSPC, "no space", str(folder))


@contextmanager
def _told_plainly(folder: Path) -> Iterator[None]:
    """Turn an error of the disk into one for people."""
    try:
        yield
    except OSError as error:
        full = error.errno in (errno.ENOSPC, errno.EDQUOT)
        what = "the disk is full" if full else f"no model can be kept here: {error.strerror}"
        remedy = "Free some space" if full else "Choose another folder with --into"
        raise BadInput(
            what, where=str(error.filename or folder), remedy=f"{remedy}, and say it again."
        ) from error


def _unreachable(what: str, url: str, cause: BaseException | None) -> Missing:
    reason = getattr(cause, "reason", cause)
    detail = getattr(reason, "strerror", None) or reason or "the connection broke off"
    return Missing(
        f"{what} cannot be fetched: {detail}",
        where=url,
        remedy="Connect to the network and say it again: it goes on where it stopped. "
        "Offline, unpack a model brought by hand and name its folder with --model.",
    )
