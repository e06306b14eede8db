"""A job as a plan: its wires, its conditions, and ranges around what was read.

Of a planned job in which the vehicle was told otherwise, the plan as it was told.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from handsfree.errors import BadInput
from handsfree.events import PlanAmended
from handsfree.fields import written_pin
from handsfree.log import JobRecord, LoggedReading
from handsfree.meaning import Reading, State, Take
from handsfree.meaning.plain import unit_symbol
from handsfree.plan import FreePlan
from handsfree.plan.document import write_document
from handsfree.units import KINDS, Kind, quantity, show

#: What another sound vehicle may read beside what was read here: a share of it, and at least so
#: much in the unit of the kind.  Common practice, no published source; whoever knows better
#: writes it into the plan.
BESIDE: dict[Kind, tuple[float, float]] = {
    "voltage": (0.05, 0.1),
    "resistance": (0.10, 0.5),
    "current": (0.10, 0.05),
    "frequency": (0.05, 1.0),
    "temperature": (0.0, 5.0),
    "duty cycle": (0.05, 2.0),
    "share": (0.05, 2.0),
    "time": (0.10, 0.1),
    "capacitance": (0.10, 1e-9),
}
#: Kinds of which nothing can be less than nothing.
_NEVER_BELOW_ZERO = ("resistance", "frequency", "duty cycle", "share", "time", "capacitance")


def sheet_of(record: JobRecord) -> str:
    """The plan as the text of its file.

    Raises:
        BadInput: the job was dictated along a plan, or no reading of it counts.
    """
    plan, name = record.plan, record.folder.resolve().name
    if plan.described is not None and _amended(record):
        return f"# As told in {name}.\n{write_document(dict(plan.described))}"
    if not isinstance(plan, FreePlan):
        raise BadInput(
            "this job was dictated along a plan as it stands",
            where=str(record.folder),
            remedy=f"Its plan is there: {record.folder / 'plan.yaml'}",
        )
    standing = [r for r in record.readings.standing if len(r.pins) == 1]
    if not standing:
        raise BadInput("no reading of this job counts", where=str(record.folder))
    tests = list(_tests(record, standing))
    pins = {pin for reading in standing for pin in reading.pins}
    said = {one["condition"] for one in tests}
    head = {
        "title": f"{plan.title}, as read in {name}",
        "source": f"readings of job {name}, {record.began[:10]}",
        "supply": show(plan.supply),
        "limits": {kind: show(limit) for kind, limit in plan.limits.items()},
    }
    body = {
        "wires": [f"{p.wire} pin {p.number}" for p in plan.connector.pins if p.number in pins],
        "conditions": [
            {"say": one.say, "names": list(one.names)} if one.names else one.say
            for one in plan.conditions
            if one.say in said
        ],
        "tests": tests,
    }
    return _heading(record) + write_document({**head, "cautions": list(plan.cautions), **body})


def _amended(record: JobRecord) -> bool:
    return any(isinstance(logged.event, PlanAmended) for logged in record.events)


def _heading(record: JobRecord) -> str:
    return (
        f"# Made of the readings of {record.folder.resolve().name}.  The ranges lie around what\n"
        "# was read there; what is right nobody has said. Put the maker's limits in their place.\n"
    )


def _tests(record: JobRecord, standing: Iterable[LoggedReading]) -> Iterable[dict[str, Any]]:
    """A test of each wire under each condition, in the order in which they were read first."""
    measured = {entry.number for entry in record.session.measured}
    again: dict[str, list[LoggedReading]] = {}
    for reading in record.readings.history:
        if reading.entry.number in measured:
            again.setdefault(reading.entry.step, []).append(reading)
    for step, readings in again.items():
        if not any(one.entry.step == step for one in standing):
            continue
        entry = readings[-1].entry
        said = record.plan.condition(entry.condition).say
        test: dict[str, Any] = {"pin": written_pin(readings[-1].pins[0]), "condition": said}
        kind = record.plan.step(step).measure.quantity
        if kind == "duty cycle":  # a percentage may be a share as well
            test["quantity"] = kind
        yield test | {"expect": _expected([one.entry.take for one in readings], kind)}


def _expected(takes: list[Take], kind: Kind | None) -> str:
    """The range around what was read, once or several times; or the state that was last."""
    last = takes[-1]
    if isinstance(last, State):
        return last.state
    read = [one.value for one in takes if isinstance(one, Reading) and one.value is not None]
    if kind is None or not isinstance(last, Reading) or last.value is None:
        return "over limit"
    (share, least), base, unit = BESIDE[kind], KINDS[kind], unit_symbol(last.value)
    figures = [float(value.m_as(base)) for value in read]
    low = min(one - max(share * abs(one), least) for one in figures)
    high = max(one + max(share * abs(one), least) for one in figures)
    if kind in _NEVER_BELOW_ZERO:
        low = max(low, 0.0)
    ends = (float(quantity(one, base).m_as(unit)) for one in (low, high))
    return " to ".join(f"{end:.4g} {unit}" for end in ends)
