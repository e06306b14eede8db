"""What differs in a vehicle, merged into the description of its kind.

A pin is renamed wherever its node stands, a wire that is called after its voltage is called after
the new one, and the tests are named as they are derived then; limits that were written by hand go
with what the circuit computes.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from handsfree.circuit.values import Spread
from handsfree.errors import BadInput
from handsfree.fields import FieldPath
from handsfree.plan.adapted.supply import scaled, under
from handsfree.plan.adapted.vehicle import OwnWire, Vehicle
from handsfree.plan.derived import Description, nominals
from handsfree.plan.derived.asking import questions
from handsfree.plan.derived.description import Module, Strand
from handsfree.plan.derived.wiring import Data, device_side, owner, pin, probed, wire_name
from handsfree.plan.derived.wording import spoken
from handsfree.plan.references import Problem
from handsfree.units import show

#: Of the subject: what is one vehicle's own, and is not taken over from the kind.
_OWN = ("vehicle", "complaint", "stored_code", "live_value")
_LITTLE = 0.05  # what is computed as less than this, in V or A, is nought


class NotAdapted(Exception):
    """A kind cannot be made to be as the vehicle is.

    Attributes:
        problems: path of the field in the vehicle's file, and what is wrong, of each.
    """

    def __init__(self, problems: list[Problem]) -> None:
        super().__init__("; ".join(message for _, message in problems))
        self.problems = problems


def adapted(kind: Data, vehicle: Vehicle) -> Data:
    """The description of a kind as it is in a vehicle, as plain data.

    Args:
        kind: a description that is valid, as plain data.
        vehicle: what differs.

    Raises:
        NotAdapted: something differs that the kind does not have, or two wires meet on a pin.
    """
    description = Description.model_validate(kind)
    wires = dict(_wires(description, vehicle))
    reference = _reference(description, vehicle)
    by = _ratio(description, vehicle)
    new = dict(kind)
    new["loom"] = [
        {**strand, "colour": own.looks(strand["colour"])} if own else strand
        for strand, own in zip(kind["loom"], map(wires.get, range(len(kind["loom"]))), strict=True)
    ]
    if vehicle.supply is not None and by != 1:
        new |= {"supply": show(vehicle.supply), "parts": under(description, new, by)}
        if "voltage" in kind.get("limits", {}):
            new["limits"] = kind["limits"] | {"voltage": scaled(kind["limits"]["voltage"], by)}
    if reference is not None:
        new = _referring(description, new, reference)
    new = _renamed(new, _nodes(description, wires))
    subject = {k: v for k, v in kind.get("subject", {}).items() if k not in _OWN}
    new["subject"] = subject | {k: text for k in _OWN if (text := getattr(vehicle, k))}
    new["title"] = vehicle.title or kind["title"]
    if vehicle.colours:
        new["colours"] = {
            **kind.get("colours", {}),
            **{k: list(v) for k, v in vehicle.colours.items()},
        }
    return _tests(description, new, moved=by != 1 or reference is not None)


def in_vehicle(path: FieldPath, data: Data, file: Data) -> FieldPath:
    """Where a field of the merged description is written in the vehicle's file."""
    match path:
        case ("loom", int(place), *rest):
            strand = data["loom"][place]
            called = {strand["name"], *strand.get("names", ())}
            for name in file.get("wires") or {}:
                if _as_said(name) in called:
                    return ("wires", name, *rest)
        case (str(field), *_) if field in file:
            return path
    return ("like",)


def _wires(description: Description, vehicle: Vehicle) -> Iterator[tuple[int, OwnWire]]:
    """Place in the loom to how the wire is in the vehicle."""
    problems: list[Problem] = []
    found: dict[int, OwnWire] = {}
    for name, own in vehicle.wires.items():
        place = wire_called(description, name)
        if place is None:
            known = ", ".join(strand.name for strand in description.loom)
            problems.append((("wires", name), f"the kind has no wire {name!r}; it has: {known}"))
        elif place in found:
            called = description.loom[place].name
            problems.append((("wires", name), f"{called!r} is given twice, by two of its names"))
        else:
            found[place] = own
            problems += _no_pin(description, name, description.loom[place], own)
    problems += [] if problems else _meeting(description, vehicle, found)
    if problems:
        raise NotAdapted(problems)
    yield from found.items()


def wire_called(description: Description, name: str) -> int | None:
    """The place in the loom of the wire of this name; None if there is none."""
    said = _as_said(name)
    for names in ([(s.name,) for s in description.loom], [s.names for s in description.loom]):
        for place, called in enumerate(names):
            if said in called:
                return place
    return None


