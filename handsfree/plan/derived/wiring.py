"""From a description to the parts of its circuit: modules, connectors and wires spelled out.

A connector C has on its device's side the node "C 1" for pin 1, on the loom's side "C wire 1".
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from handsfree.circuit.parts import Fuse, GroundPoint, Splice, Switch, Wire
from handsfree.fields import is_pin
from handsfree.plan.derived.description import Description, Jumper, Module, Run, Strand

PLUS, MINUS = "battery plus", "battery minus"
IGNITION = "ignition"

Data = dict[str, Any]

_LINE = Fuse | GroundPoint | Splice | Switch | Wire


@dataclass(frozen=True)
class End:
    """One end of a wire, and the other one: "socket 30", "fused"."""

    strand: Strand
    name: str
    other: str


def parts(description: Description) -> Data:
    """The parts of the circuit as plain data, by name."""
    found: Data = {}
    for name, part in description.parts.items():
        if isinstance(part, Module):
            found |= _module(description, name, part)
        elif isinstance(part, Jumper):
            found[name] = {"kind": "switch", "between": list(part.between), "sound": True}
        else:
            found[name] = part.model_dump(exclude_defaults=True) | {"kind": part.kind}
            if part.kind == "battery" and "between" not in found[name]:
                found[name]["between"] = [PLUS, MINUS]
    for connector in connectors(description):
        known = description.reach.get(connector)
        pins = {
            pin(end.name): [f"{connector} wire {pin(end.name)}", end.name]
            for end in ends_at(description, connector)
        }
        say = known.say if known else f"{connector} connector"
        found[f"{connector} connector"] = {"kind": "connector", "pins": pins, "say": say}
        if known is not None and known.contact is not None:
            found[f"{connector} connector"]["contact"] = str(known.contact)
    for name, part in found.items():
        if (how := description.repairs.get(part.get("unit", name))) is not None:
            part["repair"] = how
    for strand in description.loom:
        ends = [wire_side(description, end) for end in (strand.start, strand.to)]
        found[wire_name(strand)] = {"kind": "wire", "between": ends, **_run(strand.wire)}
    return found


def connectors(description: Description) -> list[str]:
    """Names of the connectors at the ends of the loom; posts and sockets are none."""
    ends = [end for strand in description.loom for end in (strand.start, strand.to)]
    found = dict.fromkeys(c for end in ends if (c := owner(description, end)))
    return [c for c in found if not _socket(description, c)]


def ends_at(description: Description, connector: str) -> list[End]:
    """The ends of wires at a connector, in the order of the loom."""
    ends = ((s, *pair) for s in description.loom for pair in ((s.to, s.start), (s.start, s.to)))
    return [End(*end) for end in ends if owner(description, end[1]) == connector]


def probed(description: Description) -> str:
    """The connector at which is probed: the first that can be reached and is no module's."""
    owners = {owner(description, end) for s in description.loom for end in (s.start, s.to)}
    return next(
        c
        for c in description.reach
        if c in owners and not isinstance(description.parts.get(c), Module)
    )


def owner(description: Description, end: str) -> str | None:
    """The connector of an end; None if it is a node of the circuit."""
    name, _, number = end.rpartition(" ")
    if not is_pin(number):
        return None
    known = name in description.reach or isinstance(description.parts.get(name), Module)
    return name if known else None


def module_pin(description: Description, end: str) -> tuple[str, str] | None:
    """The module and its pin, if an end is one."""
    name, number = owner(description, end), pin(end)
    part = description.parts.get(name or "")
    return (name, number) if name and isinstance(part, Module) and number in part.pins else None


def leads_to(description: Description, node: str) -> str | None:
    """The rail to which a node leads along wires, fuses and switches; None if to none."""
    lines = [p.between for p in description.parts.values() if isinstance(p, _LINE)]
    reached = {node}
    while not reached & {PLUS, MINUS}:
        near = {n for pair in lines if reached & set(pair) for n in pair} - reached
        if not near:
            return None
        reached |= near
    return PLUS if PLUS in reached else MINUS


@lru_cache(maxsize=256)
def thick(strand: Strand) -> bool:
    """Whether a wire feeds a load, so that what is lost in it counts."""
    return Wire.model_validate({"kind": "wire", "between": ["a", "b"], **_run(strand.wire)}).thick


def pin(end: str) -> str:
    """The pin of an end."""
    return end.rpartition(" ")[2]


def wire_side(description: Description, end: str) -> str:
    """The node of an end on the loom's side of its connector."""
    connector = owner(description, end)
    if connector is None or _socket(description, connector):
        return device_side(description, end)
    return f"{connector} wire {pin(end)}"


