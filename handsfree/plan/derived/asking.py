"""Which tests a description allows: what each connects, under which setting, at what cost."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations
from typing import Any

from handsfree.circuit.parts import Coil, Connector, Heater, Lamp, Motor, Relay, Thermistor
from handsfree.circuit.parts.two_terminal import TwoTerminal
from handsfree.plan.derived.description import Description, Module, Setting, Strand
from handsfree.plan.derived.settings import (
    ALONE,
    APART,
    REST,
    dead,
    driving,
    live,
    plugged,
    settings,
    unplugged,
    working,
)
from handsfree.plan.derived.wiring import (
    MINUS,
    PLUS,
    Data,
    End,
    device_side,
    ends_at,
    leads_to,
    module_pin,
    owner,
    parts,
    pin,
    probed,
    thick,
    wire_name,
    wire_side,
)
from handsfree.plan.schema import NO_OHMMETER

_RAILS = {"plus": "supply", "minus": "earth"}
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


def questions(description: Description) -> Iterator[Enquiry]:
    """Every test that the pins, settings and parts allow, whether it tells anything or not."""
    on = working(description).say
    for number, ask in enumerate(description.checks, 1):
        name, setting = ask.id or f"check_{number}", ask.setting or REST
        yield Enquiry(name, "check", setting, {}, extra={"ask": ask})
    yield _volts("battery_voltage", "battery", REST, PLUS, MINUS, (), 0)
    other = _volts("second_meter", "second meter", REST, PLUS, MINUS, (), 4)
    yield replace(other, test={**other.test, "second_meter": True})
    for setting, known in settings(description).items():
        yield from _temperatures(description, known)
        if setting not in (REST, APART, ALONE, unplugged(description)) and live(description, known):
            name = slug("battery", setting)
            yield _volts(name, "battery", setting, PLUS, MINUS, _by(known), 1)
    yield from _looks(description)
    for setting, known in settings(description).items():
        if setting not in (REST, APART):
            yield from _in_setting(description, known)
        yield from _currents(description, known)
        if description.circuit_class not in NO_OHMMETER:
            yield from _parts(description, known)
    for name, part in description.parts.items():
        if isinstance(part, Module) and name in description.reach:
            needs = (description.reach[name].by,)
            for rail, word in _RAILS.items():
                extra = {"rail": word, "unit": part.say or name}
                found = _volts(slug(name, rail), "rail", on, f"{name} {rail}", MINUS, needs, 3)
                yield replace(found, extra=extra)
    yield from _own_pins(description)
    if description.circuit_class not in NO_OHMMETER:
        yield from _dead_pairs(description)
        yield from _behind_fuses(description)
    if description.circuit_class not in NO_OHMMETER:
        yield from _wires(description)


def _by(setting: Setting) -> tuple[str, ...]:
    return (setting.by,) if setting.by else ()


def _needs(description: Description, setting: Setting, place: str) -> tuple[str, ...]:
    """What must be done to probe a place under a setting."""
    off = () if plugged(setting, place) or setting.by else ("unplugged",)
    return (description.reach[place].by, *_by(setting), *off)


def _temperatures(description: Description, setting: Setting) -> Iterator[Enquiry]:
    """A thermistor's reading means nothing without its temperature."""
    if setting.say != REST and not live(description, setting):
        return
    for name, value in setting.sets.items():
        own = setting.say == REST or value != description.usual.get(name)
        if own and isinstance(description.parts.get(name), Thermistor):
            extra = {"temperature": value}
            yield Enquiry(
                slug(name, "temperature", "" if setting.say == REST else setting.say),
                "temperature", setting.say, {}, part=name, rank=1, extra=extra,
            )  # fmt: skip


