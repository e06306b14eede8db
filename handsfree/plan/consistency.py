"""What does not fit together between the parts of a plan.

Works on plain data, so that a plan with faulty fields is checked as far as it can be
read, and everything that is wrong is said at once.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from handsfree.plan.fields import Path
from handsfree.plan.schema import NO_OHMMETER, Condition, Finding, Pin, Step

Problem = tuple[Path, str]
Read = TypeVar("Read", bound=BaseModel)

_OHMMETER_STATES = {"continuity", "open", "short to ground", "short to supply"}
_OHMMETER_WORDS = re.compile(r"\b(resistance|ohms?|continuity)\b", re.IGNORECASE)
_CLASS_NAMES = {"airbag": "an airbag", "high_voltage": "a high-voltage"}


def problems(data: Mapping[str, Any]) -> Iterator[Problem]:
    """Everything that contradicts between the parts: path of the field, message.

    Args:
        data: a plan as plain data; parts that are not valid in themselves are passed over.
    """
    connector = data.get("connector")
    pins = _readable(Pin, connector.get("pins") if isinstance(connector, Mapping) else None)
    conditions = _readable(Condition, data.get("conditions"))
    steps = _readable(Step, data.get("steps"))
    findings = _readable(Finding, data.get("findings"))
    ids = _field(data.get("steps"), "id")

    yield from _same_twice(pins, conditions, steps)
    known_pins = _field(connector.get("pins") if isinstance(connector, Mapping) else None, "number")
    known_conditions = _field(data.get("conditions"), "id")
    for index, step in steps.items():
        here = ("steps", index)
        if step.condition not in known_conditions:
            yield (*here, "condition"), f"there is no condition {step.condition!r}"
        for number in step.pins:
            if number not in known_pins:
                field = "wire" if step.wire is not None else "wires"
                yield (*here, field), f"the connector has no pin {number}"
        yield from _jumps(index, step, ids, steps)
        yield from _reference(index, step, ids, steps)
        yield from _danger(index, step, str(data.get("circuit_class")))
    if len(steps) == len(ids):
        yield from _order(list(steps.values()))
    yield from _findings(findings, ids, steps)


def _items(items: Any) -> Sequence[Any]:
    return items if isinstance(items, list | tuple) else ()


def _readable(model: type[Read], items: Any) -> dict[int, Read]:
    """The items that are valid in themselves, by their places."""
    found = {}
    for index, item in enumerate(_items(items)):
        with suppress(ValidationError):
            found[index] = model.model_validate(item)
    return found


def _field(items: Any, key: str) -> list[Any]:
    """That field of every item, also of the invalid ones."""
    return [item.get(key) if isinstance(item, Mapping) else None for item in _items(items)]


def _same_twice(
    pins: Mapping[int, Pin], conditions: Mapping[int, Condition], steps: Mapping[int, Step]
) -> Iterator[Problem]:
    """Names and numbers that stand for two things."""
    yield from _same(
        (("connector", "pins", i, "number"), f"pin {p.number}") for i, p in pins.items()
    )
    yield from _same((("conditions", i, "id"), repr(c.id)) for i, c in conditions.items())
    yield from _same((("steps", i, "id"), repr(s.id)) for i, s in steps.items())
    yield from _same(
        spoken
        for i, p in pins.items()
        for spoken in _spoken(("connector", "pins", i), "function", p.function, p.names)
    )
    yield from _same(
        spoken
        for i, c in conditions.items()
        for spoken in _spoken(("conditions", i), "say", c.say, c.names)
    )
    for index, step in steps.items():
        options = ("steps", index, "measure", "options")
        yield from _same(
            spoken
            for i, o in enumerate(step.measure.options or ())
            for spoken in _spoken((*options, i), "value", o.value, o.names)
        )


def _spoken(here: Path, field: str, name: str, others: Sequence[str]) -> Iterator[tuple[Path, str]]:
    yield (*here, field), repr(name)
    for index, other in enumerate(others):
        yield (*here, "names", index), repr(other)


def _same(named: Iterable[tuple[Path, str]]) -> Iterator[Problem]:
    first: dict[str, Path] = {}
    for path, name in named:
        if name in first:
            yield path, f"{name} is used twice, first in {show_path(first[name])}"
        first.setdefault(name, path)


def _jumps(
    index: int, step: Step, ids: Sequence[Any], steps: Mapping[int, Step]
) -> Iterator[Problem]:
    for field in ("on_pass", "on_fail", "on_skip"):
        target = getattr(step, field)
        if target in ("next", "finish"):
            continue
        if target not in ids:
            yield ("steps", index, field), f"there is no step {target!r}"
            continue
        other = steps.get(ids.index(target))
        if other and other.phase != step.phase:
            yield ("steps", index, field), f"step {target!r} belongs to the other phase"


def _reference(
    index: int, step: Step, ids: Sequence[Any], steps: Mapping[int, Step]
) -> Iterator[Problem]:
    refers = step.expect.refers_to
    if refers is None:
        return
    path = ("steps", index, "expect", "near" if step.expect.near else "share_of")
    if refers not in ids[:index]:
        yield path, f"{refers!r} is no earlier step"
        return
    other = steps.get(ids.index(refers))
    if other and other.measure.quantity != step.measure.quantity:
        yield path, f"step {refers!r} does not measure {step.measure.quantity}"


def _danger(index: int, step: Step, circuit_class: str) -> Iterator[Problem]:
    """A test that is never prompted on this class of circuit."""
    if circuit_class not in NO_OHMMETER:
        return
    reason = (
        f"refused: no resistance or continuity test on {_CLASS_NAMES[circuit_class]} circuit "
        f"({NO_OHMMETER[circuit_class]}); follow the maker's procedure"
    )
    if step.needs_ohmmeter or _OHMMETER_STATES & set(step.measure.states or ()):
        yield ("steps", index, "measure"), reason
    elif _OHMMETER_WORDS.search(step.prompt):
        yield ("steps", index, "prompt"), reason


def _order(steps: Sequence[Step]) -> Iterator[Problem]:
    """Tests that come too late, and steps to which nothing leads."""
    phases = [step.phase for step in steps]
    starts = [phases.index(phase) for phase in dict.fromkeys(phases)]
    places = {step.id: index for index, step in enumerate(steps)}
    reached: set[int] = set()
    while starts:
        index = starts.pop()
        if index in reached or index >= len(steps):
            continue
        reached.add(index)
        step = steps[index]
        for target in (step.on_pass, step.on_fail, step.on_skip):
            if target != "finish":
                starts.append(places.get(target, index + 1))
    for index, step in enumerate(steps):
        if step.phase == "test" and "after_repair" in phases[:index]:
            yield ("steps", index, "phase"), "tests come before the steps after the repair"
        elif index not in reached:
            yield ("steps", index, "id"), f"nothing leads to the step {step.id!r}"


def _findings(
    findings: Mapping[int, Finding], ids: Sequence[Any], steps: Mapping[int, Step]
) -> Iterator[Problem]:
    for index, finding in findings.items():
        for step_id in finding.when:
            path = ("findings", index, "when", step_id)
            if step_id not in ids:
                yield path, f"there is no step {step_id!r}"
                continue
            step = steps.get(ids.index(step_id))
            if step and step.phase == "after_repair":
                yield path, "a finding rests on tests, not on steps after the repair"
            elif step and not step.measure.quantity:
                for outcome in sorted({"low", "high"} & set(finding.outcomes(step_id))):
                    yield path, f"{step_id!r} measures no quantity and cannot come out {outcome}"
        for before, earlier in findings.items():
            if before < index and _covers(earlier, finding):
                message = f"never reached: findings[{before}] ({earlier.part}) comes first"
                yield ("findings", index), message
                break


def _covers(earlier: Finding, later: Finding) -> bool:
    """Whether `earlier` holds whenever `later` does."""
    return all(
        step_id in later.when
        and _spread(later.outcomes(step_id)) <= _spread(earlier.outcomes(step_id))
        for step_id in earlier.when
    )


def _spread(outcomes: Iterable[str]) -> set[str]:
    """The outcomes, with "fail" standing for low and high too."""
    found = set(outcomes)
    return found | {"low", "high"} if "fail" in found else found


def show_path(path: Path) -> str:
    """A path as it is written: "steps[3].expect.low"."""
    text = ""
    for part in path:
        text += f"[{part}]" if isinstance(part, int) else f".{part}" if text else str(part)
    return text
