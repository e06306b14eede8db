"""Names within a plan: each stands for one thing, and what they name is there.

Works on plain data, so that a plan with faulty fields is checked as far as it can be
read, and everything that is wrong is said at once.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from handsfree.fields import FieldPath, show_path

Problem = tuple[FieldPath, str]
Item = Mapping[str, Any]


def items(holder: Any, *keys: str) -> list[Item]:
    """The items of a list within plain data; an empty one for what is no item."""
    found = value(holder, *keys)
    if not isinstance(found, list | tuple):
        return []
    return [item if isinstance(item, Mapping) else {} for item in found]


def value(holder: Any, *keys: str) -> Any:
    """A value within plain data, or None."""
    for key in keys:
        holder = holder.get(key) if isinstance(holder, Mapping) else None
    return holder


def reference_problems(data: Item) -> Iterator[Problem]:
    """Names used twice, and names of what is not there."""
    pins, conditions = items(data, "connector", "pins"), items(data, "conditions")
    steps, findings = items(data, "steps"), items(data, "findings")
    ids = [step.get("id") for step in steps]

    yield from _twice(_pins(pins), "pin ")
    yield from _twice(_each(("conditions",), conditions, "id"))
    yield from _twice(_each(("steps",), steps, "id"))
    yield from _twice(_spoken(("connector", "pins"), pins, "function"))
    yield from _twice(_spoken(("conditions",), conditions, "say"))
    for index, step in enumerate(steps):
        here = ("steps", index)
        options = items(step, "measure", "options")
        yield from _twice(_spoken((*here, "measure", "options"), options, "value"))
        yield from _missing((*here, "condition"), step, [c.get("id") for c in conditions])
        yield from _missing_pins(here, step, [p.get("number") for p in pins])
        for field in ("on_pass", "on_fail", "on_skip"):
            yield from _missing((*here, field), step, ["next", "finish", *ids], "step")
        for field in ("near", "share_of", "by"):
            other = value(step, "expect", field)
            if isinstance(other, str) and other not in ids[:index]:
                yield (*here, "expect", field), f"{other!r} is no earlier step"
    for index, finding in enumerate(findings):
        when = finding.get("when")
        for step_id in when if isinstance(when, Mapping) else ():
            if step_id not in ids:
                yield ("findings", index, "when", step_id), f"there is no step {step_id!r}"


def _each(here: FieldPath, listed: list[Item], field: str) -> Iterator[tuple[FieldPath, Any]]:
    for index, item in enumerate(listed):
        yield (*here, index, field), item.get(field)


def _spoken(here: FieldPath, listed: list[Item], field: str) -> Iterator[tuple[FieldPath, Any]]:
    """The name of each item and its other names."""
    for index, item in enumerate(listed):
        yield (*here, index, field), item.get(field)
        names = item.get("names")
        for place, name in enumerate(names if isinstance(names, list | tuple) else ()):
            yield (*here, index, "names", place), name


def _twice(named: Iterable[tuple[FieldPath, Any]], kind: str = "") -> Iterator[Problem]:
    first: dict[str | int, FieldPath] = {}
    for path, name in named:
        if not isinstance(name, str | int):
            continue
        if name in first:
            shown = f"{kind}{name}" if kind else repr(name)
            yield path, f"{shown} is used twice, first in {show_path(first[name])}"
        first.setdefault(name, path)


def _missing(path: FieldPath, item: Item, known: list[Any], kind: str = "") -> Iterator[Problem]:
    name = item.get(str(path[-1]))
    if isinstance(name, str) and name not in known:
        yield path, f"there is no {kind or path[-1]} {name!r}"


def _pins(pins: list[Item]) -> Iterator[tuple[FieldPath, Any]]:
    """Labels of pins as they are said: "a2" and "A2" are one."""
    for path, label in _each(("connector", "pins"), pins, "number"):
        yield path, str(label).upper() if isinstance(label, str | int) else label


def _missing_pins(here: FieldPath, step: Item, known: list[Any]) -> Iterator[Problem]:
    labels, pair = set(map(str, known)), step.get("wires")
    probed = [("wire", step.get("wire"))]
    probed += [("wires", pin) for pin in (pair if isinstance(pair, list | tuple) else ())]
    for field, pin in probed:
        if isinstance(pin, str | int) and str(pin) not in labels:
            yield (*here, field), f"the connector has no pin {pin}"
