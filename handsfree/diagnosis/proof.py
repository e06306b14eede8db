"""Whether what is named has been tested itself: else it is a suspicion.

Each terminal of what is at fault must have been probed, at the part or through a contact that
is mated; of a wire that touches something, the wire by itself, unplugged at its ends.
Of a module's output, its supply and its ground as well.  What can be watched must be watched.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator

from handsfree.circuit import Circuit, CircuitTest, Fault
from handsfree.circuit import faults as modes
from handsfree.circuit.parts import Connector, Mechanism, Potentiometer
from handsfree.diagnosis.belief import SURE, Belief

_TOUCHES = modes.ShortToGround | modes.ShortToSupply | modes.ShortTo


def needed(circuit: Circuit, fault: Fault) -> tuple[frozenset[str], ...]:
    """For each thing that must be tested, the tests that do it; empty if none can.

    Args:
        circuit: names the tests.
        fault: of it.
    """
    tests = circuit.tests
    if not fault.part:
        return (frozenset(),)
    watched = frozenset(name for name, test in tests.items() if _watches(circuit, test, fault.part))
    if isinstance(fault.mode, _TOUCHES):
        nodes = set(circuit.parts[fault.part].nodes(fault.part))
        return (
            frozenset(
                name
                for name, test in tests.items()
                if nodes & _reached(circuit, test) and _isolated(circuit, test, nodes)
            ),
        )
    probed = tuple(
        frozenset(name for name, test in tests.items() if node in _reached(circuit, test, fault))
        for node in _terminals(circuit, fault)
    )
    return (watched, *filter(None, probed)) if watched else probed


def proven(circuit: Circuit, fault: Fault, made: Collection[str]) -> bool:
    """Whether the part itself has been tested."""
    return all(tests.intersection(made) for tests in needed(circuit, fault))


def provable(circuit: Circuit, fault: Fault) -> bool:
    """Whether the tests of the plan can do it at all."""
    return all(needed(circuit, fault))


def suspected(belief: Belief, circuit: Circuit) -> frozenset[str]:
    """Tests of the part itself that are still to be made, once a part is all but found."""
    if belief.site is None or belief.odds < SURE:
        return frozenset()
    known = {fault.id: fault for fault in circuit.faults}
    faults = [known[f] for f in belief.table.causes[belief.leader].faults if f in known]
    left = [
        tests
        for fault in faults
        if fault.site == belief.site
        for tests in needed(circuit, fault)
        if not tests.intersection(belief.made)
    ]
    return frozenset().union(*left) & frozenset(belief.table.tests)


def _terminals(circuit: Circuit, fault: Fault) -> Iterator[str]:
    """Nodes that must be probed before a fault is named."""
    part, slot = circuit.parts[fault.part], getattr(fault.mode, "at", None)
    own = [b for b in part.branches(fault.part) if slot in (None, b.slot)]
    inner = f"{fault.part}."
    if isinstance(part, Potentiometer):
        own = list(part.branches(fault.part))
    ends = dict.fromkeys(n for b in own for n in (b.a, b.b) if not n.startswith(inner))
    for curve in part.curves(fault.part):
        ends |= dict.fromkeys(n for n in (curve.a, curve.b) if not n.startswith(inner))
    if part.needs is not None:
        ends |= dict.fromkeys(part.needs.between)
    yield from (node for node in ends if node != circuit.ground)


def _reached(circuit: Circuit, test: CircuitTest, fault: Fault | None = None) -> set[str]:
    """Nodes on which the leads stand: where they are held, and what a mated contact joins to it."""
    ends = {node for node in (test.red, test.black) if node is not None}
    if test.through is not None:
        ends |= set(circuit.parts[test.through].nodes(test.through))
    settings = circuit.conditions[test.condition]
    itself = (fault.part, getattr(fault.mode, "at", None)) if fault is not None else None
    for name, part in circuit.parts.items():
        if isinstance(part, Connector) and settings.get(name) != "unplugged":
            for pin, pair in part.pins.items():
                if ends & set(pair) and (name, pin) != itself:
                    ends |= set(pair)
    return ends


def _isolated(circuit: Circuit, test: CircuitTest, nodes: set[str]) -> bool:
    """Whether every connector at these nodes is unplugged while the test is made."""
    settings = circuit.conditions[test.condition]
    ends = [
        settings.get(name) == "unplugged"
        for name, part in circuit.parts.items()
        if isinstance(part, Connector) and nodes & set(part.nodes(name))
    ]
    return bool(ends) and all(ends)


def _watches(circuit: Circuit, test: CircuitTest, part: str) -> bool:
    """Whether a test watches a part, or what a mechanism moves or is moved by."""
    seen = test.observes
    if seen is None:
        return False
    watched = circuit.parts.get(seen)
    motor = watched.motor if isinstance(watched, Mechanism) else None
    here = circuit.parts.get(part)
    return seen == part or (motor == part) or (isinstance(here, Mechanism) and here.motor == seen)
