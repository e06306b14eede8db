"""From a description to a plan as plain data, in the form in which plans are walked through."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from handsfree.circuit import Circuit, Expectation, expectations
from handsfree.plan.derived import asking, telling, wiring, wording
from handsfree.plan.derived.asking import ON, REST, Enquiry, slug
from handsfree.plan.derived.description import Description
from handsfree.plan.derived.wiring import Data

COMPUTED = "computed from the circuit; its values: common practice, no published source"


_AFTER = "after_"


def is_description(data: object) -> bool:
    """Whether plain data is a description and not a plan with its steps written out."""
    return isinstance(data, dict) and "loom" in data


def derive(description: Description) -> Data:
    """The plan that follows from a description.

    Raises:
        BadInput: the circuit does not fit together.
    """
    asked = [q for q in asking.questions(description) if not _left_out(description, q)]
    circuit = _circuit(description, asked)
    meter = description.meter.in_circuit
    shows = telling.shown(circuit, meter)
    asked = _different([q for q in asked if shows[q.id] or q.setting == REST], circuit)
    circuit = _circuit(description, asked)
    expected = expectations(circuit, meter, samples=200)
    ordered = sorted(asked, key=lambda q: _order(description, circuit, q))
    steps = [_step(description, q, expected[q.id], shows[q.id]) for q in ordered]
    settings = asking.settings(description)
    after = list(_after(description, ordered, steps))
    used = {step["condition"] for step in (*steps, *after)}
    here = asking.probed(description)
    return {
        "title": description.title,
        "language": description.language,
        "subject": description.subject.model_dump(),
        "cautions": list(description.cautions),
        "circuit_class": description.circuit_class,
        "supply": description.supply,
        "limits": dict(description.limits),
        "meter": description.meter.model_dump(),
        "connector": {"name": description.reach[here].say, "pins": _pins(description, here)},
        "conditions": [
            {"id": slug(one.say), "say": one.say, "names": list(one.names), "caution": one.caution}
            for one in settings.values()
            if slug(one.say) in used
        ],
        "steps": [*steps, *after],
        "circuit": _circuit_data(description, [*asked, *_again(description, asked)]),
        "no_finding": "The circuit names no part. Look at the readings again.",
    }


def _circuit_data(description: Description, asked: list[Enquiry]) -> Data:
    settings = asking.settings(description)
    needed = {q.setting for q in asked}
    needed |= {one.after for s in needed if (one := settings[s]).after}
    needed |= {ask.setting for ask in description.after if ask.setting}
    named = {slug(one.say): one for one in settings.values() if one.say in {*needed, ON}}
    return {
        "ground": wiring.MINUS,
        "supply": wiring.PLUS,
        "parts": wiring.parts(description),
        "conditions": {name: dict(one.sets) for name, one in named.items()},
        "after": {name: slug(one.after) for name, one in named.items() if one.after},
        "setups": asking.setups(description),
        "tests": {q.id: {"condition": slug(q.setting), **q.test} for q in asked},
        "wrong_pins": [wrong.model_dump() for wrong in description.wrong_pins],
    }


def _circuit(description: Description, asked: list[Enquiry]) -> Circuit:
    return Circuit.model_validate(_circuit_data(description, asked))


def _different(asked: list[Enquiry], circuit: Circuit) -> list[Enquiry]:
    """Voltages under a setting only where the setting changes them."""
    found = expectations(circuit, samples=1)
    kept: list[Enquiry] = []
    usual = {q.test["red"]: found[q.id] for q in asked if q.kind == "voltage" and q.setting == ON}
    for q in asked:
        one, base = found[q.id], usual.get(q.test.get("red", ""))
        same = (
            q.kind == "voltage"
            and q.setting not in (ON, REST, asking.UNPLUGGED)
            and isinstance(one, Expectation)
            and isinstance(base, Expectation)
            and abs(one.nominal - base.nominal) <= 2 * one.error + base.error
        )
        if not same:
            kept.append(q)
    return kept


def _order(description: Description, circuit: Circuit, q: Enquiry) -> tuple[float, ...]:
    """By what must be done for it, then by rank: looks, volts, unplugged, resistances."""
    if (override := description.override.get(q.id)) and override.first:
        return (-1.0, 0.0)
    seconds = sum(circuit.setups[s].minutes.nominal for s in circuit.tests[q.id].setups)
    return (float(seconds > 0), float(q.rank), seconds)


def _left_out(description: Description, q: Enquiry) -> bool:
    override = description.override.get(q.id)
    return override is not None and override.leave_out


def _step(description: Description, q: Enquiry, expected: Any, sites: tuple[str, ...]) -> Data:
    step: Data = {
        "id": q.id,
        "prompt": wording.prompt(description, q),
        "probe": wording.probe(description, q),
        "why": wording.why(q, expected, sites),
        "condition": slug(q.setting),
        "source": COMPUTED,
        "caution": wording.caution(description, q),
    }
    if len(q.wires) == 2:
        step["wires"] = list(q.wires)
    elif q.wires:
        step["wire"] = q.wires[0]
    if isinstance(expected, Expectation):
        step["measure"] = {"quantity": q.test["measures"]}
        step["expect"] = telling.limits(expected, q.test["measures"])
    else:
        step["measure"] = {"options": [{"value": word} for word in q.test["answers"]]}
        step["expect"] = {"answer": expected.nominal or q.test["answers"][0]}
    if (own := description.override.get(q.id)) is not None:
        step |= {k: v for k, v in (("prompt", own.prompt), ("caution", own.caution)) if v}
        step["expect"] |= {k: v for k, v in (("low", own.low), ("high", own.high)) if v is not None}
        step["source"] = f"{own.reason} (written by hand)"
    return step


def _after(description: Description, asked: list[Enquiry], steps: list[Data]) -> list[Data]:
    """After the repair: the readings that the settings move, and the function."""
    by_id = {step["id"]: step for step in steps}
    found: list[Data] = [
        {**by_id[q.id.removeprefix(_AFTER)], "id": q.id, "phase": "after_repair"}
        for q in _again(description, asked)
    ]
    for number, ask in enumerate(description.after, 1):
        found.append(
            {
                "id": f"{_AFTER}function_{number}", "phase": "after_repair", "prompt": ask.ask,
                "probe": {"red": "not used", "black": "not used"},
                "why": f"The repair is proven by the function: {description.function}",
                "condition": slug(ask.setting or ON), "caution": ask.caution,
                "measure": {"options": [{"value": "yes"}, {"value": "no"}]},
                "expect": {"answer": ask.answer},
            }
        )  # fmt: skip
    return found


def _again(description: Description, asked: list[Enquiry]) -> list[Enquiry]:
    """The readings that the settings move, to be taken once more after the repair."""
    said = {one.say for one in description.settings}
    moved = [q for q in asked if q.kind == "voltage" and q.setting in said]
    return [replace(q, id=f"{_AFTER}{q.id}") for q in moved]


def _pins(description: Description, here: str) -> list[Data]:
    found = []
    for strand in description.loom:
        if wiring.owner(description, strand.to) != here:
            continue
        main, _, stripe = strand.colour.partition("/")
        found.append(
            {"number": int(wiring.pin(strand.to)), "colour": main, "stripe": stripe or None,
             "function": strand.name, "names": list(strand.names)}
        )  # fmt: skip
    return found
