"""Nothing that is spoken, typed or imported becomes markup of the report, field by field."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest

from handsfree.events import (
    Event,
    JobOpened,
    JobRecovered,
    JobReviewed,
    Logged,
    Noted,
    NoteWorded,
    PhotoAttached,
    ReadingCorrected,
    ReadingTaken,
    RecordImported,
    Spoke,
    SweepImported,
    UtteranceHeard,
    VerdictReached,
)
from handsfree.log import JobRecord, Verification, verify
from handsfree.log.verify import Remark
from handsfree.report import render

GOLDEN = Path(__file__).parent / "data" / "golden"
EVIL = "\"'></title></style></svg><script>alert(1)</script><img src=x onerror=alert(1)>"
SUBJECT = (
    *("vehicle", "registration", "odometer", "order", "technician", "component", "complaint"),
    *("stored_code", "live_value", "meter_serial", "calibrated"),
)

POINTS = ((0.0, 1.0), (50.0, 2.0), (100.0, 3.0))


@pytest.fixture(scope="module")
def record() -> JobRecord:
    return JobRecord.read(GOLDEN / "low-beam")


@pytest.fixture(scope="module")
def check() -> Verification:
    return Verification("finished", 3, "0123", (), ())


def changed(record: JobRecord, kind: type[Any], change: Callable[[Any], Event]) -> JobRecord:
    """The job with every event of a kind changed, or with one more if there is none."""
    events = [
        replace(e, event=change(e.event)) if isinstance(e.event, kind) else e for e in record.events
    ]
    return JobRecord(record.folder, record.plan_text, record.plan, tuple(events))


def added(record: JobRecord, event: Event) -> JobRecord:
    last = record.events[-1]
    more = (*record.events, Logged(event, "more", {}, last.seq + 1, last.time))
    return JobRecord(record.folder, record.plan_text, record.plan, more)


def planned(record: JobRecord, **fields: object) -> JobRecord:
    plan = record.plan.model_copy(update=fields)
    return JobRecord(record.folder, record.plan_text, plan, record.events)


def all_steps(record: JobRecord, **fields: object) -> JobRecord:
    return planned(record, steps=tuple(s.model_copy(update=fields) for s in record.plan.steps))


def all_pins(record: JobRecord, **fields: object) -> JobRecord:
    pinout = record.plan.connector
    pins = tuple(pin.model_copy(update=fields) for pin in pinout.pins)
    return planned(record, connector=pinout.model_copy(update={"pins": pins}))


def all_parts(record: JobRecord) -> JobRecord:
    circuit = record.plan.circuit
    assert circuit is not None
    parts = {n: p.model_copy(update={"say": EVIL, "unit": ""}) for n, p in circuit.parts.items()}
    return planned(record, circuit=circuit.model_copy(update={"parts": parts}))


def finding(record: JobRecord, field: str) -> JobRecord:
    def change(verdict: VerdictReached) -> VerdictReached:
        assert verdict.finding is not None
        return replace(verdict, finding=verdict.finding.model_copy(update={field: EVIL}))

    return changed(record, VerdictReached, change)


def told(record: JobRecord, field: str) -> JobRecord:
    return changed(record, JobOpened, lambda e: replace(e, subject={**e.subject, field: EVIL}))


def meter(record: JobRecord) -> JobRecord:
    return planned(record, meter=record.plan.meter.model_copy(update={"name": EVIL}))


def reviewed(record: JobRecord, field: str) -> JobRecord:
    """With a value put right, a note typed and a review of somebody, one of whose texts is evil."""
    taken = next(e.event for e in record.events if isinstance(e.event, ReadingTaken))
    note = next(e.seq for e in record.events if isinstance(e.event, Noted))
    said = dict.fromkeys(("by", "reason", "text", "remark"), "words") | {field: EVIL}
    record = added(record, ReadingCorrected(taken, said["by"], said["reason"]))
    record = added(record, NoteWorded(note, said["text"], said["by"], said["reason"]))
    return added(record, JobReviewed(said["by"], said["remark"]))


def imported_record(record: JobRecord) -> JobRecord:
    outline = ((0.0, 4.9, 5.1), (1.0, 4.9, 5.1))
    file = ("records/1.csv", "0" * 64, None, None, "V", 100, 2.0, 5.0, 0.1, None, None)
    return added(record, RecordImported(EVIL, *file, (), outline))


def merged(record: JobRecord) -> JobRecord:
    events = tuple(
        replace(e, fields={**e.fields, "by": EVIL}) if isinstance(e.event, ReadingTaken) else e
        for e in record.events
    )
    return JobRecord(record.folder, record.plan_text, record.plan, events)


FIELDS: dict[str, Callable[[JobRecord], JobRecord]] = {
    **{name: lambda r, name=name: told(r, name) for name in SUBJECT},
    "plan title": lambda r: planned(r, title=EVIL),
    "plan language": lambda r: planned(r, language=EVIL),
    "meter name": meter,
    "connector": lambda r: planned(r, connector=r.plan.connector.model_copy(update={"name": EVIL})),
    "wire function": lambda r: all_pins(r, function=EVIL),
    "wire colour": lambda r: all_pins(r, colour=EVIL),
    "wire stripe": lambda r: all_pins(r, stripe=EVIL),
    "part": all_parts,
    "prompt": lambda r: all_steps(r, prompt=EVIL),
    "source": lambda r: all_steps(r, source=EVIL),
    "wire of a reading": lambda r: changed(r, ReadingTaken, lambda e: replace(e, wire=EVIL)),
    "spoken": lambda r: changed(r, UtteranceHeard, lambda e: replace(e, text=EVIL)),
    "said back": lambda r: changed(r, Spoke, lambda e: replace(e, text=EVIL)),
    "note": lambda r: changed(r, Noted, lambda e: replace(e, text=EVIL)),
    "finding": lambda r: finding(r, "part"),
    "sentence of the finding": lambda r: finding(r, "say"),
    "repair": lambda r: finding(r, "repair"),
    "file of a sweep": lambda r: added(r, SweepImported(EVIL, POINTS, "V", ())),
    "file of a photo": lambda r: added(r, PhotoAttached("photos/00999.jpg", "0", EVIL, 1, 1)),
    "recovered folder": lambda r: added(r, JobRecovered(EVIL, "0", 3, (EVIL,))),
    "who put right": lambda r: reviewed(r, "by"),
    "why": lambda r: reviewed(r, "reason"),
    "typed note": lambda r: reviewed(r, "text"),
    "remark of a review": lambda r: reviewed(r, "remark"),
    "one of several technicians": merged,
    "file of a record": imported_record,
    "job before": lambda r: changed(r, JobOpened, lambda e: replace(e, follows=EVIL)),
}


class Page(HTMLParser):
    """What a browser would make of it."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        self.text += " ".join(value or "" for _, value in attrs)

    def handle_data(self, data: str) -> None:
        self.text += data