def _as_said(name: str) -> str:
    """The name of a wire in a vehicle's file as the kind says it."""
    return name.lower().replace("_", " ").strip()


def ends(description: Description, strand: Strand) -> tuple[str | None, str | None]:
    """The end of a wire at the connector at which is probed, and the one at another; or None."""
    here = probed(description)
    both = [end for end in (strand.to, strand.start) if owner(description, end)]
    near = next((end for end in both if owner(description, end) == here), None)
    return near, next((end for end in both if end != near), None)


def _no_pin(description: Description, name: str, strand: Strand, own: OwnWire) -> Iterator[Problem]:
    """A pin at an end that is at no connector."""
    near, far = ends(description, strand)
    place = description.reach[probed(description)].say
    if own.pin is not None and near is None:
        yield ("wires", name, "pin"), f"{strand.name!r} has no pin at the {place}"
    if own.far_pin is not None and far is None:
        yield ("wires", name, "far_pin"), f"the far end of {strand.name!r} is at no connector"


def _meeting(
    description: Description, vehicle: Vehicle, wires: Mapping[int, OwnWire]
) -> Iterator[Problem]:
    """Two wires on one pin of one connector."""
    written = {wire_called(description, name): name for name in vehicle.wires}
    taken: dict[tuple[str, str], int] = {}
    every = [
        (place, field, end, label)
        for place, strand in enumerate(description.loom)
        for field, end in zip(("pin", "far_pin"), ends(description, strand), strict=True)
        if end is not None
        for label in [getattr(wires.get(place), field, None)]
    ]
    for place, field, end, label in sorted(every, key=lambda one: one[3] is not None):
        connector = owner(description, end) or ""
        at = (connector, (label or pin(end)).upper())
        first = taken.setdefault(at, place)
        if first != place:
            reach = description.reach.get(connector)
            other, where = description.loom[first].name, reach.say if reach else connector
            yield (
                ("wires", str(written[place]), field),
                f"pin {label} of the {where} is that of {other!r}; "
                "two wires cannot be on one pin, so give the other wire's pin, too",
            )


def _nodes(description: Description, wires: Mapping[int, OwnWire]) -> dict[str, str]:
    """Every name that holds a pin, to its new one; a pin by itself is "CONNECTOR/PIN"."""
    found: dict[str, str] = {}
    for place, own in wires.items():
        both = ends(description, description.loom[place])
        for end, label in zip(both, (own.pin, own.far_pin), strict=True):
            if end is None or label is None or label == pin(end):
                continue
            connector, old = owner(description, end), pin(end)
            for between in ("", " wire", " pin"):
                found[f"{connector}{between} {old}"] = f"{connector}{between} {label}"
            found[f"{connector}/{old}"] = label
            if device_side(description, end) == f"pin {old}":  # a socket's node, by its pin
                found[f"pin {old}"] = f"pin {label}"
    return found


def _renamed(data: Data, names: Mapping[str, str]) -> Data:
    """The data with these names replaced wherever they stand, all at once."""

    def put(part: Any) -> Any:
        match part:
            case dict():
                return {names.get(key, key): put(value) for key, value in part.items()}
            case list():
                return [put(value) for value in part]
            case str():
                return names.get(part, part)
        return part

    def pins(connector: str, known: Data) -> Data:
        return {names.get(f"{connector}/{label}", label): does for label, does in known.items()}

    new: Data = put(data)
    for name, part in new["parts"].items():
        if part["kind"] == "module" and "pins" in part:
            new["parts"][name] = part | {"pins": pins(name, part["pins"])}
    for name, reach in new["reach"].items():
        if "at" in reach:
            new["reach"][name] = reach | {"at": pins(name, reach["at"])}
    if (ground := new.get("ground_pin")) is not None:
        here = probed(Description.model_validate(data))
        new["ground_pin"] = names.get(f"{here}/{ground}", ground)
    return new


def reference_voltages(description: Description) -> dict[tuple[str, str, str], Spread]:
    """Every voltage that a module gives or pulls up to: module, pin and field to it."""
    return {
        (name, label, field): volts
        for name, part in description.parts.items()
        if isinstance(part, Module)
        for label, does in part.pins.items()
        for field in ("gives", "to")
        if isinstance(volts := getattr(does, field), Spread)
    }


