"""What does not fit together between the steps and findings of a plan.

Parts that are not valid in themselves are passed over; they are reported as such.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from typing import TypeVar

from pydantic import BaseModel, ValidationError

from handsfree.plan.circuits import circuit_problems
from handsfree.plan.measure import OHMMETER_KINDS
from handsfree.plan.references import Item, Problem, items, reference_problems, value
from handsfree.plan.schema import NO_OHMMETER, Finding, Step, Sweep

Read = TypeVar("Read", bound=BaseModel)

#: States that are found with an ohmmeter or a beeper, or may be.
_OHMMETER_STATES = {"continuity", "open", "short to ground", "short to supply"}
_OHMMETER_WORDS = re.compile(r"\b(resistance|ohms?|ohmmeter|continuity)\b", re.IGNORECASE)
_CLASS_NAMES = {"airbag": "an airbag", "high_voltage": "a high-voltage"}


def problems(data: Item) -> Iterator[Problem]:
    """Everything that contradicts between the parts: path of the field, message.

    Args:
        data: a plan as plain data.
    """
    yield from reference_problems(data)
    yield from _danger(data)
    raw_steps = items(data, "steps")
    steps = _readable(Step, raw_steps)
    known = {step.id: step for step in reversed(steps.values())}
    for index, step in steps.items():
        yield from _crossings(index, step, known)
        yield from _other_kind(index, step, known)
    if len(steps) == len(raw_steps):
        yield from _order(list(steps.values()))
    yield from _findings(_readable(Finding, items(data, "findings")), known)
    yield from _sweep(value(data, "sweep"), known)
    yield from circuit_problems(data, known)


def _readable(model: type[Read], listed: Iterable[Item]) -> dict[int, Read]:
    """The items that are valid in themselves, by their places."""
    found = {}
    for index, item in enumerate(listed):
        with suppress(ValidationError):
            found[index] = model.model_validate(item)
    return found


def _danger(data: Item) -> Iterator[Problem]:
    """Tests that are never prompted on this class of circuit."""
    circuit_class = str(data.get("circuit_class"))
    if circuit_class not in _CLASS_NAMES:
        return
    reason = (
        f"refused: no resistance or continuity test on {_CLASS_NAMES[circuit_class]} circuit "
        f"({NO_OHMMETER[circuit_class]}); follow the maker's procedure"
    )
    for index, step in enumerate(items(data, "steps")):
        states = value(step, "measure", "states")
        states = states if isinstance(states, list | tuple) else ()
        by_state = _OHMMETER_STATES.intersection(map(str, states))
        if value(step, "measure", "quantity") in OHMMETER_KINDS or by_state:
            yield ("steps", index, "measure"), reason
        elif _OHMMETER_WORDS.search(str(step.get("prompt"))):
            yield ("steps", index, "prompt"), reason
    tests = value(data, "circuit", "tests")
    for test_id in tests if isinstance(tests, Mapping) else ():
        if value(tests, test_id, "measures") == "resistance":
            yield ("circuit", "tests", test_id, "measures"), reason


def _crossings(index: int, step: Step, known: Mapping[str, Step]) -> Iterator[Problem]:
    for field in ("on_pass", "on_fail", "on_skip"):
        other = known.get(getattr(step, field))
        if other and other.phase != step.phase:
            yield ("steps", index, field), f"step {other.id!r} belongs to the other phase"


def _other_kind(index: int, step: Step, known: Mapping[str, Step]) -> Iterator[Problem]:
    """A comparison with a step that measures something else."""
    measured = known.get(step.expect.by or "")
    if measured and measured.measure.quantity != "temperature":
        yield ("steps", index, "expect", "by"), f"step {measured.id!r} measures no temperature"
    other = known.get(step.expect.refers_to or "")
    if other and other.measure.quantity != step.measure.quantity:
        field = "near" if step.expect.near else "share_of"
        message = f"step {other.id!r} does not measure {step.measure.quantity}"
        yield ("steps", index, "expect", field), message


def _order(steps: Sequence[Step]) -> Iterator[Problem]:
    """Tests that come too late, and steps to which nothing leads."""
    phases = [step.phase for step in steps]
    starts = [phases.index(phase) for phase in dict.fromkeys(phases)]
    starts += [index for index, step in enumerate(steps) if step.in_doubt]
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
        elif step.in_doubt and step.phase == "after_repair":
            yield ("steps", index, "in_doubt"), "after the repair nothing is in doubt"
        elif index not in reached:
            yield ("steps", index, "id"), f"nothing leads to the step {step.id!r}"


def _sweep(data: object, known: Mapping[str, Step]) -> Iterator[Problem]:
    """Points of a sweep that are no readings after the repair, or ends without two limits."""
    for sweep in _readable(Sweep, [data] if isinstance(data, Mapping) else []).values():
        for step_id in sweep.command:
            path, step = ("sweep", "command", step_id), known.get(step_id)
            if step is None:
                yield path, f"there is no step {step_id!r}"
            elif step.phase != "after_repair" or not step.measure.quantity:
                yield path, f"{step_id!r} is no reading after the repair"
        for end in (min, max):
            step_id = end(sweep.command, key=lambda s: sweep.command[s])
            step = known.get(step_id)
            if step and (step.expect.low is None or step.expect.high is None):
                yield ("sweep", "command", step_id), "the end of a sweep needs low and high"


def _findings(findings: Mapping[int, Finding], known: Mapping[str, Step]) -> Iterator[Problem]:
    for index, finding in findings.items():
        for step_id in finding.when:
            path = ("findings", index, "when", step_id)
            step = known.get(step_id)
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
