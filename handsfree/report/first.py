"""The first page: what a customer and a warranty desk want to know."""

from __future__ import annotations

from dataclasses import dataclass

from handsfree.events import (
    JobFinished,
    JobReviewed,
    JobTakenUp,
    StepOpened,
    VerdictWithdrawn,
)
from handsfree.log import JobRecord
from handsfree.plan import FreePlan
from handsfree.report.evidence import basis, decisive
from handsfree.report.readings import Row, row
from handsfree.report.times import Clock

#: Fields of the job's subject as they are headed.
FACTS = {
    "vehicle": "Vehicle",
    "registration": "Registration",
    "odometer": "Odometer",
    "order": "Repair order",
    "complaint": "Complaint",
    "component": "Component",
    "stored_code": "Stored code",
    "live_value": "Live value",
    "technician": "Technician",
}


@dataclass(frozen=True, slots=True)
class FirstPage:
    """What stands on it.

    Attributes:
        facts: vehicle, order, complaint, technician, when, meter: heading and text.
        found: the part at fault, or that none is named.
        said: the finding in a sentence; empty if there is none.
        sure: how sure it is; empty if there is no finding.
        done: what was done about it.
        ending: verified, not verified, or not finished, in a sentence.
        verified: whether it is verified.
        missing: what is missing for that.
        decisive: the readings that decided it.
        seal: by whom and when the log is sealed.
    """

    facts: tuple[tuple[str, str], ...]
    found: str
    said: str
    sure: str
    done: str
    ending: str
    verified: bool
    missing: str
    decisive: tuple[Row, ...]
    seal: str


def first_page(record: JobRecord, clock: Clock, seal: str | None) -> FirstPage:
    """The first page of a job.

    Args:
        record: the job.
        clock: tells its times.
        seal: the state of its seal in a sentence; None if it has none.
    """
    held = basis(record)
    finding = held.verdict.finding if held else None
    ending = record.ending
    if finding is not None:
        found, said = finding.part, finding.say
    elif isinstance(record.plan, FreePlan):
        found, said = "Nothing was expected", _logged(record)
    elif held is not None:
        found, said = "No part named", record.plan.no_finding
    elif isinstance(record.verdict, VerdictWithdrawn):
        found = "Withdrawn"
        said = "A reading that the finding stood on no longer counts; the tests are open again."
    else:
        found, said = "Nothing yet", "The tests came to no finding."
    return FirstPage(
        facts=_facts(record, clock),
        found=found,
        said=said,
        sure=held.sureness if held and finding else "",
        done=_done(record, clock),
        ending="Finished." if ending and isinstance(record.plan, FreePlan) else _ending(ending),
        verified=ending is not None and ending.status == "verified",
        missing=", ".join(ending.missing).replace("_", " ") if ending else "",
        decisive=tuple(row(record.plan, reading, clock) for reading in decisive(record)),
        seal=clock.within(seal or "Not sealed."),
    )


def _logged(record: JobRecord) -> str:
    """How much was logged in a job without a plan."""
    standing = record.readings.standing
    wires = {reading.pins for reading in standing}
    conditions = {reading.entry.condition for reading in standing}
    return (
        f"A job without a plan: {_some(len(standing), 'reading')} on {_some(len(wires), 'wire')} "
        f"under {_some(len(conditions), 'condition')}, as they were told. None is judged."
    )


def _some(count: int, what: str) -> str:
    return f"{count} {what}" if count == 1 else f"{count} {what}s"


def _facts(record: JobRecord, clock: Clock) -> tuple[tuple[str, str], ...]:
    told, opened = record.subject, record.opened
    facts = [(heading, told.get(name, "")) for name, heading in FACTS.items()]
    later = [e.event.technician for e in record.events if isinstance(e.event, JobTakenUp)]
    facts.append(("Taken up by", ", ".join(name for name in dict.fromkeys(later) if name)))
    facts.append(("Begun", clock.day(record.began)))
    if record.ending is not None:
        facts.append(("Finished", clock.day(_ended(record))))
    facts.append(("Meter", _meter(record)))
    facts.append(("Reviewed by", "; ".join(_review(one, clock) for one in record.reviews)))
    facts.append(("Follows the job", (opened.follows if opened else None) or ""))
    return tuple((name, text) for name, text in facts if text)


def _review(told: tuple[str, JobReviewed], clock: Clock) -> str:
    time, review = told
    return f"{review.by}, {clock.day(time)}" + (f": {review.remark}" if review.remark else "")


def _ended(record: JobRecord) -> str:
    return next(e.time for e in reversed(record.events) if isinstance(e.event, JobFinished))


def _meter(record: JobRecord) -> str:
    told = record.subject
    serial, calibrated = told.get("meter_serial"), told.get("calibrated")
    return ", ".join(
        (
            record.plan.meter.name,
            f"serial number {serial}" if serial else "serial number not given",
            f"calibrated {calibrated}" if calibrated else "calibration date not given",
        )
    )


def _done(record: JobRecord, clock: Clock) -> str:
    """Whether and when the repair was said to be done, and what it is by the plan."""
    held = basis(record)
    repair = held.verdict.finding.repair if held and held.verdict.finding else ""
    begun = (
        e.time
        for e in record.events
        if isinstance(e.event, StepOpened) and e.event.phase == "after_repair"
    )
    time = next(begun, None)
    if time is None:
        return f"No repair was reported. To do: {repair}" if repair else "No repair was reported."
    what = f" By the plan: {repair}" if repair else ""
    return f"The repair was said to be done at {clock.hour(time)}.{what}"


def _ending(ending: JobFinished | None) -> str:
    if ending is None:
        return "The job is not finished."
    return "Verified after the repair." if ending.status == "verified" else "Not verified."