def _looks(description: Description) -> Iterator[Enquiry]:
    reached = description.reach[probed(description)].by
    for look in description.looks:
        setting = look.setting or working(description).say
        known = settings(description)[setting]
        needs = [*_by(known), *([look.by] if look.by else [])]
        name = look.id or slug(look.part, setting)
        extra = {"ask": look}
        test: Data = {"minutes": str(look.minutes), "setups": list(dict.fromkeys(needs))}
        if (reads := module_pin(description, look.part)) is not None:
            unit, number = reads
            test |= {"measures": "voltage", "red": f"{unit} pin {number} inside",
                     "black": f"{unit} minus"}  # fmt: skip
            yield Enquiry(name, "live value", setting, test, part=look.part, rank=2, extra=extra)
            continue
        test |= {"observes": look.part, "answers": list(look.answers), "by_hand": look.by_hand}
        test["setups"] = list(dict.fromkeys([reached, *needs]))
        yield Enquiry(name, "look", setting, test, part=look.part, rank=1, extra=extra)


def _in_setting(description: Description, setting: Setting) -> Iterator[Enquiry]:
    """What is read with the circuit under power, or as far as it is."""
    say = setting.say
    if dead(description, setting) or not live(description, setting):
        return
    base = say in (ALONE, unplugged(description))
    for place, reach in description.reach.items():
        ends = ends_at(description, place)
        if ends and not _is_module(description, place):
            yield from _at_connector(description, setting, place, ends)
        elif ends and not base and plugged(setting, place):
            needs = _needs(description, setting, place)
            for end in ends:
                if _reverses(description, end.strand, setting):
                    yield _at_pin(description, setting, end, place, say, needs)
        elif base or _is_module(description, place):
            continue
        elif (between := _line(description, place)) is not None:
            (red, black), needs = between, (reach.by, *_by(setting))
            name = slug(place, "drop", say)
            yield _volts(name, "drop across", say, red, black, needs, 3, place)
        elif _open_to_probe(description, setting, place):
            needs = (reach.by, *_by(setting))
            yield _volts(slug(place, say), "node", say, place, MINUS, needs, 3, place)


def _line(description: Description, place: str) -> tuple[str, str] | None:
    """The two sides of a part of a line that is reached, such as a module's fuse."""
    part = description.parts.get(place)
    if isinstance(part, TwoTerminal):
        return part.between
    made = None if part is not None else parts(description).get(place)
    return tuple(made["between"]) if made is not None and "between" in made else None


def _open_to_probe(description: Description, setting: Setting, node: str) -> bool:
    """Whether a node can be reached: the pins of a part behind its plug only if that is off."""
    return not any(
        setting.sets.get(name) != "unplugged"
        for name, part in description.parts.items()
        if isinstance(part, Connector) and any(node == pair[1] for pair in part.pins.values())
    )


def _behind_fuses(description: Description) -> Iterator[Enquiry]:
    """From the far side of a fuse that is out to ground: does what it feeds touch it?"""
    for known in settings(description).values():
        for place, reach in description.reach.items():
            if known.sets.get(place) != "blown" or (line := _line(description, place)) is None:
                continue
            test = {"measures": "resistance", "red": line[1], "black": MINUS,
                    "setups": [reach.by, known.by]}  # fmt: skip
            yield Enquiry(slug(place, "out"), "behind fuse", known.say, test, place=place, rank=5)


def _dead_pairs(description: Description) -> Iterator[Enquiry]:
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
            if not all(_open_to_probe(description, known, node) for node in places):
                continue
            needs = [description.reach[place].by for place in (*places, probed(description))]
            test = {"measures": "resistance", "red": pair[0], "black": pair[1],
                    "setups": list(dict.fromkeys((*needs, *_by(known))))}  # fmt: skip
            extra = {"ends": [description.reach[p].say for p in places]}
            yield Enquiry(slug(*pair, known.say), "dead pair", known.say, test, tuple(own), rank=6,
                          extra=extra)  # fmt: skip


def _own_pins(description: Description) -> Iterator[Enquiry]:
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
            found = _volts(name, "own pin", ALONE, *leads, needs, 5, place)
            driven = driving(description) if does.drives == "both" else None
            extra = {"pin": pin(end.name), "sinks": sinks, "while": (driven or on).say}
            yield replace(found, extra=extra)


