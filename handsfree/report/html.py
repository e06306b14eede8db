"""A job as one self-contained HTML page, with the sound behind every reading.

The page needs no network and no script: clips are embedded as FLAC data.
"""

from __future__ import annotations

import base64
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from jinja2 import Environment, PackageLoader, select_autoescape

from handsfree import __version__
from handsfree.errors import BadInput
from handsfree.log import Event, Verification, read, standing_readings, verify
from handsfree.plan import COMMON_PRACTICE, Plan, parse_plan

#: Gives the bytes of a clip by its name in the job folder; None if it is gone.
Clips = Callable[[str], bytes | None]


def render(plan: Plan, events: Sequence[Event], check: Verification, clips: Clips) -> str:
    """The page.

    Args:
        plan: the plan as used.
        events: of the job, in order.
        check: from `verify`; its state and fingerprint are printed.
        clips: gives the sound of an utterance.
    """
    readings = [
        {
            "fields": entry.event.fields,
            "time": entry.event.time,
            "stands": entry.stands,
            "struck": entry.struck_by is not None,
            "shown": _shown(entry.event.fields),
            "step": plan.step(entry.event.fields["step"]),
            "condition": plan.condition(entry.event.fields["condition"]).say,
            "sound": _data_uri(clips, entry.event.fields.get("clip")),
        }
        for entry in standing_readings(events).history
    ]
    talk = [
        {
            "kind": event.kind,
            "text": event.fields["text"],
            "time": event.time,
            "note": event.kind == "note",
            "sound": _data_uri(clips, event.fields.get("clip")) if event.kind != "reading" else "",
        }
        for event in events
        if event.kind in ("heard", "said", "asked", "note")
    ]
    verdicts = [event.fields for event in events if event.kind == "verdict"]
    endings = [event.fields for event in events if event.kind == "finished"]
    environment = Environment(
        loader=PackageLoader("handsfree.report"),
        autoescape=select_autoescape(default=True),
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template("report.html.j2").render(
        plan=plan,
        began=events[0].time if events else "",
        subject=_subject(events),
        follows=events[0].fields.get("follows") if events else None,
        readings=readings,
        talk=talk,
        notes=[t for t in talk if t["note"]],
        verdict=verdicts[-1] if verdicts else None,
        ending=endings[-1] if endings else None,
        check=check,
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


def _subject(events: Sequence[Event]) -> list[tuple[str, str]]:
    """What was tested, by whom and for which order, as the job was opened with."""
    told = events[0].fields.get("subject", {}) if events else {}
    return [(heading, told[name]) for name, heading in _HEADINGS.items() if told.get(name)]


def report_file(job: Path, output: Path) -> None:
    """Write the report of a job folder.

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
    events = read(job)
    try:
        plan = parse_plan((job / "plan.yaml").read_text(encoding="utf-8"), str(job / "plan.yaml"))
    except OSError as error:
        raise BadInput("the plan of the job is not there", where=str(job)) from error

    def clip(name: str) -> bytes | None:
        path = job / "clips" / Path(name).name
        return path.read_bytes() if path.is_file() else None

    page = render(plan, events, verify(job), clip)
    try:
        output.write_text(page, encoding="utf-8")
    except OSError as error:
        raise BadInput(
            f"the report cannot be written: {error.strerror}",
            where=str(output),
            remedy="Choose another place with -o.",
        ) from error


def _shown(fields: Any) -> str:
    if fields.get("over_limit"):
        return "over limit"
    value = fields.get("spoken") or fields["value"]
    return f"{value} {fields['unit']}" if fields.get("unit") else str(value)


def _data_uri(clips: Clips, name: str | None) -> str:
    sound = clips(name) if name else None
    if sound is None:
        return ""
    return "data:audio/flac;base64," + base64.b64encode(sound).decode("ascii")
