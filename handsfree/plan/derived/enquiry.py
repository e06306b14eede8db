"""A test before it is put in words, and where its leads can be held."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import combinations

from handsfree.circuit.parts import Coil, Connector, Heater, Lamp, Motor, Relay
from handsfree.circuit.parts.two_terminal import TwoTerminal
from handsfree.plan.derived.description import Description, Module, Setting
from handsfree.plan.derived.settings import plugged
from handsfree.plan.derived.wiring import (
    MINUS,
    Data,
    End,
    device_side,
    owner,
    parts,
    pin,
    probed,
)

_CONSUMERS = (Coil, Heater, Lamp, Motor, Relay)


@dataclass(frozen=True)
class Enquiry:
    """A test before it is put in words.

    Attributes:
        id: of the step.
        kind: what sort of test.
        setting: as it is spoken.
        test: what it connects, as `CircuitTest` has it; empty if no circuit answers it.
        wires: pins of the connector that are probed.
        place: connector, part or node at which is probed.
        part: that is watched.
        rank: place in the order among tests of the same cost.
        extra: what its words need besides.
    """

    id: str
    kind: str
    setting: str
    test: Data
    wires: tuple[str, ...] = ()
    place: str = ""
    part: str = ""
    rank: int = 0
    extra: Data = field(default_factory=dict)


def slug(*words: str) -> str:
    """An id from words."""
    return re.sub(r"[^a-z0-9]+", "_", " ".join(words).lower()).strip("_")


def set_by(setting: Setting) -> tuple[str, ...]:
    """What must be done once for a setting."""
    return (setting.by,) if setting.by else ()


def set_up(description: Description, setting: Setting, place: str) -> tuple[str, ...]:
    """What must be done to probe a place under a setting."""
    off = () if plugged(setting, place) or setting.by else ("unplugged",)
    return (description.reach[place].by, *set_by(setting), *off)


def sides(description: Description, place: str) -> tuple[str, str] | None:
    """The two sides of a part of a line that is reached, such as a module's fuse."""
    part = description.parts.get(place)
    if isinstance(part, TwoTerminal):
        return part.between
    made = None if part is not None else parts(description).get(place)
    return tuple(made["between"]) if made is not None and "between" in made else None


def open_to_probe(description: Description, setting: Setting, node: str) -> bool:
    """Whether a node can be reached: the pins of a part behind its plug only if that is off."""
    return not any(
        setting.sets.get(name) != "unplugged"
        for name, part in description.parts.items()
        if isinstance(part, Connector) and any(node == pair[1] for pair in part.pins.values())
    )


def joined_pairs(description: Description) -> set[tuple[str, ...]]:
    """Pairs of nodes that a consumer or a contact joins, in its own order."""
    return {
        pair
        for name, part in description.parts.items()
        if isinstance(part, _CONSUMERS)
        for pair in (*((b.a, b.b) for b in part.branches(name)), getattr(part, "between", ()))
    }


def every_pair(description: Description, ends: list[End]) -> Iterator[tuple[End, End]]:
    """Each two ends, in the order of the consumer between them: red lead, black lead."""
    joined = {*description.pairs, *joined_pairs(description)}
    for one, other in combinations(ends, 2):
        nodes = tuple(device_side(description, end.name) for end in (other, one))
        yield (other, one) if nodes in joined else (one, other)


def far_ends(description: Description, ends: list[End]) -> tuple[str, ...]:
    """What must be done to get at the far ends of wires."""
    far = {owner(description, end.other) for end in ends}
    return tuple(reach.by for c, reach in description.reach.items() if c in far)


def voltage(
    name: str, kind: str, setting: str, red: str, black: str, needs: Sequence[str], rank: int,
    place: str = "", more: Data | None = None,
) -> Enquiry:  # fmt: skip
    """A voltage between two nodes under a setting."""
    test = {"measures": "voltage", "red": red, "black": black,
            "setups": list(dict.fromkeys(needs)), **(more or {})}  # fmt: skip
    return Enquiry(name, kind, setting, test, place=place, rank=rank)


def ground_of(description: Description, end: End) -> str:
    """Node against which a pin is read: battery minus, or the ground pin of a socket."""
    at = description.reach[probed(description)].at
    number = description.ground_pin
    return at[number] if number is not None and pin(end.name) != number else MINUS


def is_module(description: Description, connector: str) -> bool:
    """Whether a connector is a module's."""
    return isinstance(description.parts.get(connector), Module)
