"""What is asked of a circuit that is dead or taken apart: parts, wires and pins alone."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from handsfree.circuit.elements import Part
from handsfree.plan.derived.description import Description, Jumper, Module, Setting
from handsfree.plan.derived.enquiry import (
    Enquiry,
    every_pair,
    far_ends,
    open_to_probe,
    set_by,
    set_up,
    sides,
    slug,
    voltage,
)
from handsfree.plan.derived.settings import (
    ALONE,
    APART,
    dead,
    driving,
    plugged,
    settings,
    unplugged,
    working,
)
from handsfree.plan.derived.wiring import (
    MINUS,
    PLUS,
    device_side,
    ends_at,
    leads_to,
    owner,
    pin,
    probed,
    wire_side,
)


def behind_fuses(description: Description) -> Iterator[Enquiry]:
    """From the far side of a fuse that is out to ground: does what it feeds touch it?"""
    for known in settings(description).values():
        for place, reach in description.reach.items():
            if known.sets.get(place) != "blown" or (line := sides(description, place)) is None:
                continue
            test = {"measures": "resistance", "red": line[1], "black": MINUS,
                    "setups": [reach.by, known.by]}  # fmt: skip
            yield Enquiry(slug(place, "out"), "behind fuse", known.say, test, place=place, rank=5)


def dead_pairs(description: Description) -> Iterator[Enquiry]:
    """From one place that is reached to another, with the battery off: a wire, a terminator."""
    at = description.reach[probed(description)].at
    for known in settings(description).values():
        if not dead(description, known):
            continue
        for pair in description.pairs:
            own = [number for node in pair for number, here in at.items() if here == node]
            if len(own) == len(pair):
                continue  # asked at the connector itself
            places = [node for node in pair if node in description.reach]
            if not all(open_to_probe(description, known, node) for node in places):
                continue
            needs = [description.reach[place].by for place in (*places, probed(description))]
            test = {"measures": "resistance", "red": pair[0], "black": pair[1],
                    "setups": list(dict.fromkeys((*needs, *set_by(known))))}  # fmt: skip
            extra = {"ends": [description.reach[p].say for p in places]}
            yield Enquiry(slug(*pair, known.say), "dead pair", known.say, test, tuple(own), rank=6,
                          extra=extra)  # fmt: skip


def own_pins(description: Description) -> Iterator[Enquiry]:
    """What a module gives at its own pins, its connector unplugged and under power."""
    every, on = settings(description), working(description)
    if ALONE not in every:
        return
    for place in description.reach:
        unit = description.parts.get(place)
        if not isinstance(unit, Module):
            continue
        needs = (description.reach[place].by, "module unplugged")
        for end in ends_at(description, place):
            does, node = unit.pins.get(pin(end.name)), device_side(description, end.name)
            state = every[ALONE].sets.get(f"{place} pin {pin(end.name)}", does and does.drives)
            if does is None or state == "both" or does.reads in ("pulled down", "floating"):
                continue
            sinks = does.gives == "ground" or state == "low"
            leads = (PLUS, node) if sinks else (node, MINUS)
            name = slug(place, "own pin", pin(end.name))
            found = voltage(name, "own pin", ALONE, *leads, needs, 5, place)
            driven = driving(description) if does.drives == "both" else None
            extra = {"pin": pin(end.name), "sinks": sinks, "while": (driven or on).say}
            yield replace(found, extra=extra)


def parts_alone(description: Description, setting: Setting) -> Iterator[Enquiry]:
    """Resistances of what hangs on the connector, unplugged, or of a dead circuit as it is."""
    here = probed(description)
    is_dead = dead(description, setting)
    if setting.say in (APART, ALONE) or not (is_dead or not plugged(setting, here)):
        return
    if description.reach[here].at and not is_dead:
        return
    say = "" if setting.say == unplugged(description) else setting.say
    if say and not is_dead and not _alters(description, setting):
        return
    needs = list(set_up(description, setting, here))
    ends = [e for e in ends_at(description, here)
            if not is_dead or leads_to(description, e.other) != PLUS]  # fmt: skip
    for one, other in every_pair(description, ends):
        a, b = pin(one.name), pin(other.name)
        red, black = (device_side(description, e.name) for e in (one, other))
        if not is_dead and {red, black} & _electronics(description):
            continue
        test = {"measures": "resistance", "red": red, "black": black, "setups": needs}
        yield Enquiry(slug("pin", a, "to", b, say), "circuit" if is_dead else "part", setting.say,
                      test, (a, b), here, rank=5)  # fmt: skip


def _alters(description: Description, setting: Setting) -> bool:
    """Whether a setting does more to parts than to unplug them or join a lamp to their wires."""
    usual = settings(description)[unplugged(description)].sets.items()
    altered = (description.parts.get(name) for name, _ in setting.sets.items() - usual)
    return any(part is not None and not isinstance(part, Jumper) for part in altered)


def _electronics(description: Description) -> set[str]:
    """Nodes on which no ohmmeter is put: what hangs on them is no plain resistance."""
    return {
        node
        for name, part in description.parts.items()
        if isinstance(part, Part) and part.electronic
        for branch in part.branches(name)
        for node in (branch.a, branch.b)
    }


def wires_alone(description: Description) -> Iterator[Enquiry]:
    """Resistances of each wire with both ends off."""
    here = probed(description)
    if APART not in settings(description):
        return
    for end in ends_at(description, here):
        needs = [description.reach[here].by, *far_ends(description, [end]), "unplugged"]
        needs.append("module unplugged")
        name, wires = end.strand.name, (pin(end.name),)
        node, start = wire_side(description, end.name), wire_side(description, end.other)
        test = {"measures": "resistance", "red": node, "black": MINUS, "setups": needs}
        if leads_to(description, end.other) is None:
            yield Enquiry(slug(name, "to ground"), "to ground", APART, test, wires, here,
                          rank=6)  # fmt: skip
            leak = {"measures": "voltage", "red": PLUS, "black": node, "setups": needs}
            yield Enquiry(slug(name, "against plus"), "leak", APART, leak, wires, here,
                          rank=6)  # fmt: skip
        far = description.reach.get(owner(description, end.other) or "")
        if far is not None:
            test = {**test, "black": start}
            extra = {"far": far, "pin": pin(end.other)}
            yield Enquiry(slug(name, "end to end"), "end to end", APART, test, wires, here,
                          rank=7, extra=extra)  # fmt: skip
            fed = {"measures": "voltage", "red": start, "black": node, "loaded": True,
                   "setups": [*needs, "test lamp fitted"]}  # fmt: skip
            yield Enquiry(slug(name, "under load"), "loaded", APART, fed, wires, here, rank=8,
                          extra=extra)  # fmt: skip
