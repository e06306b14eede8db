"""From a description to the parts of its circuit: modules, connectors and wires spelled out.

A connector C has on its device's side the node "C 1" for pin 1, on the loom's side "C wire 1".
"""

from __future__ import annotations

from typing import Any

from handsfree.plan.derived.description import Description, Module, Run, Strand

PLUS, MINUS = "battery plus", "battery minus"
IGNITION = "ignition"

Data = dict[str, Any]


def parts(description: Description) -> Data:
    """The parts of the circuit as plain data, by name."""
    found: Data = {}
    for name, part in description.parts.items():
        if isinstance(part, Module):
            found |= _module(name, part)
        else:
            found[name] = part.model_dump(exclude_defaults=True) | {"kind": part.kind}
            if part.kind == "battery" and "between" not in found[name]:
                found[name]["between"] = [PLUS, MINUS]
    for connector in connectors(description):
        known = description.reach.get(connector)
        pins = {
            pin(end): [f"{connector} wire {pin(end)}", end]
            for strand in description.loom
            for end in (strand.start, strand.to)
            if owner(description, end) == connector
        }
        say = known.say if known else f"{connector} connector"
        found[f"{connector} connector"] = {"kind": "connector", "pins": pins, "say": say}
    for strand in description.loom:
        ends = [wire_side(description, end) for end in (strand.start, strand.to)]
        found[wire_name(strand)] = {"kind": "wire", "between": ends, **_run(strand.wire)}
    return found


def connectors(description: Description) -> list[str]:
    """Names of the connectors at the ends of the loom."""
    ends = [end for strand in description.loom for end in (strand.start, strand.to)]
    return list(dict.fromkeys(c for end in ends if (c := owner(description, end))))


def owner(description: Description, end: str) -> str | None:
    """The connector of an end; None if it is a node of the circuit."""
    name = end.rpartition(" ")[0]
    modules = {n for n, p in description.parts.items() if isinstance(p, Module)}
    return name if name in description.reach or name in modules else None


def pin(end: str) -> str:
    """The pin of an end."""
    return end.rpartition(" ")[2]


def wire_side(description: Description, end: str) -> str:
    """The node of an end on the loom's side of its connector."""
    connector = owner(description, end)
    return f"{connector} wire {pin(end)}" if connector else end


def wire_name(strand: Strand) -> str:
    """The name of a wire as a part."""
    return strand.name if strand.name.endswith("wire") else f"{strand.name} wire"


def _run(run: Run) -> Data:
    return {"length": run.length, "gauge": run.gauge}


def _module(name: str, module: Module) -> Data:
    plus, minus = f"{name} plus", f"{name} minus"
    unit = module.say or name
    found: Data = {}
    here = PLUS
    if module.fuse is not None:
        found[f"{name} fuse"] = {"kind": "fuse", "between": [here, f"{name} fused"],
                                 "rating": str(module.fuse)}  # fmt: skip
        here = f"{name} fused"
    if module.switched_by is not None:
        found[module.switched_by] = {"kind": "switch", "between": [here, f"{name} switched"],
                                     "say": f"{module.switched_by} switch"}  # fmt: skip
        here = f"{name} switched"
    found[f"{name} feed"] = {"kind": "wire", "between": [here, plus], **_run(module.feed),
                             "say": f"{unit} feed"}  # fmt: skip
    found[f"{name} earth"] = {"kind": "wire", "between": [minus, MINUS], **_run(module.earth),
                              "say": f"{unit} earth"}  # fmt: skip
    low, high = (12 / i for i in (module.takes.high, module.takes.low))
    found[f"{name} itself"] = {"kind": "resistor", "between": [plus, minus], "unit": unit,
                               "rate": 0.1,
                               "resistance": f"{low:.4g} Ω to {high:.4g} Ω"}  # fmt: skip
    needs = {"between": [plus, minus], "at_least": str(module.works_from)}
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
            rail = {"pulled down": minus, "pulled up": plus, "floating": minus}[does.reads]
            ohms = "10 MΩ" if does.reads == "floating" else str(does.by)
            found[own] = {"kind": "resistor", "between": [node, f"{own} inside"], "unit": unit,
                          "say": f"{say}, input", "resistance": "1 kΩ ± 5 %"}  # fmt: skip
            found[f"{own} pull"] = {"kind": "resistor", "between": [f"{own} inside", rail],
                                    "unit": unit, "resistance": ohms}  # fmt: skip
        else:
            sides = {"high": ["supply"], "low": ["ground"], "both": ["supply", "ground"]}
            rails = {"supply": plus, "ground": minus}
            switched = {side: rails[side] for side in sides[does.drives or "low"]}
            found[own] = {"kind": "driver", "output": node, "unit": unit, "needs": needs,
                          "say": f"{say}, driver", "resistance": str(does.resistance),
                          **switched}  # fmt: skip
    return found
