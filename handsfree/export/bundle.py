"""Whole jobs in one archive, for the customer whose they are: a ZIP with a manifest.

Each job in it is a job folder, which `handsfree verify` reads once it is unpacked.
"""

from __future__ import annotations

import io
import json
import re
import zipfile
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from handsfree.errors import BadInput, Damaged
from handsfree.log import JobRecord, chain, verify
from handsfree.log.folder import EVENTS, FINISHED, PLAN, SEALS, read_file, stored_names

MANIFEST = "manifest.json"
#: The first time that ZIP knows: an archive of the same jobs has the same bytes.
_NO_TIME = (1980, 1, 1, 0, 0, 0)
_STAMP = re.compile(r"seal-\d{5,}\.tsr")


@dataclass(frozen=True, slots=True)
class Packed:
    """An archive.

    Attributes:
        data: its bytes.
        jobs: how many jobs it holds.
        files: how many files.
    """

    data: bytes
    jobs: int
    files: int


def pick(jobs: Iterable[Path], wanted: Mapping[str, str]) -> list[Path]:
    """The jobs whose subject is as wanted: customer, registration, order …; case does not matter.

    Args:
        jobs: job folders, or folders of such.
        wanted: text of each field.

    Raises:
        BadInput: there is no job, or none is such.
    """
    found = [job for folder in jobs for job in job_folders(folder)]
    picked = [job for job in dict.fromkeys(found) if not wanted or _is(job, wanted)]
    if not picked:
        told = ", ".join(f"{name} “{text}”" for name, text in wanted.items())
        raise BadInput(f"there is no job{' with ' + told if told else ''}")
    return picked


def job_folders(folder: Path) -> list[Path]:
    """The folder itself if it is a job, else the jobs in it."""
    if (folder / EVENTS).is_file():
        return [folder]
    return sorted(path.parent for path in folder.glob(f"*/{EVENTS}"))


def _is(job: Path, wanted: Mapping[str, str]) -> bool:
    subject = JobRecord.read(job).subject
    return all(
        " ".join(subject.get(name, "").split()).casefold() == " ".join(text.split()).casefold()
        for name, text in wanted.items()
    )


def pack(jobs: Sequence[Path]) -> Packed:
    """An archive of these jobs: their own files and no other, each with its hash in the manifest.

    Raises:
        BadInput: one is no job folder, or holds something that is no plain file.
        Damaged: one is not as it was written.
    """
    told: list[dict[str, Any]] = []
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for number, job in enumerate(jobs, 1):
            name = _folder_name(number, job)
            found = verify(job)
            if found.problems:
                raise Damaged(
                    f"the log is damaged: {found.problems[0]}",
                    where=str(job),
                    remedy="`handsfree recover` makes a whole job of it, as far as it is whole.",
                )
            files = {file: data for file in _files(job) if (data := read_file(job, file))}
            for file, data in files.items():
                _add(archive, f"{name}/{file}", data)
            told.append(
                {
                    "folder": name,
                    "job": job.resolve().name,
                    "state": found.state,
                    "fingerprint": found.fingerprint,
                    "subject": JobRecord.read(job).subject,
                    "files": {
                        file: {"bytes": len(data), "sha256": chain.digest(data)}
                        for file, data in files.items()
                    },
                }
            )
        manifest = {"format": 1, "jobs": told}
        _add(archive, MANIFEST, json.dumps(manifest, ensure_ascii=False, indent=1).encode())
    return Packed(out.getvalue(), len(told), sum(len(job["files"]) for job in told))


def _files(job: Path) -> list[str]:
    stamps = sorted(path.name for path in job.iterdir() if _STAMP.fullmatch(path.name))
    return [EVENTS, PLAN, FINISHED, SEALS, *stored_names(job), *stamps]


def _folder_name(number: int, job: Path) -> str:
    """A name that leads nowhere else on any system."""
    plain = re.sub(r"[^A-Za-z0-9_-]+", "-", job.resolve().name).strip("-")[:60]
    return f"{number:03d}-{plain or 'job'}"


def _add(archive: zipfile.ZipFile, name: str, data: bytes) -> None:
    entry = zipfile.ZipInfo(name, _NO_TIME)
    entry.compress_type = zipfile.ZIP_DEFLATED
    entry.external_attr = 0o600 << 16
    archive.writestr(entry, data)
