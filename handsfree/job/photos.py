"""Photos into the log of a job, also of one that is finished: they add to it and change nothing."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from handsfree.errors import BadInput
from handsfree.log import JobRecord, open_job
from handsfree.log.photo import MOST_OF_A_PHOTO, NoPhoto, Picture, look_at

#: Signs of a file's name that are kept.
LONGEST_FILE_NAME = 120


def attach_photos(job: Path, files: Sequence[Path]) -> list[Picture]:
    """Put photos into a job: all of them, or none if one cannot be taken.

    Each is copied byte for byte, and its hash becomes part of the chain.

    Returns:
        What is known of each.

    Raises:
        BadInput: a file is no photo, or too large; the job cannot be written.
        Damaged: the log is not as it was written.
    """
    record = JobRecord.read(job)
    known = [(file, *_read(file)) for file in files]
    plan, title = record.plan_text.encode(), record.plan.title
    with open_job(job, plan, title=title, afterwards=True) as log:
        for file, data, picture in known:
            log.append(
                "photo",
                None,
                (picture.ending, data),
                source=file.name[:LONGEST_FILE_NAME].encode(errors="replace").decode(),
                width=picture.width,
                height=picture.height,
                located=picture.located,
            )
    return [picture for _, _, picture in known]


def _read(file: Path) -> tuple[bytes, Picture]:
    try:
        with file.open("rb") as opened:
            data = opened.read(MOST_OF_A_PHOTO + 1)
        return data, look_at(data)
    except OSError as error:
        raise BadInput(f"it cannot be read: {error.strerror}", where=str(file)) from error
    except NoPhoto as error:
        raise BadInput(
            f"this is no photo that can be kept: {error}",
            where=str(file),
            remedy="Photos are JPEG or PNG, of 30 megabytes at most; none was attached.",
        ) from error