def _at_connector(
    description: Description, setting: Setting, place: str, ends: list[End]
) -> Iterator[Enquiry]:
    """Every wire at one connector, and what lies between two of them."""
    say, here = setting.say, probed(description)
    base = say in (ALONE, unplugged(description))
    if place != here and (base or not plugged(setting, place)):
        return
    needs = _needs(description, setting, place)
    if say == ALONE:
        ends = [end for end in ends if leads_to(description, end.other) is None]
        needs = (*needs, *_far(description, ends), "module unplugged")
    short = "unplugged" if say == unplugged(description) else say
    for end in ends:
        post = device_side(description, end.name) in (PLUS, MINUS)
        if not post and (say == ALONE or not _idle(description, end.strand, setting)):
            yield _at_pin(description, setting, end, place, short, needs)
    if plugged(setting, place):
        yield from _across(description, setting, place, ends, needs)


def _at_pin(
    description: Description, setting: Setting, end: End, place: str, short: str,
    needs: tuple[str, ...],
) -> Enquiry:  # fmt: skip
    """One wire at one connector, against battery minus or, where much flows, the battery."""
    strand, here = end.strand, place == probed(description)
    node, black = wire_side(description, end.name), _ground(description, end)
    name = slug(strand.name, *([] if here else ["at", place]), short)
    wires = (pin(end.name),) if here else ()

    def volts(kind: str, red: str, black: str, rank: int = 2, **more: Any) -> Enquiry:
        found = _volts(name, kind, setting.say, red, black, needs, rank, place, more)
        return replace(found, wires=wires, extra={"wire": strand})

    if not plugged(setting, place):
        return volts("harness", node, black, 6 if setting.say == ALONE else 4)
    if _reverses(description, strand, setting):
        supply = float(description.supply.m_as("V"))
        words = {"battery": f"{0.75 * supply:g} V to {1.35 * supply:g} V",
                 "ground": "-0.5 V to 0.5 V"}  # fmt: skip
        reads_as = {"dead": "ground", "open": "ground"}
        return volts("drive", node, black, words=words, reads_as=reads_as)
    rail = leads_to(description, end.other) if thick(strand) else None
    if description.ground_pin is not None or rail is None:
        return volts("voltage", node, black)
    return volts("feed", PLUS, node) if rail == PLUS else volts("return", node, MINUS)


def _across(
    description: Description, setting: Setting, place: str, ends: list[End],
    needs: tuple[str, ...],
) -> Iterator[Enquiry]:  # fmt: skip
    """Between two pins that a consumer or a contact joins, or between a pair of signals."""
    joined = {frozenset(pair) for pair in (*description.pairs, *_joined(description))}
    here = place == probed(description)
    for one, other in _pairs(description, ends):
        nodes = frozenset(device_side(description, e.name) for e in (one, other))
        if nodes not in joined:
            continue
        red, black = (wire_side(description, e.name) for e in (one, other))
        pins = (pin(one.name), pin(other.name))
        words = ["across", *pins] if here else ["across", place]
        found = _volts(
            slug(*words, setting.say), "across", setting.say, red, black, needs, 2, place
        )
        wires = pins if here else ()
        yield replace(found, wires=wires, extra={"wire": one.strand, "other": other.strand})


def _joined(description: Description) -> set[tuple[str, ...]]:
    """Pairs of nodes that a consumer or a contact joins, in its own order."""
    return {
        pair
        for name, part in description.parts.items()
        if isinstance(part, _CONSUMERS)
        for pair in (*((b.a, b.b) for b in part.branches(name)), getattr(part, "between", ()))
    }


def _pairs(description: Description, ends: list[End]) -> Iterator[tuple[End, End]]:
    """Each two ends, in the order of the consumer between them: red lead, black lead."""
    joined = {*description.pairs, *_joined(description)}
    for one, other in combinations(ends, 2):
        nodes = tuple(device_side(description, end.name) for end in (other, one))
        yield (other, one) if nodes in joined else (one, other)


