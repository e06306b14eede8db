"""The faults of a circuit: those that are written, that parts bring, of neighbours and meter."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from itertools import pairwise

from handsfree.circuit import faults as modes
from handsfree.circuit.elements import Part
from handsfree.circuit.faults import FaultMode
from handsfree.circuit.parts import Connector, Wire
from handsfree.circuit.usual import Usual, touches
from handsfree.circuit.values import Spread

_DEAD = "Lead in the right jack? Meter's fuse, leads and battery good? Then measure again."
_OFF = "Hold the meter against another one, or against a battery of known voltage."

METER: tuple[modes.Misreads, ...] = (
    modes.Misreads(
        grade="reads_low", gain=Spread(0.93, 0.86, 0.97, ""), odds=0.8,
        say="meter reads low", repair=_OFF,
    ),
    modes.Misreads(
        grade="reads_high", gain=Spread(1.07, 1.03, 1.14, ""), odds=0.8,
        say="meter reads high", repair=_OFF,
    ),
    modes.Misreads(
        grade="dead", gain=Spread(0, 0, 0, ""), odds=2,
        say="meter shows no voltage at all, in a wrong or blown jack", repair=_DEAD,
    ),
)  # fmt: skip
"""How the meter misleads.  Rates: common practice, no published source."""

_WORDS = {
    "high resistance": "resistance in series",
    "short to ground": "touches ground",
    "short to supply": "touches a supply wire",
    "short": "shorted",
    "weak": "voltage wrong",
    "stuck position": "reads one position whatever it is given",
    "worn segment": "worn",
}


def wording(mode: FaultMode) -> str:
    """How something is broken, in words: "touches ground, slightly"."""
    match mode:
        case modes.ShortTo():
            return f"touches {mode.other}"
        case modes.Stuck():
            return "stuck"
        case modes.WornSegment() if mode.grade:
            return f"worn from {mode.grade}"
        case modes.Weak() if mode.grade in ("low", "high"):
            return f"voltage too {mode.grade}"
        case modes.Weak() if mode.grade:
            return mode.grade
        case modes.Short() if mode.grade == "restless":
            return "takes too much while asleep"
        case modes.Drifted():
            return f"reads too {mode.grade}" if mode.grade else "has drifted"
        case modes.HighResistance() if mode.grade in ("worn", "worn brushes"):
            return mode.grade
    return _WORDS.get(mode.mode, mode.mode)


def merged(
    written: tuple[FaultMode, ...], usual: Usual, part: Part, rails: tuple[str, str]
) -> Iterator[FaultMode]:
    """The written faults, then the usual ones that none of them covers and that are possible.

    Args:
        written: in the plan.
        usual: that the part brings.
        part: it.
        rails: ground and supply; what touches its own rail is no fault.
    """
    yield from written
    ends = set(getattr(part, "between", ()))
    senseless = {m for m, rail in zip(("short to ground", "short to supply"), rails, strict=True)
                 if rail in ends}  # fmt: skip
    for mode in usual:
        if mode.mode not in senseless and not any(_covers(w, mode) for w in written):
            yield mode.model_copy(update={"odds": mode.odds * part.rate})


def _covers(written: FaultMode, usual: FaultMode) -> bool:
    """Whether a written fault stands for a usual one: same way, same place, same strength."""
    fields = ("mode", "at", "state", "other")
    if any(getattr(written, f, None) != getattr(usual, f, None) for f in fields):
        return False
    if not usual.grade:
        return True
    strengths = [
        (getattr(written, field, None), getattr(usual, field, None))
        for field in ("resistance", "voltage", "position", "start", "share")
    ]
    both = [(one, other) for one, other in strengths if one is not None and other is not None]
    return all(one.low <= other.nominal <= one.high for one, other in both)


def neighbours(parts: Mapping[str, Part]) -> dict[str, Usual]:
    """Wires that lie side by side from connector to connector may touch: by name of the first."""
    places: dict[str, tuple[str, int]] = {}
    for name, part in parts.items():
        if isinstance(part, Connector):
            for k, pair in enumerate(part.pins.values()):
                places |= dict.fromkeys(pair, (name, k))
    harnesses: dict[frozenset[str], list[tuple[int, str, Wire]]] = {}
    for name, part in parts.items():
        if isinstance(part, Wire) and all(node in places for node in part.between):
            ends = [places[node] for node in part.between]
            harness = frozenset(connector for connector, _ in ends)
            harnesses.setdefault(harness, []).append((ends[-1][1], name, part))
    found: dict[str, Usual] = {}
    for wires in harnesses.values():
        for (_, name, wire), (_, other, beside) in _beside(sorted(wires, key=lambda w: w[0])):
            say = f"{wire.say or name} touches {beside.say or other}"
            touch = touches(wire.between[1], beside.between[1], 0.4)
            found[name] = (
                *found.get(name, ()),
                *(mode.model_copy(update={"say": say}) for mode in touch),
                modes.Swapped(
                    mode="swapped",
                    other=other,
                    odds=0.15,
                    say=f"{wire.say or name} and {beside.say or other} swapped",
                ),
            )
    return found


def _beside(
    wires: list[tuple[int, str, Wire]],
) -> Iterable[tuple[tuple[int, str, Wire], tuple[int, str, Wire]]]:
    """Neighbours in a connector; of three, each lies beside each."""
    yield from pairwise(wires)
    if len(wires) == 3:
        yield wires[0], wires[2]
