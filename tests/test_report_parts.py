"""What the report tells on its first page, in its tables and in its drawings."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import timedelta, timezone
from pathlib import Path
from xml.etree import ElementTree

import pytest

from handsfree.events import (
    JobReviewed,
    Logged,
    Noted,
    NoteWorded,
    ReadingCorrected,
    ReadingTaken,
    SweepImported,
)
from handsfree.log import JobRecord, Verification
from handsfree.plan import load_plan, shipped
from handsfree.report import render
from handsfree.report.circuit import circuit
from handsfree.report.connector import connector
from handsfree.report.evidence import decisive, on_the_scale
from handsfree.report.first import first_page
from handsfree.report.layout import layout
from handsfree.report.plots import plots
from handsfree.report.readings import tables
from handsfree.report.reasoning import reasoning
from handsfree.report.sounds import PageSounds
from handsfree.report.times import Clock
from handsfree.report.transcript import notes, transcript

GOLDEN = Path(__file__).parent / "data" / "golden"
HERE = Clock(timezone(timedelta(hours=5, minutes=30)))
SILENT = PageSounds(lambda _: None)


@pytest.fixture(scope="module")
def record() -> JobRecord:
    return JobRecord.read(GOLDEN / "low-beam")


def words(drawing: object) -> str:
    return " ".join(ElementTree.fromstring(str(drawing)).itertext())


def test_the_first_page_says_what_was_found_how_sure_and_whether_it_is_verified(
    record: JobRecord,
) -> None:
    page = first_page(record, HERE, None)
    assert page.found == "levelling drive"
    assert "37:1" in page.sure
    assert page.verified
    assert page.ending == "Verified after the repair."
    assert "Replace the drive" in page.done
    assert page.seal == "Not sealed."
    assert first_page(record, HERE, "Sealed by the shop.").seal == "Sealed by the shop."


def test_three_readings_decided_it_and_the_open_winding_comes_first(record: JobRecord) -> None:
    first, *others = decisive(record)
    assert first.entry.step == "pin_2_to_4"
    assert len(others) == 2
    assert all(not reading.entry.verdict.passed for reading in others)


def test_times_are_local_with_their_zone(record: JobRecord) -> None:
    """ISO 8601: 22:25 in UTC is 3:55 of the next day at UTC+05:30."""
    assert HERE.day("2026-11-28T22:25:03.000000Z") == "29 November 2026, 03:55 UTC+05:30"
    assert HERE.hour("2026-11-28T22:25:03.000000Z") == "03:55:03"
    assert HERE.day("yesterday") == "yesterday"
    assert "UTC+05:30" in dict(first_page(record, HERE, None).facts)["Begun"]


def test_readings_before_and_after_the_repair_stand_apart(record: JobRecord) -> None:
    before, after = tables(record, HERE, SILENT)
    assert (before.heading, after.heading) == ("Before the repair", "After the repair")
    numbers = [row.number for group in after.groups for row in group.rows]
    assert sorted(numbers) == list(range(19, 26))
    assert [group.wire for group in before.groups][-1] == "", "what is no wire comes last"
    voids = {row.void for group in before.groups for row in group.rows}
    assert voids == {"", "superseded", "struck"}


def test_a_reading_has_its_pin_time_unit_and_the_error_of_the_meter(record: JobRecord) -> None:
    """0.5 % of 4.97 V and 2 counts of 0.01 V are 0.045 V."""
    rows = {r.number: r for t in tables(record, HERE, SILENT) for g in t.groups for r in g.rows}
    reference = rows[3]
    assert (reference.pin, reference.value, reference.expected) == ("3", "4.97 V", "4.9 V to 5.1 V")
    assert reference.uncertainty == "± 0.045 V"
    assert re.fullmatch(r"\d\d:\d\d:\d\d", reference.time)
    assert rows[14].uncertainty == "", "over limit has none"


def test_the_connector_tells_each_pin_by_sign_and_word(record: JobRecord) -> None:
    told = words(connector(record))
    for pin in record.plan.connector.pins:
        assert f"pin {pin.number} {pin.wire}, {pin.function}" in told
    assert "✗ high: #14 over limit" in told
    assert "✓ as expected" in told


def test_the_circuit_holds_the_readings_and_the_fault(record: JobRecord) -> None:
    told = words(circuit(record))
    assert "✗ fault: motor" in told
    assert "✗ #14 pin 2 to 4 over limit" in told
    assert "✓ #1 12.6 V" in told
    assert "#19" not in told, "the circuit shows what was before the repair"


@pytest.mark.parametrize("name", shipped())
def test_every_shipped_plan_is_drawn_with_all_its_parts_and_wires(name: str) -> None:
    plan = load_plan(name).plan
    empty = JobRecord(Path("x"), "", plan, ())
    assert words(connector(empty)).count("– not tested") == 2 * len(plan.connector.pins)
    if plan.circuit is None:
        assert circuit(empty) is None
        return
    placed = layout(plan.circuit)
    drawn = {part for box in placed.boxes for part in box.parts}
    drawn |= {length.part for line in placed.lines for length in line.lengths}
    kinds = {n: p.kind for n, p in plan.circuit.parts.items() if list(p.nodes(n))}
    assert {n for n, kind in kinds.items() if kind != "connector"} == drawn
    taken = [(b.column, line) for b in placed.boxes for line in range(*_rows(b.lines))]
    assert len(taken) == len(set(taken)), "no box stands on another"
    ElementTree.fromstring(str(circuit(empty)))


def _rows(lines: tuple[int, ...]) -> tuple[int, int]:
    return (min(lines), max(lines) + 1) if lines else (0, 0)


def test_a_sweep_is_plotted_with_its_band_and_what_is_wrong_is_marked() -> None:
    swept = JobRecord.read(GOLDEN / "swept")
    imported = [p for p in plots(swept) if "sweep.csv" in p.sweep.heading]
    assert len(imported) == 1
    assert imported[0].sweep.flaws == ("dead segment at 50 % 1.5 V",)
    drawing = ElementTree.fromstring(str(imported[0].drawing))
    kinds = [element.tag.rpartition("}")[2] for element in drawing.iter()]
    assert kinds.count("polygon") == 1
    assert kinds.count("circle") == 4
    assert "✗" in words(imported[0].drawing)


def test_sweeps_before_and_after_the_repair_are_told_apart() -> None:
    swept = JobRecord.read(GOLDEN / "swept")
    first = next(e for e in swept.events if isinstance(e.event, SweepImported))
    events = (swept.events[0], first, *swept.events[1:])
    both = JobRecord(swept.folder, swept.plan_text, swept.plan, events)
    headings = [p.sweep.heading for p in plots(both) if "sweep.csv" in p.sweep.heading]
    assert [heading.split(",")[0] for heading in headings] == [
        "Before the repair",
        "After the repair",
    ]


def test_the_causes_stand_on_one_scale_with_readings_for_and_against(record: JobRecord) -> None:
    found = reasoning(record)
    assert found is not None
    assert found.causes[0].name == "motor winding open"
    assert found.causes[0].speaks[0].startswith("#14 orange to green over limit")
    assert [on_the_scale(odds) for odds in (1e9, 100, 10, 1, 0.1, 1e-9)] == pytest.approx(
        [1, 1, 0.75, 0.5, 0.25, 0]
    )


def test_a_rule_of_the_plan_gives_its_outcomes() -> None:
    found = reasoning(JobRecord.read(GOLDEN / "demo-open-winding"))
    assert found is not None
    assert found.causes == ()
    assert ("orange to green", "high") in found.rule or len(found.rule) > 1


def test_the_transcript_is_whole_and_opens_what_bears_on_the_finding(record: JobRecord) -> None:
    stretches = transcript(record, HERE, SILENT)
    lines = [line for stretch in stretches for line in stretch.lines]
    said = [e for e in record.events if e.kind in ("heard", "said", "asked")]
    assert len(lines) == len(said)
    bears = [line.text for line in lines if line.bears]
    assert "over limit" in bears
    assert any("Verdict: levelling drive" in text for text in bears)
    assert 0 < len(bears) < len(lines) / 2


def test_colour_is_not_all_that_tells_a_verdict(record: JobRecord) -> None:
    check = Verification("finished", 3, "0123", (), ())
    page = render(record, check, lambda _: None)
    cells = re.findall(r'<td class="(?:pass|fail|marginal)">\s*(\S)', page)
    assert len(cells) == 25 + 3
    assert set(cells) == {"✓", "✗"}


def test_what_was_put_right_typed_and_reviewed_is_told_with_its_name(record: JobRecord) -> None:
    taken = next(e.event for e in record.events if isinstance(e.event, ReadingTaken))
    note = next(e for e in record.events if isinstance(e.event, Noted))
    old = taken.entry.number
    new = max(one.entry.number for one in record.readings.history) + 1
    entry = replace(taken.entry, number=new, supersedes=old)
    told = (
        ReadingCorrected(replace(taken, entry=entry), "Ada", "listened again"),
        NoteWorded(note.seq, "the seal is cracked at the drain", "Ada", "listened"),
        JobReviewed("Ada", "fine"),
    )
    last = record.events[-1]
    more = (Logged(e, "more", {}, last.seq + n, last.time) for n, e in enumerate(told, 1))
    seen = replace(record, events=(*record.events, *more))
    rows = [r for t in tables(seen, HERE, SILENT) for group in t.groups for r in group.rows]
    assert next(r.hand for r in rows if r.number == new) == "put right by Ada: listened again"
    assert next(r.void for r in rows if r.number == old) == "superseded"
    at = [line.text for line in notes(seen, HERE, SILENT)].index(note.event.text)
    typed = notes(seen, HERE, SILENT)[at + 1]
    assert (typed.who, typed.text.startswith("the seal is cracked")) == ("typed by Ada", True)
    facts = dict(first_page(seen, HERE, None).facts)
    assert facts["Reviewed by"].startswith("Ada, ")
    assert facts["Reviewed by"].endswith(": fine")


def test_the_time_of_a_seal_is_local_with_its_zone(record: JobRecord) -> None:
    told = "Sealed by “Harbour” on 2026-03-02T09:15:07Z, seal 1."
    shown = first_page(record, HERE, told).seal
    assert shown == "Sealed by “Harbour” on 2 March 2026, 14:45 UTC+05:30, seal 1."