def _currents(description: Description, setting: Setting) -> Iterator[Enquiry]:
    """The current of a wire, with a clamp or the meter in series."""
    if setting.say in (APART, ALONE) or dead(description, setting):
        return
    if "blown" in setting.sets.values():
        return
    for strand in description.loom:
        if strand.current is None or setting.say == REST:
            continue
        place = owner(description, strand.to) or ""
        if not plugged(setting, place):
            continue
        clamp = strand.current == "clamp"
        needs = [description.reach[place].by, *_by(setting)]
        needs += [] if clamp else ["meter in series"]
        test = {"measures": "current", "through": wire_name(strand), "clamp": clamp,
                "setups": list(dict.fromkeys(needs))}  # fmt: skip
        yield Enquiry(
            slug(strand.name, "current", setting.say), "current", setting.say, test,
            (pin(strand.to),), place, rank=3, extra={"clamp": clamp, "wire": strand},
        )  # fmt: skip


def _parts(description: Description, setting: Setting) -> Iterator[Enquiry]:
    """Resistances of what hangs on the connector, unplugged, or of a dead circuit as it is."""
    here = probed(description)
    is_dead = dead(description, setting)
    if setting.say in (APART, ALONE) or not (is_dead or not plugged(setting, here)):
        return
    if description.reach[here].at and not is_dead:
        return
    say = "" if setting.say == unplugged(description) else setting.say
    needs = list(_needs(description, setting, here))
    ends = [e for e in ends_at(description, here)
            if not is_dead or leads_to(description, e.other) != PLUS]  # fmt: skip
    for one, other in _pairs(description, ends):
        a, b = pin(one.name), pin(other.name)
        red, black = (device_side(description, e.name) for e in (one, other))
        test = {"measures": "resistance", "red": red, "black": black, "setups": needs}
        yield Enquiry(slug("pin", a, "to", b, say), "circuit" if is_dead else "part", setting.say,
                      test, (a, b), here, rank=5)  # fmt: skip


def _wires(description: Description) -> Iterator[Enquiry]:
    """Resistances of each wire with both ends off."""
    here = probed(description)
    if APART not in settings(description):
        return
    for end in ends_at(description, here):
        needs = [description.reach[here].by, *_far(description, [end]), "unplugged"]
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


def _far(description: Description, ends: list[End]) -> tuple[str, ...]:
    """What must be done to get at the far ends of wires."""
    far = {owner(description, end.other) for end in ends}
    return tuple(reach.by for c, reach in description.reach.items() if c in far)


def _volts(
    name: str, kind: str, setting: str, red: str, black: str, needs: Sequence[str], rank: int,
    place: str = "", more: Data | None = None,
) -> Enquiry:  # fmt: skip
    test = {"measures": "voltage", "red": red, "black": black,
            "setups": list(dict.fromkeys(needs)), **(more or {})}  # fmt: skip
    return Enquiry(name, kind, setting, test, place=place, rank=rank)


def _ground(description: Description, end: End) -> str:
    """Node against which a pin is read: battery minus, or the ground pin of a socket."""
    at = description.reach[probed(description)].at
    number = description.ground_pin
    return at[number] if number is not None and pin(end.name) != number else MINUS


def _driver(description: Description, strand: Strand) -> str | None:
    """The output that drives a wire for some seconds, one way or the other, if one does."""
    unit, number = module_pin(description, strand.start) or ("", "")
    part = description.parts.get(unit)
    both = isinstance(part, Module) and part.pins[number].drives == "both"
    return f"{unit} pin {number}" if both else None


def _reverses(description: Description, strand: Strand, setting: Setting) -> bool:
    return _driver(description, strand) in setting.sets


def _idle(description: Description, strand: Strand, setting: Setting) -> bool:
    """Whether a wire hangs between outputs that are off, so that nothing is to be read on it."""
    driver = _driver(description, strand)
    return driver is not None and driver not in setting.sets


def _is_module(description: Description, connector: str) -> bool:
    return isinstance(description.parts.get(connector), Module)
