"""A job as one self-contained HTML page, with the sound behind every reading.

The page needs no network and no script: clips are embedded as FLAC data.
"""

from __future__ import annotations

import base64
from collections.abc import Callable
from pathlib import Path

from jinja2 import Environment, PackageLoader, select_autoescape

from handsfree import __version__
from handsfree.check import written
from handsfree.errors import BadInput
from handsfree.events import Asked, Entry, Logged, Noted, Spoke, UtteranceHeard, VerdictWithdrawn
from handsfree.log import JobRecord, Verification, verify
from handsfree.plan import COMMON_PRACTICE
from handsfree.report.watched import watched
from handsfree.units import show

#: Gives the bytes of a clip by its name in the job folder; None if it is gone.
Clips = Callable[[str], bytes | None]


#: Damages that are listed at the head of the page; the others are counted.
MOST_PROBLEMS = 20


#: Bytes of sound that a page holds at most; a browser would not open a larger one.
MOST_SOUND = 1 << 30


class _Sounds:
    """The clips, as long as there is room for them.

    Attributes:
        silent: how many were left out.
    """

    def __init__(self, clips: Clips) -> None:
        self._clips, self._room, self.silent = clips, MOST_SOUND, 0

    def __call__(self, name: str) -> bytes | None:
        """The bytes of a clip; None if it is gone or there is no room."""
        sound = self._clips(name) if self._room > 0 else None
        if self._room <= 0:
            self.silent += 1
        self._room -= len(sound or b"")
        return sound


def render(record: JobRecord, check: Verification, sounds: Clips) -> str:
    """The page.

    Args:
        record: the job.
        check: from `verify`; its state and fingerprint are printed.
        sounds: gives the sound of an utterance.
    """
    plan, clips = record.plan, _Sounds(sounds)
    readings = [
        {
            "entry": reading.entry,
            "verdict": reading.entry.verdict,
            "wire": reading.wire,
            "pin": reading.pin,
            "stands": reading.stands,
            "struck": reading.struck_by is not None,
            "step": plan.step(reading.entry.step),
            "condition": plan.condition(reading.entry.condition).say,
            "expected": written(reading.entry.verdict.expected),
            "distance": _distance(reading.entry),
            "sound": _data_uri(clips, reading.clip),
        }
        for reading in record.readings.history
    ]
    talk = [line for logged in record.events if (line := _said(logged, clips))]
    environment = Environment(
        loader=PackageLoader("handsfree.report"),
        autoescape=select_autoescape(default=True),
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template("report.html.j2").render(
        plan=plan,
        began=record.began,
        subject=_subject(record),
        follows=record.opened.follows if record.opened else None,
        readings=readings,
        watched=watched(record),
        talk=[line for line in talk if line["who"]],
        notes=[line for line in talk if not line["who"]],
        verdict=record.verdict,
        withdrawn=isinstance(record.verdict, VerdictWithdrawn),
        ending=record.ending,
        recovered=record.recovered,
        check=check,
        most=MOST_PROBLEMS,
        silent=clips.silent,
        common=COMMON_PRACTICE,
        version=__version__,
    )


#: Fields of the job's subject as they are headed.
_HEADINGS = {
    "vehicle": "Vehicle",
    "registration": "Registration",
    "odometer": "Odometer",
    "order": "Repair order",
    "technician": "Technician",
    "component": "Component",
    "complaint": "Complaint",
    "stored_code": "Stored code",
    "live_value": "Live value",
}


def _subject(record: JobRecord) -> list[tuple[str, str]]:
    """What was tested, by whom and for which order, as the job was opened with."""
    told = record.subject
    return [(heading, told[name]) for name, heading in _HEADINGS.items() if told.get(name)]


def report_file(job: Path, output: Path) -> Verification:
    """Write the report of a job folder; that of a damaged one says so first.

    Returns:
        What `verify` found, which the page tells.

    Raises:
        BadInput: it is no job folder, or the report cannot be written, or not in that format.
        Damaged: the log cannot be read.
    """
    if output.suffix.lower() not in (".html", ".htm"):
        raise BadInput(
            f"a report is written as HTML, not as {output.suffix or 'a file without an ending'}",
            where=str(output),
            remedy="Give a name that ends in .html. Any browser prints that page to PDF.",
        )
    record = JobRecord.read(job)
    check = verify(job)
    page = render(record, check, record.clip)
    try:
        _put(output, page)
    except OSError as error:
        raise BadInput(
            f"the report cannot be written: {error.strerror}",
            where=str(output),
            remedy="Choose another place with -o.",
        ) from error
    return check


def _put(output: Path, page: str) -> None:
    """Write a file, whole or not at all; where a link stands it is replaced, and not followed."""
    ready = output.with_name(f"{output.name}.new")
    ready.unlink(missing_ok=True)
    with ready.open("x", encoding="utf-8") as file:  # no link is followed to make a new file
        file.write(page)
    ready.replace(output)


def _said(logged: Logged, clips: Clips) -> dict[str, str] | None:
    """What was said, with its time and sound; by nobody if it is a note."""
    match logged.event:
        case UtteranceHeard(text=text):
            who = "technician"
        case Spoke(text=text):
            who = "tool"
        case Asked(text=text):
            who = "tool asks"
        case Noted(text=text):
            who = ""
        case _:
            return None
    return {"who": who, "text": text, "time": logged.time, "sound": _data_uri(clips, logged.clip)}


def _distance(entry: Entry) -> str:
    distance = entry.verdict.distance
    return "" if distance is None else show(distance)


def _data_uri(clips: Clips, name: str | None) -> str:
    sound = clips(name) if name else None
    if sound is None:
        return ""
    return "data:audio/flac;base64," + base64.b64encode(sound).decode("ascii")
