"""Which tests a description allows: what each connects, under which setting, at what cost."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field

from handsfree.plan.derived.description import Description, Module, Setting
from handsfree.plan.derived.wiring import (
    IGNITION,
    MINUS,
    PLUS,
    Data,
    connectors,
    owner,
    pin,
    wire_side,
)

REST, ON, UNPLUGGED, APART = "everything off", "ignition on", "connector unplugged", "both ends off"
"""Settings that every plan has, as they are spoken."""

_RAILS = {"plus": "supply", "minus": "earth"}


@dataclass(frozen=True)
class Enquiry:
    """A test before it is put in words.

    Attributes:
        id: of the step.
        kind: what sort of test.
        setting: as it is spoken.
        test: what it connects, as `CircuitTest` has it.
        wires: pins of the connector that are probed.
        place: connector at which is probed.
        part: that is watched.
        rank: place in the order among tests of the same cost.
    """

    id: str
    kind: str
    setting: str
    test: Data
    wires: tuple[int, ...] = ()
    place: str = ""
    part: str = ""
    rank: int = 0
    extra: Data = field(default_factory=dict)


def slug(*words: str) -> str:
    """An id from words."""
    return re.sub(r"[^a-z0-9]+", "_", " ".join(words).lower()).strip("_")


def probed(description: Description) -> str:
    """The connector at which is probed: the first that can be reached and is no module's."""
    return next(c for c in description.reach if not _is_module(description, c))


def settings(description: Description) -> dict[str, Setting]:
    """Every setting, by its words."""
    here = probed(description)
    on = {IGNITION: "closed"} if _has_ignition(description) else {}
    every = [f"{c} connector" for c in connectors(description)]
    found = {
        REST: Setting(say=REST, names=("all off",), sets=dict(description.usual)),
        ON: Setting(say=ON, names=("key on", "key on engine off"),
                    sets={**description.usual, **on}),
    }  # fmt: skip
    for one in description.settings:
        found[one.say] = one.model_copy(update={"sets": {**description.usual, **on, **one.sets}})
    found[UNPLUGGED] = Setting(
        say=UNPLUGGED, names=("unplugged",),
        sets={**description.usual, **on, f"{here} connector": "unplugged"},
    )  # fmt: skip
    apart = {**description.usual, **dict.fromkeys(every, "unplugged")}
    found[APART] = Setting(say=APART, names=("all unplugged",), sets=apart)
    return found


def setups(description: Description) -> Data:
    """What must be done once, and what it costs."""
    found: Data = {
        reach.by: {"minutes": str(reach.minutes)} for reach in description.reach.values()
    }
    needed = [one.by for one in description.settings] + [one.by for one in description.looks]
    for by in filter(None, needed):
        found.setdefault(by, {"minutes": "1 min", "undo": "1 min"})
    found["unplugged"] = {"minutes": "1 min", "undo": "1 min"}
    found["module unplugged"] = {"minutes": "1 min", "undo": "1 min"}
    return found


def questions(description: Description) -> Iterator[Enquiry]:
    """Every test that the pins, settings and parts allow, whether it tells anything or not."""
    here = probed(description)
    known = settings(description)
    reached = [description.reach[here].by]
    yield _volts("battery_voltage", REST, PLUS, [], 0)
    for look in description.looks:
        setting = look.setting or ON
        needs = [*reached, *([look.by] if look.by else [])]
        test = {"observes": look.part, "answers": list(look.answers), "by_hand": look.by_hand,
                "minutes": str(look.minutes), "setups": needs}  # fmt: skip
        yield Enquiry(slug(look.part, setting), "look", setting, test, part=look.part, rank=1,
                       extra={"ask": look.ask, "caution": look.caution})  # fmt: skip
    strands = [s for s in description.loom if owner(description, s.to) == here]
    for setting in [ON, *(one.say for one in description.settings)]:
        needs = [*reached, *([by] if (by := known[setting].by) else [])]
        for strand in strands:
            node = wire_side(description, strand.to)
            yield _volts(slug(strand.name, setting), setting, node, needs, 2, strand.to, here)
    for name, part in description.parts.items():
        if isinstance(part, Module) and name in description.reach:
            needs = [description.reach[name].by]
            for rail in _RAILS:
                extra = {"rail": _RAILS[rail], "unit": part.say or name}
                yield _volts(slug(name, rail), ON, f"{name} {rail}", needs, 3, extra=extra)
    for strand in strands:
        node = wire_side(description, strand.to)
        needs = [*reached, "unplugged"]
        yield _volts(slug(strand.name, "unplugged"), UNPLUGGED, node, needs, 4, strand.to, here)
    if description.circuit_class in ("airbag", "high_voltage"):
        return
    yield from _ohms(description, here, reached)


def _ohms(description: Description, here: str, reached: list[str]) -> Iterator[Enquiry]:
    """Resistances: of what hangs on the connector, then of each wire with both ends off."""
    strands = [s for s in description.loom if owner(description, s.to) == here]
    pins = [pin(s.to) for s in strands]
    for k, one in enumerate(pins):
        for other in pins[k + 1 :]:
            test = {"measures": "resistance", "red": f"{here} {one}", "black": f"{here} {other}",
                    "setups": [*reached, "unplugged"]}  # fmt: skip
            yield Enquiry(slug("pin", one, "to", other), "part", UNPLUGGED, test,
                           (int(one), int(other)), here, rank=5)  # fmt: skip
    far = {c for s in strands if (c := owner(description, s.start)) in description.reach}
    apart = [
        *reached,
        *(description.reach[c].by for c in far if c),
        "unplugged",
        "module unplugged",
    ]
    for strand in strands:
        node, start = wire_side(description, strand.to), wire_side(description, strand.start)
        test = {"measures": "resistance", "red": node, "black": MINUS, "setups": apart}
        yield Enquiry(slug(strand.name, "to ground"), "to ground", APART, test,
                       (int(pin(strand.to)),), here, rank=6)  # fmt: skip
        far_end = description.reach.get(owner(description, strand.start) or "")
        if far_end is not None:
            test = {"measures": "resistance", "red": node, "black": start, "setups": apart}
            extra = {"far": far_end.say, "pin": pin(strand.start)}
            wires = (int(pin(strand.to)),)
            yield Enquiry(
                slug(strand.name, "end to end"), "end to end", APART, test, wires, here, rank=7,
                extra=extra,
            )  # fmt: skip


def _volts(
    name: str, setting: str, red: str, needs: list[str], rank: int, end: str = "", place: str = "",
    extra: Data | None = None,
) -> Enquiry:  # fmt: skip
    test = {"measures": "voltage", "red": red, "black": MINUS, "setups": needs}
    wires = (int(pin(end)),) if end else ()
    return Enquiry(name, "voltage", setting, test, wires, place, rank=rank, extra=extra or {})


def _is_module(description: Description, connector: str) -> bool:
    return isinstance(description.parts.get(connector), Module)


def _has_ignition(description: Description) -> bool:
    switched = (p.switched_by for p in description.parts.values() if isinstance(p, Module))
    return IGNITION in description.parts or IGNITION in switched
