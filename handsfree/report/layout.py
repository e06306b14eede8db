"""Where the parts of a described circuit are drawn.  Pure; no lengths, only places.

What is one to whoever replaces it is one box.  Nodes that wires and mated contacts join are one
line.  Boxes stand in columns, from the battery outwards; lines run from left to right between them.
Supply and ground are signs at the box, as in any wiring diagram, or every line would cross them.

Libraries that draw circuits want to be told where each part goes; those that find the place
themselves draw any graph, and need a program beside Python.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from handsfree.circuit import Circuit
from handsfree.circuit.parts import Connector, Wire


@dataclass(frozen=True, slots=True)
class Box:
    """A unit: one part, or several that are replaced together.

    Attributes:
        name: as it is spoken of.
        parts: names in the circuit.
        lines: numbers of the lines that it is on.
        column: from the left.
        supply, ground: whether it is on battery plus, or on battery minus, itself.
    """

    name: str
    parts: tuple[str, ...]
    lines: tuple[int, ...]
    column: int
    supply: bool
    ground: bool


@dataclass(frozen=True, slots=True)
class Length:
    """A wire in a line.

    Attributes:
        part: its name in the circuit.
        end: "supply" or "ground" if that is where it goes.
    """

    part: str
    end: str = ""


@dataclass(frozen=True, slots=True)
class JoinedNodes:
    """Nodes that are joined by wires and contacts.

    Attributes:
        nodes: of it.
        lengths: its wires, in their order from the left.
        contacts: connector and pin of each mated contact in it.
    """

    nodes: frozenset[str]
    lengths: tuple[Length, ...]
    contacts: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Layout:
    """The whole of it.

    Attributes:
        boxes: from left to right.
        lines: from top to bottom.
    """

    boxes: tuple[Box, ...]
    lines: tuple[JoinedNodes, ...]

    def line_of(self, node: str | None) -> int | None:
        """The number of the line that a node is in; None if it is in none."""
        return next((n for n, line in enumerate(self.lines) if node in line.nodes), None)


@dataclass
class _Draft:
    """A box before it has its place."""

    parts: list[str] = field(default_factory=list)
    nodes: set[str] = field(default_factory=set)


def layout(circuit: Circuit) -> Layout:
    """Where everything goes."""
    rails = {circuit.supply, circuit.ground}
    groups = _joined(circuit, rails)
    drafts = _drafts(circuit)
    order = _outwards(drafts, groups, rails)
    touched = {
        name: {groups[n] for n in drafts[name].nodes - rails if n in groups} for name in order
    }
    shown = [
        group
        for group in dict.fromkeys(g for name in order for g in sorted(touched[name]))
        if sum(group in touched[name] for name in order) > 1 or _has_wire(circuit, groups, group)
    ]
    lines = tuple(_line(circuit, groups, group, drafts, order) for group in shown)
    boxes: list[Box] = []
    for name in order:
        own = tuple(n for n, group in enumerate(shown) if group in touched[name])
        draft = drafts[name]
        column = _column(own, boxes)
        supply, ground = circuit.supply in draft.nodes, circuit.ground in draft.nodes
        boxes.append(Box(name, tuple(draft.parts), own, column, supply, ground))
    return Layout(tuple(boxes), lines)


def _joined(circuit: Circuit, rails: set[str]) -> dict[str, str]:
    """Each node to the name of the group of nodes that it is joined with; rails join nothing."""
    group = {node: node for node in circuit.nodes() if node not in rails}
    for a, b in _conductors(circuit):
        if a in group and b in group:
            old, new = group[b], group[a]
            group = {node: new if each == old else each for node, each in group.items()}
    return group


def _conductors(circuit: Circuit) -> Iterator[tuple[str, str]]:
    for part in circuit.parts.values():
        if isinstance(part, Wire):
            yield part.between
        elif isinstance(part, Connector):
            yield from part.pins.values()


def _drafts(circuit: Circuit) -> dict[str, _Draft]:
    found: dict[str, _Draft] = {}
    for name, part in circuit.parts.items():
        nodes = set(part.nodes(name))
        if isinstance(part, Wire | Connector) or not nodes:
            continue
        draft = found.setdefault(part.unit or part.say or name, _Draft())
        draft.parts.append(name)
        draft.nodes |= nodes
    return found


def _outwards(drafts: dict[str, _Draft], groups: dict[str, str], rails: set[str]) -> list[str]:
    """Names of the boxes, from those between the rails alone to the farthest."""
    places = {name: {groups[n] for n in d.nodes if n in groups} for name, d in drafts.items()}
    left = dict.fromkeys(drafts)
    order: list[str] = []
    while left:
        reached = {group for name in order for group in places[name]}
        supplied = [name for name in left if drafts[name].nodes & rails]
        chosen = next(
            (name for name in left if drafts[name].nodes >= rails and not order),
            next((name for name in left if places[name] & reached), next(iter(supplied or left))),
        )
        order.append(chosen)
        del left[chosen]
    return order


def _has_wire(circuit: Circuit, groups: dict[str, str], group: str) -> bool:
    wires = (part for part in circuit.parts.values() if isinstance(part, Wire))
    return any(groups.get(node) == group for part in wires for node in part.between)


def _line(
    circuit: Circuit,
    groups: dict[str, str],
    group: str,
    drafts: dict[str, _Draft],
    order: list[str],
) -> JoinedNodes:
    nodes = frozenset(node for node, each in groups.items() if each == group)
    ends = {circuit.supply: "supply", circuit.ground: "ground"}
    wires = {
        name: part.between
        for name, part in circuit.parts.items()
        if isinstance(part, Wire) and nodes & set(part.between)
    }
    contacts = tuple(
        (name, pin)
        for name, part in circuit.parts.items()
        if isinstance(part, Connector)
        for pin, pair in part.pins.items()
        if nodes & set(pair)
    )
    first = next(
        (drafts[name].nodes & nodes for name in order if drafts[name].nodes & nodes), set()
    )
    far = _distances(circuit, first or {min(nodes)}, nodes)
    ordered = sorted(wires, key=lambda name: sum(far.get(node, 99) for node in wires[name]))
    lengths = tuple(
        Length(name, next((ends[n] for n in wires[name] if n in ends), "")) for name in ordered
    )
    return JoinedNodes(nodes, lengths, contacts)


def _distances(circuit: Circuit, start: set[str], nodes: frozenset[str]) -> dict[str, int]:
    """How many wires and contacts each node of a line is from where the line begins."""
    far = dict.fromkeys(start, 0)
    pairs = list(_conductors(circuit))
    for step in range(1, len(nodes) + 1):
        edge = [n for n, d in far.items() if d == step - 1]
        for a, b in pairs:
            for here, there in ((a, b), (b, a)):
                if here in edge and there in nodes:
                    far.setdefault(there, step)
    return far


def _column(own: tuple[int, ...], placed: list[Box]) -> int:
    """The first column right of all boxes on the same lines in which the box has room."""
    if not own:  # between the rails alone: in the row above all lines
        return sum(not box.lines for box in placed)
    near = [box.column for box in placed if set(box.lines) & set(own)]
    column = max(near, default=-1) + 1
    while any(
        box.column == column
        and box.lines
        and min(box.lines) <= max(own)
        and min(own) <= max(box.lines)
        for box in placed
    ):
        column += 1
    return column
