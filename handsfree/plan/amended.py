"""A plan with what was told of it while a job is dictated.

In a free job a piece of a sheet is added; of a kind of circuit it is told what differs in the
vehicle, as a file of ten lines would.  Both come as plain data, as they stand in the log.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from handsfree.plan.adapted import NotAdapted, Vehicle, adapted
from handsfree.plan.derived.wiring import Data
from handsfree.plan.document import write_document
from handsfree.plan.parse import BadPlan, parse_plan
from handsfree.plan.schema import Plan
from handsfree.plan.sheet import FreePlan, grown

#: What is told of a plan: a piece of its document.
Amendment = Mapping[str, Any]
#: So often a plan that describes its circuit is made anew in one job, at most: each time takes
#: half a second, and a log may come from anybody.
MOST_AMENDED = 40


def amended(plan: Plan, change: Amendment) -> Plan:
    """The plan with a change.

    Raises:
        ValueError: it is no change of such a plan; says why.
    """
    if isinstance(plan, FreePlan):
        return grown(plan, change)
    try:
        return parse_plan(amended_text(plan, change))
    except BadPlan as error:
        raise ValueError("; ".join(fault.message for fault in error.faults)) from error


def amended_text(plan: Plan, change: Amendment) -> str:
    """The document of a plan that describes its circuit, with what differs in a vehicle.

    Raises:
        ValueError: it is no change of such a plan; says why.
    """
    if plan.described is None:
        raise ValueError("this plan is written out step by step; its file tells its wires")
    described = dict(plan.described)
    subject = plan.subject.model_dump(include={*Vehicle.model_fields}, exclude_defaults=True)
    told = {"like": "the plan of the job", **subject, **change}
    try:
        new = adapted(described, Vehicle.model_validate(told))
    except NotAdapted as error:
        raise ValueError(str(error)) from error
    return write_document(new | {"loom": _called_as_before(described["loom"], new["loom"])})


def _called_as_before(before: list[Data], now: list[Data]) -> list[Data]:
    """The wires; one that has another name since is still understood by the one it had."""
    return [
        one | {"names": [*_others(one), old["name"]]} if old["name"] not in _all_names(one) else one
        for old, one in zip(before, now, strict=True)
    ]


def _others(strand: Data) -> list[str]:
    return [name for name in strand.get("names", ()) if name != strand["name"]]


def _all_names(strand: Data) -> list[str]:
    return [strand["name"], *strand.get("names", ())]


def changed(change: Amendment) -> str:
    """What was told of a plan, in a line for people; empty where it is told by what follows."""
    told = [f"{name} {change[name]}" for name in ("reference", "supply") if name in change]
    wires = change.get("wires") or ()
    if isinstance(wires, Mapping):
        told += [f"{name}: {how}" for name, how in wires.items()]
    else:
        told += [f"wire {one['colour']}, pin {one['pin']}" for one in wires]
    told += [f"condition {one['say']}" for one in change.get("conditions") or ()]
    if change.get("without") and not wires:
        told += [f"pin {one} is taken back" for one in change["without"]]
    return ", ".join(told)
