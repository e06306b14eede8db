"""Photos of a job as they are shown: smaller, turned upright, and without what a camera adds.

What is kept in the job stays byte for byte; where it was taken, and with what, is in no report.
"""

from __future__ import annotations

import base64
from dataclasses import dataclass
from io import BytesIO

from handsfree.events import PhotoAttached
from handsfree.log import JobRecord
from handsfree.log.photo import NoPhoto, opened
from handsfree.report.sounds import Files
from handsfree.report.times import Clock

#: Longest side in a report, in pixels, and quality of its JPEG.
LONGEST_SIDE, QUALITY = 1400, 80


@dataclass(frozen=True, slots=True)
class Photo:
    """A photo as it is shown.

    Attributes:
        name: of the file that was attached.
        time: when, local.
        data: address of it within the page; empty if it is gone or cannot be shown.
        sha256: of the file as it was attached.
        located: whether that file says where it was taken.
    """

    name: str
    time: str
    data: str
    sha256: str
    located: bool


def photos(record: JobRecord, clock: Clock, files: Files) -> tuple[Photo, ...]:
    """The photos of a job, in the order they were attached."""
    return tuple(
        Photo(
            logged.event.source,
            clock.day(logged.time),
            _shown(files(logged.event.photo)),
            logged.event.photo_sha256,
            logged.event.located,
        )
        for logged in record.events
        if isinstance(logged.event, PhotoAttached)
    )


def _shown(data: bytes | None) -> str:
    from PIL import ImageOps

    if data is None:
        return ""
    try:
        with opened(data) as image:
            upright = ImageOps.exif_transpose(image).convert("RGB")
    except NoPhoto:
        return ""
    upright.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    made = BytesIO()
    upright.save(made, "JPEG", quality=QUALITY)  # nothing but the picture goes over
    return "data:image/jpeg;base64," + base64.b64encode(made.getvalue()).decode("ascii")
