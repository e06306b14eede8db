"""Whether what is named has been tested itself: else it is a suspicion.

Each terminal of what is at fault must have been probed, at the part or through a contact that
is mated; of a wire that touches something, the wire by itself, unplugged at its ends; of a
contact that does, the wire unplugged there, and mated.  Of a module's output, its supply and its
ground as well.  What can be watched must be watched; a meter must be held against another one.
What is blamed outside the circuit no test in it proves.
What is named together (`naming`) is tested as one: every terminal that leads out of it.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence

from handsfree.circuit import Circuit, CircuitTest, Fault
from handsfree.circuit import faults as modes
from handsfree.circuit.parts import Connector, Fuse, Mechanism, Potentiometer, Switch, Wire
from handsfree.diagnosis.belief import SURE, Belief
from handsfree.diagnosis.naming import accused, joints, nameable

_TOUCHES = modes.ShortToGround | modes.ShortToSupply | modes.ShortTo


def needed(circuit: Circuit, *together: Fault) -> tuple[frozenset[str], ...]:
    """For each thing that must be tested, the tests that do it; empty if none can.

    Args:
        circuit: names the tests.
        together: the fault of each part that is named, with the others.
    """
    inner = joints(circuit, together)
    every = (tests for fault in together for tests in _needed(circuit, fault, inner))
    return tuple(dict.fromkeys(every))


def proven(circuit: Circuit, faults: Sequence[Fault], made: Collection[str]) -> bool:
    """Whether the part itself has been tested, or all that is named together."""
    return all(tests.intersection(made) for tests in needed(circuit, *faults))


def suspected(belief: Belief, circuit: Circuit) -> frozenset[str]:
    """Tests of the part itself that are still to be made, once a part is all but found."""
    if belief.site is None or belief.odds < SURE:
        return frozenset()
    together = accused(belief, circuit)
    if not together or not nameable(circuit, together):
        return frozenset()
    left = [tests for tests in needed(circuit, *together) if not tests.intersection(belief.made)]
    return frozenset().union(*left) & frozenset(belief.table.tests)


def _needed(circuit: Circuit, fault: Fault, inner: set[str]) -> tuple[frozenset[str], ...]:
    tests = circuit.tests
    if not fault.part:
        against = frozenset(name for name, test in tests.items() if test.second_meter)
        return (against if isinstance(fault.mode, modes.Misreads) else frozenset(),)
    if getattr(fault.mode, "blames", ""):
        return (frozenset(),)  # no test of the part tells of what it blames
    watched = frozenset(name for name, test in tests.items() if _watches(circuit, test, fault.part))
    if isinstance(fault.mode, _TOUCHES):
        return _apart(circuit, fault)
    probed = tuple(
        frozenset(name for name, test in tests.items() if node in _reached(circuit, test, fault))
        for node in _terminals(circuit, fault)
        if node not in inner
    )
    return (watched, *filter(None, probed)) if watched else probed


def _apart(circuit: Circuit, fault: Fault) -> tuple[frozenset[str], ...]:
    """Of what touches something: the tests in which nothing else hangs on it."""
    part, tests = circuit.parts[fault.part], circuit.tests
    if not isinstance(part, Connector):
        nodes = set(part.nodes(fault.part))
        alone = (n for n, t in tests.items()
                 if (nodes & _reached(circuit, t) and _isolated(circuit, t, nodes))
                 or (t.measures == "resistance" and nodes & _unfed(circuit, t)))  # fmt: skip
        return (frozenset(alone),)
    pair = set(part.pins[fault.mode.at or next(iter(part.pins))])  # type: ignore[union-attr]
    here = {name: _plugged(circuit, test, fault.part) for name, test in tests.items()
            if pair & _reached(circuit, test)}  # fmt: skip
    apart, together = (
        frozenset(name for name, plugged in here.items() if plugged == mated)
        for mated in (False, True)
    )
    return (apart, together) if together else (apart,)


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
    itself = (fault.part, getattr(fault.mode, "at", None)) if fault is not None else None
    for name, part in circuit.parts.items():
        if isinstance(part, Connector) and _plugged(circuit, test, name):
            for pin, pair in part.pins.items():
                if ends & set(pair) and (name, pin) != itself:
                    ends |= set(pair)
    return ends


def _unfed(circuit: Circuit, test: CircuitTest) -> set[str]:
    """What hangs on the far side of a fuse that is out and at which is measured."""
    settings, parts = circuit.conditions[test.condition], circuit.parts
    out = {n for n, part in parts.items() if isinstance(part, Fuse) and settings.get(n) == "blown"}
    found = {parts[name].between[1] for name in out} & {test.red}  # type: ignore[union-attr]
    lines = [p.between for n, p in parts.items() if isinstance(p, Switch | Wire) and n not in out]
    rails = {circuit.ground, circuit.supply}
    while near := {n for pair in lines if found & set(pair) for n in pair} - found - rails:
        found |= near
    return found


def _plugged(circuit: Circuit, test: CircuitTest, connector: str) -> bool:
    """Whether a connector is mated while the test is made."""
    return circuit.conditions[test.condition].get(connector) != "unplugged"


def _isolated(circuit: Circuit, test: CircuitTest, nodes: set[str]) -> bool:
    """Whether every connector at these nodes is unplugged while the test is made."""
    ends = [
        not _plugged(circuit, test, name)
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
