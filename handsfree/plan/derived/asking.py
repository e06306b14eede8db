"""Which tests a description allows: what each connects, under which setting, at what cost."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from handsfree.circuit.parts import Thermistor
from handsfree.plan.derived import apart
from handsfree.plan.derived.description import Description, Module, Setting, Strand
from handsfree.plan.derived.enquiry import (
    Enquiry,
    every_pair,
    far_ends,
    ground_of,
    is_module,
    joined_pairs,
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
    REST,
    dead,
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
    pin,
    probed,
    thick,
    wire_name,
    wire_side,
)
from handsfree.plan.schema import NO_OHMMETER

_RAILS = {"plus": "supply", "minus": "earth"}


def questions(description: Description) -> Iterator[Enquiry]:
    """Every test that the pins, settings and parts allow, whether it tells anything or not."""
    on = working(description).say
    for number, ask in enumerate(description.checks, 1):
        name, setting = ask.id or f"check_{number}", ask.setting or REST
        yield Enquiry(name, "check", setting, {}, extra={"ask": ask})
    yield voltage("battery_voltage", "battery", REST, PLUS, MINUS, (), 0)
    other = voltage("second_meter", "second meter", REST, PLUS, MINUS, (), 4)
    yield replace(other, test={**other.test, "second_meter": True})
    for setting, known in settings(description).items():
        yield from _temperatures(description, known)
        if setting not in (REST, APART, ALONE, unplugged(description)) and live(description, known):
            name = slug("battery", setting)
            yield voltage(name, "battery", setting, PLUS, MINUS, set_by(known), 1)
    yield from _looks(description)
    for setting, known in settings(description).items():
        if setting not in (REST, APART):
            yield from _in_setting(description, known)
        yield from _currents(description, known)
        if description.circuit_class not in NO_OHMMETER:
            yield from apart.parts_alone(description, known)
    for name, part in description.parts.items():
        if isinstance(part, Module) and name in description.reach:
            needs = (description.reach[name].by,)
            for rail, word in _RAILS.items():
                extra = {"rail": word, "unit": part.say or name}
                found = voltage(slug(name, rail), "rail", on, f"{name} {rail}", MINUS, needs, 3)
                yield replace(found, extra=extra)
    if description.circuit_class not in NO_OHMMETER:
        yield from apart.own_pins(description)  # no module of these is unplugged under power
        yield from apart.dead_pairs(description)
        yield from apart.behind_fuses(description)
        yield from apart.wires_alone(description)


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
        needs = [*set_by(known), *([look.by] if look.by else [])]
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
        if ends and not is_module(description, place):
            yield from _at_connector(description, setting, place, ends)
        elif ends and not base and plugged(setting, place):
            needs = set_up(description, setting, place)
            for end in ends:
                if _reverses(description, end.strand, setting):
                    yield _at_pin(description, setting, end, place, say, needs)
        elif base or is_module(description, place):
            continue
        elif (between := sides(description, place)) is not None:
            (red, black), needs = between, (reach.by, *set_by(setting))
            name = slug(place, "drop", say)
            yield voltage(name, "drop across", say, red, black, needs, 3, place)
        elif open_to_probe(description, setting, place):
            needs = (reach.by, *set_by(setting))
            yield voltage(slug(place, say), "node", say, place, MINUS, needs, 3, place)


def _at_connector(
    description: Description, setting: Setting, place: str, ends: list[End]
) -> Iterator[Enquiry]:
    """Every wire at one connector, and what lies between two of them."""
    say, here = setting.say, probed(description)
    base = say in (ALONE, unplugged(description))
    if place != here and (base or not plugged(setting, place)):
        return
    needs = set_up(description, setting, place)
    if say == ALONE:
        ends = [end for end in ends if leads_to(description, end.other) is None]
        needs = (*needs, *far_ends(description, ends), "module unplugged")
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
    node, black = wire_side(description, end.name), ground_of(description, end)
    name = slug(strand.name, *([] if here else ["at", place]), short)
    wires = (pin(end.name),) if here else ()

    def volts(kind: str, red: str, black: str, rank: int = 2, **more: Any) -> Enquiry:
        found = voltage(name, kind, setting.say, red, black, needs, rank, place, more)
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
    joined = {frozenset(pair) for pair in (*description.pairs, *joined_pairs(description))}
    here = place == probed(description)
    for one, other in every_pair(description, ends):
        nodes = frozenset(device_side(description, e.name) for e in (one, other))
        if nodes not in joined:
            continue
        red, black = (wire_side(description, e.name) for e in (one, other))
        pins = (pin(one.name), pin(other.name))
        words = ["across", *pins] if here else ["across", place]
        found = voltage(
            slug(*words, setting.say), "across", setting.say, red, black, needs, 2, place
        )
        wires = pins if here else ()
        yield replace(found, wires=wires, extra={"wire": one.strand, "other": other.strand})


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
        needs = [description.reach[place].by, *set_by(setting)]
        needs += [] if clamp else ["meter in series"]
        test = {"measures": "current", "through": wire_name(strand), "clamp": clamp,
                "setups": list(dict.fromkeys(needs))}  # fmt: skip
        yield Enquiry(
            slug(strand.name, "current", setting.say), "current", setting.say, test,
            (pin(strand.to),), place, rank=3, extra={"clamp": clamp, "wire": strand},
        )  # fmt: skip


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