def device_side(description: Description, end: str) -> str:
    """The node of an end on the side of the device: itself, or where a post of it is."""
    connector = owner(description, end)
    known = description.reach.get(connector) if connector else None
    return known.at.get(pin(end), end) if known else end


def _socket(description: Description, connector: str) -> bool:
    known = description.reach.get(connector)
    return known is not None and bool(known.at)


def wire_name(strand: Strand) -> str:
    """The name of a wire as a part."""
    return strand.name if strand.name.endswith("wire") else f"{strand.name} wire"


def _run(run: Run) -> Data:
    return {"length": run.length, "gauge": run.gauge}


def _module(description: Description, name: str, module: Module) -> Data:
    plus, minus = f"{name} plus", f"{name} minus"
    unit = module.say or name
    found: Data = {}
    here = PLUS
    switch = description.parts.get(module.switched_by or "")
    if isinstance(switch, Switch):
        here = switch.between[1]
    if module.fuse is not None:
        found[f"{name} fuse"] = {"kind": "fuse", "between": [here, f"{name} fused"],
                                 "say": f"{unit} fuse", "rating": str(module.fuse)}  # fmt: skip
        here = f"{name} fused"
    if module.switched_by is not None and switch is None:
        found[module.switched_by] = {"kind": "switch", "between": [here, f"{name} switched"],
                                     "say": f"{module.switched_by} switch"}  # fmt: skip
        here = f"{name} switched"
    found[f"{name} feed"] = {"kind": "wire", "between": [here, plus], **_run(module.feed),
                             "say": f"{unit} feed"}  # fmt: skip
    found[f"{name} earth"] = {"kind": "wire", "between": [minus, MINUS], **_run(module.earth),
                              "say": f"{unit} earth"}  # fmt: skip
    supply = float(description.supply.m_as("V"))
    low, high = (supply / i for i in (module.takes.high, module.takes.low))
    found[f"{name} itself"] = {"kind": "resistor", "between": [plus, minus], "unit": unit,
                               "rate": 0.1,
                               "resistance": f"{low:.4g} Ω to {high:.4g} Ω"}  # fmt: skip
    needs = {"between": [plus, minus], "at_least": str(module.works_from)}
    source = plus
    if any(does.drives == "both" for does in module.pins.values()):
        source = f"{name} bridge"
        found[f"{name} bridge supply"] = {"kind": "resistor", "between": [plus, source],
                                          "unit": unit, "say": f"{unit}, supply of its outputs",
                                          "resistance": "20 mΩ", "rate": 4}  # fmt: skip
    for number, does in module.pins.items():
        node, own = f"{name} {number}", f"{name} pin {number}"
        say = f"{unit} pin {number}"
        if does.gives == "ground":
            found[own] = {"kind": "resistor", "between": [node, minus], "unit": unit,
                          "say": f"{say}, sensor ground", "resistance": "0.5 Ω ± 20 %"}  # fmt: skip
        elif does.gives is not None:
            found[own] = {"kind": "source", "between": [node, minus], "unit": unit,
                          "say": f"{say}, reference", "voltage": str(does.gives),
                          "resistance": "20 Ω ± 10 %", "needs": needs}  # fmt: skip
        elif does.reads is not None:
            inside = f"{own} inside"
            found[own] = {"kind": "resistor", "between": [node, inside], "unit": unit,
                          "say": f"{say}, input", "resistance": "1 kΩ ± 5 %"}  # fmt: skip
            ohms = str(does.by) if does.reads == "pulled down" else "10 MΩ"
            found[f"{own} pull"] = {"kind": "resistor", "between": [inside, minus], "unit": unit,
                                    "resistance": ohms, "say": f"{say}, input"}  # fmt: skip
            if does.reads == "pulled up":
                rail = plus if does.to is None else f"{own} rail"
                found[f"{own} pull-up"] = {"kind": "resistor", "between": [rail, node],
                                           "unit": unit, "say": f"{say}, pull-up",
                                           "resistance": str(does.by)}  # fmt: skip
            if does.to is not None:
                found[f"{own} supply"] = {"kind": "source", "between": [f"{own} rail", minus],
                                          "unit": unit, "say": f"{say}, supply of its pull-up",
                                          "voltage": str(does.to), "resistance": "1 Ω",
                                          "needs": needs}  # fmt: skip
        else:
            sides = {"high": ["supply"], "low": ["ground"], "both": ["supply", "ground"]}
            rails = {"supply": source, "ground": minus}
            switched = {side: rails[side] for side in sides[does.drives or "low"]}
            found[own] = {"kind": "driver", "output": node, "unit": unit, "needs": needs,
                          "say": f"{say}, driver", "resistance": str(does.resistance),
                          **switched}  # fmt: skip
    return found
