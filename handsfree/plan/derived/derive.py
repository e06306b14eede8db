"""From a description to a plan as plain data, in the form in which plans are walked through."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import replace
from difflib import get_close_matches

from handsfree.circuit import Circuit, Expectation, ExpectedWord, expectations
from handsfree.circuit.values import Spread, parse_spread
from handsfree.errors import BadInput
from handsfree.plan.derived import asking, telling, wiring, wording
from handsfree.plan.derived.description import Ask, Description, Look, Setting
from handsfree.plan.derived.enquiry import Enquiry, slug
from handsfree.plan.derived.settings import (
    ALONE,
    REST,
    plugged,
    settings,
    setups,
    unplugged,
    working,
)
from handsfree.plan.derived.telling import Told
from handsfree.plan.derived.wiring import Data

COMPUTED = "computed from the circuit; its values: common practice, no published source"

_AFTER = "after_"
_STATES = ["battery", "ground", "open", "pulsing", "dead"]
_LITTLE = 0.02  # V: from here a reading has a sign
_SPOKEN = {"check", "look", "temperature", "live value"}


def is_description(data: object) -> bool:
    """Whether plain data is a description and not a plan with its steps written out."""
    return isinstance(data, dict) and "loom" in data


def derive(description: Description) -> Data:
    """The plan that follows from a description.

    Raises:
        BadInput: the circuit does not fit together, or a test is named that there is none of.
    """
    asked = [q for q in asking.questions(description) if not _left_out(description, q)]
    circuit, meter = _circuit(description, asked), description.meter
    shows = telling.shown(circuit, meter)
    wanted = {*description.main_line, *description.overrides, *(description.again or ())}
    telling_more = [q for q in asked if not q.test or shows[q.id] or q.id in wanted]
    read = expectations(circuit, meter, samples=1)
    asked = [
        _turned(q, read)
        for q in _different(description, telling_more, read, wanted)
        if q.id in wanted or not _open_switch(q, read)
    ]
    _known(description, asked)
    expected = expectations(_circuit(description, asked), meter, samples=200)
    asked = [q for q in asked if q.kind != "drive" or _nominal(expected[q.id])]
    ordered = sorted(asked, key=lambda q: _order(description, circuit, q))
    near = telling.lost(_circuit(description, asked), ordered, expected, meter)
    near |= {q.id: ("battery_voltage", "0.1 V") for q in asked if q.kind == "second meter"}
    warm = telling.by_temperature(_circuit(description, asked), ordered, expected, meter)
    main = set(description.main_line) or {q.id for q in asked}
    steps = [
        _step(
            description,
            q,
            expected.get(q.id),
            shows.get(q.id, ()),
            near.get(q.id),
            warm.get(q.id, {}),
        )
        | {"in_doubt": q.id not in main}
        for q in ordered
    ]
    after = list(_after(description, ordered, steps))
    used = {step["condition"] for step in (*steps, *after)}
    here = description.reach[wiring.probed(description)]
    return {
        "title": description.title,
        "language": description.language,
        "subject": description.subject.model_dump(),
        "cautions": list(description.cautions),
        "circuit_class": description.circuit_class,
        "supply": description.supply,
        "limits": dict(description.limits),
        "meter": description.meter.model_dump(),
        "colours": dict(description.colours),
        "connector": {"name": here.say, "pins": _pins(description)},
        "conditions": [
            {"id": slug(one.say), "say": one.say, "names": list(one.names), "caution": one.caution}
            for one in settings(description).values()
            if slug(one.say) in used
        ],
        "steps": [*steps, *after],
        "sweep": _sweep(description, ordered),
        "findings": [finding.model_dump() for finding in description.findings],
        "circuit": _circuit_data(
            description, [*_worded(asked, steps), *_again(description, ordered)]
        ),
        "no_finding": "The circuit names no part. Look at the readings again.",
    }


def nominals(description: Description) -> dict[str, float]:
    """What each test reads in V or A in the sound circuit as drawn, by its id."""
    asked = list(asking.questions(description))
    read = expectations(_circuit(description, asked), description.meter, samples=1)
    found = {}
    for test_id, one in read.items():
        if isinstance(one, Expectation) and one.nominal is not None:
            for unit in ("V", "A"):
                if one.nominal.is_compatible_with(unit):
                    found[test_id] = float(one.nominal.m_as(unit))
    return found


def _circuit_data(description: Description, asked: list[Enquiry]) -> Data:
    every = settings(description)
    needed = {q.setting for q in asked if q.test} | {working(description).say}
    needed |= {one.after for s in needed if (one := every[s]).after}
    needed |= {ask.setting for ask in description.after if ask.setting}
    named = {slug(one.say): one for one in every.values() if one.say in needed}
    return {
        "ground": wiring.MINUS,
        "supply": wiring.PLUS,
        "parts": wiring.parts(description),
        "conditions": {name: dict(one.sets) for name, one in named.items()},
        "after": {name: slug(one.after) for name, one in named.items() if one.after},
        "setups": setups(description),
        "tests": {q.id: {"condition": slug(q.setting), **q.test} for q in asked if q.test},
        "wrong_pins": [wrong.model_dump() for wrong in description.wrong_pins],
    }


def _circuit(description: Description, asked: list[Enquiry]) -> Circuit:
    return Circuit.model_validate(_circuit_data(description, asked))


def _known(description: Description, asked: list[Enquiry]) -> None:
    """Refuse the names of tests that there are none of."""
    known = [q.id for q in asking.questions(description)]
    kept = {q.id for q in asked}
    named = [*description.main_line, *description.overrides, *(description.again or ())]
    for name in named:
        if name not in kept and name not in known:
            near = get_close_matches(name, known, 3, 0.3)
            raise BadInput(f"there is no test {name!r}", remedy=f"Near: {', '.join(near)}.")


def _volts(q: Enquiry, read: Mapping[str, Told]) -> float:
    """What is read in the sound circuit as drawn; nought if no voltage is."""
    one = read.get(q.id)
    volts = isinstance(one, Expectation) and q.test["measures"] == "voltage"
    return float(one.nominal.m_as("V")) if volts and isinstance(one, Expectation) else 0.0


def _open_switch(q: Enquiry, read: Mapping[str, Told]) -> bool:
    """Whether a drop is none, because nothing flows there."""
    return q.kind in ("drop across", "feed", "return") and abs(_volts(q, read)) > telling.MUCH


def _turned(q: Enquiry, read: Mapping[str, Told]) -> Enquiry:
    """With the leads exchanged where the reading would be negative."""
    if q.kind not in {*telling.DROPS, "across"} or _volts(q, read) > -_LITTLE:
        return q
    test = {**q.test, "red": q.test["black"], "black": q.test["red"]}
    extra = {**q.extra, "turned": True}
    if "other" in extra:
        extra |= {"wire": q.extra["other"], "other": q.extra["wire"]}
    return replace(q, test=test, wires=q.wires[::-1], extra=extra)


def _different(
    description: Description, asked: list[Enquiry], found: Mapping[str, Told], wanted: set[str]
) -> list[Enquiry]:
    """What is read under a setting only where the setting changes it, unless it is wanted."""
    bases = (REST, working(description).say, unplugged(description), ALONE)
    first = sorted(asked, key=lambda q: bases.index(q.setting) if q.setting in bases else 9)
    kept: dict[tuple[object, ...], list[Enquiry]] = {}

    def same(q: Enquiry, other: Enquiry) -> bool:
        one, base = found[q.id], found[other.id]
        if isinstance(one, ExpectedWord) or isinstance(base, ExpectedWord):
            return one.nominal == base.nominal
        if one.nominal == base.nominal:
            return True  # both over limit, too
        return bool(abs(one.nominal - base.nominal) <= 2 * one.error + base.error)

    every, at = settings(description), wiring.probed(description)
    for q in first:
        here = kept.setdefault((plugged(every[q.setting], at), *_leads(q)), [])
        free = q.kind in _SPOKEN or not q.test or q.setting in bases[2:]
        if free or q.id in wanted or not any(same(q, other) for other in here):
            here.append(q)
    names = {q.id for these in kept.values() for q in these}
    points = {one.say for one in description.settings if one.command is not None}
    swept = {_leads(q) for q in asked if q.id in names and q.setting in points}
    return [q for q in asked if q.id in names or (q.setting in points and _leads(q) in swept)]


def _leads(q: Enquiry) -> tuple[object, ...]:
    return tuple(q.test.get(key) for key in ("measures", "red", "black", "through", "second_meter"))


def _nominal(expected: Expectation | ExpectedWord) -> object:
    return expected.nominal


def _order(description: Description, circuit: Circuit, q: Enquiry) -> tuple[float, ...]:
    """The main line as it is written; then by what must be done for a test, then by rank."""
    if (override := description.overrides.get(q.id)) and override.first:
        return (-2.0, 0.0)
    if q.id in description.main_line:
        return (-1.0, float(description.main_line.index(q.id)))
    test = circuit.tests.get(q.id)
    seconds = sum(circuit.setups[s].minutes.nominal for s in test.setups) if test else 0.0
    return (float(seconds > 0), float(q.rank), seconds)


def _left_out(description: Description, q: Enquiry) -> bool:
    override = description.overrides.get(q.id)
    return override is not None and override.leave_out


def _step(
    description: Description, q: Enquiry, expected: Expectation | ExpectedWord | None,
    sites: tuple[str, ...], near: tuple[str, str] | None, warm: Data,
) -> Data:  # fmt: skip
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
    step |= _measured(q, expected, near)
    if near is None:
        step["expect"] |= warm
    if (own := description.overrides.get(q.id)) is not None:
        step |= {k: v for k, v in (("prompt", own.prompt), ("caution", own.caution)) if v}
        if own.low is not None or own.high is not None:
            step["expect"] = own.model_dump(
                include={"low", "high", "by", "points"}, exclude_defaults=True
            )
        if own.how:
            step["probe"] = {**step["probe"], "how": own.how}
        if own.stop:
            step["on_fail"] = "finish"
        if own.prompt or own.low is not None or own.high is not None:
            step["source"] = f"{own.reason} (written by hand)"
    return step


def _measured(
    q: Enquiry, expected: Expectation | ExpectedWord | None, near: tuple[str, str] | None
) -> Data:
    """What a step measures and expects."""
    match q.kind, expected:
        case "temperature", _:
            return _degrees(parse_spread(q.extra["temperature"], "K"))
        case "check", _:
            ask = q.extra["ask"]
            return _answers(ask) if ask.temperature is None else _degrees(ask.temperature)
        case "live value", Expectation():
            return _answers(q.extra["ask"]) | {"_window": telling.window(expected)}
        case "drive", ExpectedWord():
            return {"measure": {"states": _STATES}, "expect": {"state": expected.nominal}}
        case _, ExpectedWord():
            look = q.extra["ask"]
            names = [{"value": w, "names": list(look.names.get(w, ()))} for w in look.answers]
            right = expected.nominal or look.answers[0]
            return {"measure": {"options": names}, "expect": {"answer": right}}
        case _, Expectation():
            measures = q.test["measures"]
            unit = telling.unit(expected, measures)
            if near is not None:
                expect: Data = {"near": near[0], "within": near[1]}
            else:
                expect = telling.limits(expected, measures, q.kind)
            return {"measure": {"quantity": measures, "unit": unit}, "expect": expect}
    raise AssertionError(q.kind)


def _degrees(shown: Spread) -> Data:
    return {"measure": {"quantity": "temperature"}, "expect": telling.degrees(shown)}


def _answers(ask: Ask | Look) -> Data:
    options = [{"value": w, "names": list(ask.names.get(w, ()))} for w in ("yes", "no")]
    right = ask.answer if isinstance(ask, Ask) else "yes"
    return {"measure": {"options": options}, "expect": {"answer": right}}


def _worded(asked: list[Enquiry], steps: list[Data]) -> Iterator[Enquiry]:
    """The tests as the plan's circuit has them: what a module shows is right, or not."""
    by_id = {step["id"]: step for step in steps}
    for q in asked:
        if q.kind != "live value":
            yield q
            continue
        words = {"yes": by_id[q.id].pop("_window"), "no": "-100 V to 100 V"}
        yield replace(q, test={**q.test, "words": words})