def assert_harmless(page: str) -> Page:
    assert "<script" not in page
    seen = Page(page)
    for tag, attributes in seen.tags:
        assert tag not in ("script", "iframe", "object", "embed", "form", "link", "base"), tag
        assert not [name for name in attributes if name.startswith("on")]
        assert (attributes.get("src") or "data:").startswith("data:")
    return seen


@pytest.mark.parametrize("field", FIELDS)
def test_no_field_becomes_markup(record: JobRecord, check: Verification, field: str) -> None:
    page = render(FIELDS[field](record), check, lambda _: None, seal="not sealed")
    seen = assert_harmless(page)
    shown = " ".join(seen.text.split())
    assert "alert(1)" in shown, "it is shown, as text"


def test_no_word_about_damage_or_seal_becomes_markup(record: JobRecord) -> None:
    damage = Verification("damaged", 1, "0", (Remark(EVIL, EVIL, EVIL),), ())
    assert_harmless(render(record, damage, lambda _: None, seal=EVIL))


def test_signs_that_turn_the_text_are_shown_as_signs(record: JobRecord) -> None:
    """U+202E turns what follows: "4.98" would read "89.4" (Unicode Bidirectional Algorithm)."""
    turned = planned(told(record, "vehicle"), title="van \u202e89.4\x00")
    page = render(turned, verify(GOLDEN / "left-open"), lambda _: None)
    assert "\u202e" not in page
    assert "\x00" not in page


def test_the_policy_lets_no_script_run(record: JobRecord, check: Verification) -> None:
    """Content Security Policy Level 3, 6.1.3: what has no directive is by default-src."""
    page = render(record, check, lambda _: None)
    policy = next(a for t, a in Page(page).tags if "http-equiv" in a)["content"] or ""
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert "script-src" not in policy
    assert " style=" not in page, "only the one style sheet, by its hash"