def _reference(description: Description, vehicle: Vehicle) -> Spread | None:
    """The new reference; None if it stays."""
    if (wanted := vehicle.reference) is None:
        return None
    here: FieldPath = ("reference",)
    known = reference_voltages(description)
    if not known:
        raise NotAdapted([(here, "no module of the kind gives a reference")])
    if len(values := {one.nominal for one in known.values()}) > 1:
        listed = ", ".join(f"{name} pin {label}: {one}" for (name, label, _), one in known.items())
        raise NotAdapted(
            [(here, f"the kind has {len(values)} references ({listed}); copy its plan")]
        )
    if wanted.nominal <= 0:
        raise NotAdapted([(here, f"{wanted} is no reference voltage")])
    (old,) = values
    return None if wanted.exact and wanted.nominal == old else wanted


def _referring(description: Description, data: Data, reference: Spread) -> Data:
    """The data with another reference: at the modules' pins, and in the names of the wires."""
    parts = dict(data["parts"])
    names: dict[str, str] = {}
    for (name, label, field), old in reference_voltages(description).items():
        share = (old.high - old.low) / 2 / old.nominal
        tolerance = f" ± {100 * share:.3g} %" if reference.exact and share else ""
        volts = f"{reference.nominal:.6g} V{tolerance}" if reference.exact else str(reference)
        pins = parts[name]["pins"]
        parts[name] = parts[name] | {"pins": pins | {label: pins[label] | {field: volts}}}
        words, new = (f"{_volts(one.nominal)} volt" for one in (old, reference))
        for strand in description.loom:
            if strand.start == f"{name} {label}":
                called = strand.name.replace(words, new)
                other = strand.model_copy(update={"name": called})
                names |= {strand.name: called, wire_name(strand): wire_name(other)}
                names |= {one: one.replace(words, new) for one in strand.names}
        ratio = reference.nominal / old.nominal
    if "hysteresis" in data:
        data = data | {"hysteresis": scaled(data["hysteresis"], ratio)}
    return _renamed(data | {"parts": parts}, names)


def _volts(value: float) -> str:
    """A voltage in words: "five", "four point five"."""
    whole, _, places = f"{value:g}".partition(".")
    return spoken(whole) + (" point " + " ".join(map(spoken, places)) if places else "")


def _ratio(description: Description, vehicle: Vehicle) -> float:
    """How many times the kind's supply the vehicle's is."""
    if vehicle.supply is None:
        return 1.0
    by = float(vehicle.supply.m_as("V")) / float(description.supply.m_as("V"))
    if by != 1 and not any(part.kind == "battery" for part in description.parts.values()):
        message = "the kind's own voltages stand in its parts one by one; copy its plan"
        raise NotAdapted([(("supply",), message)])
    return by


def _tests(old: Description, data: Data, *, moved: bool) -> Data:
    """The data with the tests named as they are derived now, and hand-written limits moved."""
    try:
        new = Description.model_validate(data)
        ids = {one.id: other.id for one, other in zip(questions(old), questions(new), strict=True)}
    except BadInput as error:
        raise NotAdapted([((), str(error))]) from error
    data = dict(data)
    if moved and "override" in data:
        before, after = nominals(old), nominals(new)
        data["override"] = {
            name: _moved(one, before.get(name), after.get(ids[name]))
            for name, one in data["override"].items()
        }
    for field in ("main_line", "again"):
        if data.get(field) is not None:
            data[field] = [ids.get(name, name) for name in data[field]]
    if "override" in data:
        data["override"] = {
            ids.get(name, name): one | ({"also": [ids.get(a, a) for a in one["also"]]}
                                        if "also" in one else {})
            for name, one in data["override"].items()
        }  # fmt: skip
    if "findings" in data:
        data["findings"] = [
            one | {"when": {ids.get(name, name): out for name, out in one["when"].items()}}
            for one in data["findings"]
        ]
    return data


def _moved(override: Data, before: float | None, after: float | None) -> Data:
    """What is said by hand of a test, its limits in proportion to what the circuit computes."""
    if before is None or after is None or abs(before) < _LITTLE:
        return override
    by = after / before
    limits = _scaled(override, by)
    if not limits or abs(by - 1) < 0.02:
        return override
    if "points" in override:
        limits["points"] = [point | _scaled(point, by) for point in override["points"]]
    return override | limits | {"reason": f"{override['reason']}; in proportion to the supply"}


def _scaled(limits: Data, by: float) -> Data:
    return {field: scaled(limits[field], by) for field in ("low", "high") if field in limits}
