"""The readings as tables: per wire and condition, those before and after the repair apart."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from handsfree.check import written
from handsfree.check.expected import accuracy
from handsfree.log import JobRecord
from handsfree.log.standing import LoggedReading
from handsfree.meaning import Reading
from handsfree.plan import COMMON_PRACTICE, FreePlan, Plan
from handsfree.report.sounds import PageSounds
from handsfree.report.times import Clock
from handsfree.units import show, ureg

#: What stands before a verdict, so that it is not told by its colour alone.
VERDICT_SIGNS = {True: "✓", False: "✗"}
#: Of a value that was logged, and not judged.
NOT_JUDGED = "–"


@dataclass(frozen=True, slots=True)
class Row:
    """One reading as it is printed.

    Attributes:
        number: of its entry.
        time: of day, local.
        wire, pin: what was probed; empty if it is no wire.
        asked: what was asked, where no wire was probed.
        condition: under which.
        value: in figures with its unit.
        uncertainty: of the meter at that value; empty if it is not known.
        expected, source: with what it was compared; empty if its source is common practice.
        sign, result, distance: of the verdict.
        look: pass, fail, marginal or logged.
        void: empty, superseded or struck.
        hand: who put it right afterwards and why, or which of several technicians took it.
        sound: address of its clip.
    """

    number: int
    time: str
    wire: str
    pin: str
    asked: str
    condition: str
    value: str
    uncertainty: str
    expected: str
    source: str
    sign: str
    result: str
    distance: str
    look: str
    void: str
    hand: str
    sound: str


@dataclass(frozen=True, slots=True)
class WireRows:
    """The readings of one wire, or of one pair."""

    wire: str
    pin: str
    rows: tuple[Row, ...]


@dataclass(frozen=True, slots=True)
class PhaseTable:
    """The readings of one phase."""

    heading: str
    groups: tuple[WireRows, ...]


def sources(record: JobRecord) -> tuple[str, ...]:
    """Where the limits of the readings come from, each once; common practice is left out."""
    steps = (record.plan.step(reading.entry.step) for reading in record.readings.history)
    return tuple(dict.fromkeys(s.source for s in steps if s.source != COMMON_PRACTICE))


def tables(record: JobRecord, clock: Clock, sounds: PageSounds) -> tuple[PhaseTable, ...]:
    """The readings before the repair, and those after it; a phase without any is left out."""
    plan = record.plan
    first = "As they were read" if isinstance(plan, FreePlan) else "Before the repair"
    parts = (("test", first), ("after_repair", "After the repair"))
    found = []
    for phase, heading in parts:
        taken = [r for r in record.readings.history if plan.step(r.entry.step).phase == phase]
        if taken:
            found.append(PhaseTable(heading, _groups(plan, taken, clock, sounds)))
    return tuple(found)


def row(plan: Plan, reading: LoggedReading, clock: Clock, sounds: PageSounds | None = None) -> Row:
    """One reading."""
    entry, verdict = reading.entry, reading.entry.verdict
    step = plan.step(entry.step)
    apart = verdict.result if verdict.result in ("marginal", "logged") else ""
    return Row(
        entry.number,
        clock.hour(reading.time),
        reading.wire or "",
        reading.pin or "",
        "" if reading.wire else step.prompt,
        plan.condition(entry.condition).say,
        entry.figures,
        uncertainty(plan, reading),
        written(verdict.expected),
        "" if step.source == COMMON_PRACTICE else step.source,
        NOT_JUDGED if apart == "logged" else VERDICT_SIGNS[verdict.passed],
        verdict.result,
        "" if verdict.distance is None else show(verdict.distance),
        apart or ("pass" if verdict.passed else "fail"),
        "" if reading.stands else "struck" if reading.struck_by is not None else "superseded",
        _hand(reading),
        sounds(reading.clip) if sounds else "",
    )


def _hand(reading: LoggedReading) -> str:
    if reading.by:
        return f"put right by {reading.by}: {reading.reason}"
    return f"taken by {reading.taken_by}" if reading.taken_by else ""


def uncertainty(plan: Plan, reading: LoggedReading) -> str:
    """The meter's largest error at a reading, to two figures: "± 0.08 V"; empty if not known."""
    take = reading.entry.take
    if not isinstance(take, Reading) or take.value is None:
        return ""
    error = accuracy(plan, plan.step(reading.entry.step), take.value)
    if error is None:
        return ""
    unit = error.units if error.check("[temperature]") else take.value.units
    error = error.to(unit)
    return f"± {show(ureg.Quantity(float(f'{float(error.magnitude):.2g}'), error.units))}"


def _groups(
    plan: Plan, taken: Iterable[LoggedReading], clock: Clock, sounds: PageSounds
) -> tuple[WireRows, ...]:
    """In the order of the connector's pins; what is no wire comes last."""
    found: dict[tuple[str, ...], list[Row]] = {}
    for reading in taken:
        found.setdefault(reading.pins, []).append(row(plan, reading, clock, sounds))
    order = [pin.number for pin in plan.connector.pins]
    keys = sorted(found, key=lambda pins: (not pins, [_place(order, pin) for pin in pins]))
    return tuple(WireRows(found[k][0].wire, found[k][0].pin, tuple(found[k])) for k in keys)


def _place(order: list[str], pin: str) -> int:
    return order.index(pin) if pin in order else len(order)