def _after(description: Description, asked: list[Enquiry], steps: list[Data]) -> Iterator[Data]:
    """After the repair: the readings that the settings move, and the function."""
    by_id = {step["id"]: step for step in steps}
    for q in _again(description, asked):
        step = by_id[q.id.removeprefix(_AFTER)]
        expect = {k: v for k, v in step["expect"].items() if k not in ("by", "points")}
        yield {
            **step,
            "expect": expect,
            "id": q.id,
            "phase": "after_repair",
            "on_fail": "next",
            "in_doubt": False,
        }
    for number, ask in enumerate(description.after, 1):
        yield {
            "id": ask.id or f"{_AFTER}function_{number}", "phase": "after_repair",
            "prompt": ask.ask, "probe": {"red": "not used", "black": "not used", "how": ask.how},
            "why": f"The repair is proven by the function: {description.function}",
            "condition": slug(ask.setting or working(description).say), "caution": ask.caution,
            **({"source": ask.source} if ask.source else {}), **_answers(ask),
        }  # fmt: skip


def _again(description: Description, asked: list[Enquiry]) -> list[Enquiry]:
    """The readings that are taken once more after the repair: those that the settings move."""
    order = {one.say: k for k, one in enumerate(description.settings)}
    moved = [q for q in asked if q.kind == "voltage" and q.setting in order]
    moved.sort(key=lambda q: order[q.setting])
    if description.again is not None:
        moved = [q for name in description.again for q in asked if q.id == name]
    return [replace(q, id=f"{_AFTER}{q.id}") for q in moved]


def _sweep(description: Description, asked: list[Enquiry]) -> Data | None:
    commands: dict[str, Setting] = {s.say: s for s in description.settings if s.command is not None}
    if not commands or description.hysteresis is None:
        return None
    taken = [q for q in _again(description, asked) if q.setting in commands]
    return {
        "command": {q.id: commands[q.setting].command for q in taken},
        "hysteresis": description.hysteresis,
    }


def _figures(label: str) -> tuple[object, ...]:
    """A pin's place in the connector: 2 before 10, A2 before B1."""
    return tuple((not part.isdigit(), int(part) if part.isdigit() else part)
                 for part in re.findall(r"\d+|\D+", label))  # fmt: skip


def _pins(description: Description) -> list[Data]:
    found = []
    for end in wiring.ends_at(description, wiring.probed(description)):
        strand = end.strand
        main, _, stripe = strand.colour.partition("/")
        found.append(
            {"number": wiring.pin(end.name), "colour": main, "stripe": stripe or None,
             "function": strand.name, "names": list(strand.names)}
        )  # fmt: skip
    return sorted(found, key=lambda one: _figures(one["number"]))
