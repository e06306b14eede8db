"""How the circuit of a plan fits together, and how it fits the plan.

A circuit that is not valid in itself is checked without the items that are at fault; what
names one of these is then passed over.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from pydantic import ValidationError

from handsfree.circuit import Circuit, CircuitTest
from handsfree.plan.references import Item, Problem, items, value
from handsfree.plan.schema import Step


def circuit_problems(data: Item, steps: Mapping[str, Step]) -> Iterator[Problem]:
    """Everything that does not fit together: path of the field, message.

    Args:
        data: a plan as plain data.
        steps: its steps that are valid in themselves, by id.
    """
    raw = value(data, "circuit")
    if not isinstance(raw, Mapping):
        return
    circuit, unread = _readable(raw)
    if circuit is None:
        return
    conditions = {
        str(step.get("id")): condition
        for step in items(data, "steps")
        if isinstance(condition := step.get("condition"), str)
    }
    unread |= {str(step.get("id")) for step in items(data, "steps")} - set(conditions)
    names = (condition.get("id") for condition in items(data, "conditions"))
    known = {name for name in names if isinstance(name, str)}
    for path, message in (
        *circuit.problems(),
        *circuit.strangers(conditions),
        *_unknown_conditions(circuit, known),
        *_other_kinds(circuit, steps),
    ):
        if not any(repr(name) in message for name in unread):
            yield ("circuit", *path), message


def _readable(raw: Item) -> tuple[Circuit | None, set[str]]:
    """The circuit without the items that are not valid in themselves, and all their names."""
    try:
        return Circuit.model_validate(raw), set()
    except ValidationError as error:
        places = {tuple(details["loc"][:2]) for details in error.errors()}
    unread: set[str] = set()
    rest = dict(raw)
    for field, *names in places:
        section = raw.get(str(field))
        if isinstance(section, Mapping) and names:
            unread |= _texts({names[0]: section.get(names[0])})
            rest[str(field)] = {k: v for k, v in rest[str(field)].items() if k != names[0]}
        else:
            unread |= _texts(rest.pop(str(field), None))
    try:
        return Circuit.model_validate(rest), unread
    except ValidationError:
        return None, unread


def _texts(part: Any) -> set[str]:
    """Every text within plain data, names of fields included."""
    if isinstance(part, Mapping):
        return {str(key) for key in part}.union(*map(_texts, part.values()))
    if isinstance(part, list | tuple):
        return set().union(*map(_texts, part))
    return {str(part)}


def _unknown_conditions(circuit: Circuit, known: set[Any]) -> Iterator[Problem]:
    """Conditions that nobody can set, unless another follows them."""
    earlier = {*circuit.after.values(), *(test.before for test in circuit.tests.values())}
    for condition in set(circuit.conditions) - known - earlier:
        yield ("conditions", condition), f"the plan has no condition {condition!r}"


def _other_kinds(circuit: Circuit, steps: Mapping[str, Step]) -> Iterator[Problem]:
    """Tests that read something else than their step, or say what the step does not know."""
    for test_id, test in circuit.tests.items():
        if (step := steps.get(test_id)) is None:
            continue
        here = ("tests", test_id)
        measure = step.measure
        spoken: tuple[str, ...] = measure.states or tuple(
            option.value for option in measure.options or ()
        )
        if not test.outcomes:
            if test.measures and measure.quantity != test.measures:
                yield (*here, "measures"), f"the step does not measure {test.measures}"
            continue
        if not spoken:
            yield here, f"the step measures {measure.quantity}, and no word is spoken"
        for word in (*test.outcomes, *test.reads_as):
            if spoken and word not in spoken:
                yield (*here, _field(test)), f"{word!r} is not among: {', '.join(spoken)}"


def _field(test: CircuitTest) -> str:
    return "answers" if test.answers else "words"
