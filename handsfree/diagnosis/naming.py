"""Who is named, and what may be named together.

Parts that no test left can part are named together, where it helps to look at both: a wire and
the contact at its end, an output and the contact before it, a fuse and the switch after it.  So
two parts may always be, and more if all of them conduct in one line.  The joint within the whole,
to which nothing else leads, need not have been probed then; what leads out of it must
(`proof`).
"""

from __future__ import annotations

from collections.abc import Sequence

from handsfree.circuit import Circuit, Fault
from handsfree.circuit.parts import Connector, Fuse, GroundPoint, Splice, Switch, Wire
from handsfree.diagnosis.belief import Belief

_LINE = Wire | Connector | Fuse | GroundPoint | Splice | Switch
_PAIR = 2  # parts that may be named together without a line


def accused(belief: Belief, circuit: Circuit) -> tuple[Fault, ...]:
    """The likeliest site and those that no test left parts from it, each by its likeliest fault.

    A site at which the circuit has no fault, as in a table made otherwise, is left out.
    """
    faults = {fault.id: fault for fault in circuit.faults}
    sites = {fault.site for fault in circuit.faults}
    return tuple(likeliest(belief, faults, site) for site in belief.named if site in sites)


def likeliest(belief: Belief, faults: dict[str, Fault], site: str) -> Fault:
    """The likeliest fault at a site."""
    cause = belief.table.causes[belief.best_at(site)]
    return next(faults[f] for f in cause.faults if faults[f].site == site)


def nameable(circuit: Circuit, together: Sequence[Fault]) -> bool:
    """Whether these may be named together: two parts, or the parts of one line."""
    return len({fault.part for fault in together}) <= _PAIR or _one_line(circuit, together)


def joints(circuit: Circuit, together: Sequence[Fault]) -> set[str]:
    """Nodes within what is named, be it one unit: nothing else is connected there."""
    places = {(fault.part, getattr(fault.mode, "at", None)) for fault in together}
    units = {u for f in together if f.part for u in (f.unit, circuit.parts[f.part].unit) if u}
    here: dict[str, bool] = {}
    for name, part in circuit.parts.items():
        whole = not isinstance(part, Connector) and (part.unit or part.say or name) in units
        ends = [(b.slot, n) for b in part.branches(name) for n in (b.a, b.b)]
        ends += [("", node) for c in part.curves(name) for node in (c.a, c.b)]
        for slot, node in ends:
            within = whole or bool({(name, None), (name, slot)} & places)
            here[node] = here.get(node, True) and within
    return {node for node, within in here.items() if within} - {circuit.ground, circuit.supply}


def _one_line(circuit: Circuit, together: Sequence[Fault]) -> bool:
    """Whether all that is named conducts in one line: a wire, its contacts, its fuse."""
    if not all(isinstance(circuit.parts.get(fault.part), _LINE) for fault in together):
        return False
    rails = {circuit.ground, circuit.supply}
    slots = [set(_ends(circuit, fault)) - rails for fault in together]
    reached, rest = slots[0], slots[1:]
    while near := [ends for ends in rest if ends & reached]:
        reached = reached.union(*near)
        rest = [ends for ends in rest if ends not in near]
    return not rest


def _ends(circuit: Circuit, fault: Fault) -> tuple[str, ...]:
    at = getattr(fault.mode, "at", None)
    branches = circuit.parts[fault.part].branches(fault.part)
    return tuple(n for b in branches if at in (None, b.slot) for n in (b.a, b.b))
