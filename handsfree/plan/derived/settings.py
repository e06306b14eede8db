"""What can be set: the settings of a description, and those that every plan has."""

from __future__ import annotations

from handsfree.circuit.parts import Switch
from handsfree.plan.derived.description import Description, Module, Setting
from handsfree.plan.derived.wiring import IGNITION, Data, connectors, parts, probed

REST, ON, UNPLUGGED = "everything off", "ignition on", "connector unplugged"
APART, ALONE = "both ends off", "loose harness with power"
FUSE_OUT = "fuse out"
"""Settings as they are spoken; the working setting and the unplugged one may have other names."""


def working(description: Description) -> Setting:
    """The setting in which the circuit works."""
    if description.working is not None:
        return description.working
    on = {IGNITION: "closed"} if _has_ignition(description) else {}
    return Setting(say=ON, names=("key on", "key on engine off"), sets=on)


def unplugged(description: Description) -> str:
    """The setting in which the connector is unplugged at which is probed, as it is spoken."""
    return description.reach[probed(description)].apart or UNPLUGGED


def settings(description: Description) -> dict[str, Setting]:
    """Every setting with all that it sets, by its words."""
    on, here = working(description), probed(description)
    every = [f"{c} connector" for c in connectors(description)]
    base = {**description.usual, **on.sets}
    found = {
        REST: Setting(say=REST, names=("all off",), sets=dict(description.usual)),
        on.say: on.model_copy(update={"sets": base}),
    }
    for one in description.settings:
        found[one.say] = one.model_copy(update={"sets": {**base, **one.sets}})
    found |= _fuses_out(description, base)
    if description.reach[here].at:
        return found
    reached = description.reach[here]
    say, names = unplugged(description), reached.apart_names if reached.apart else ("unplugged",)
    sets = {**base, f"{here} connector": "unplugged"}
    found.setdefault(say, Setting(say=say, names=names, sets=sets))
    apart = dict.fromkeys(every, "unplugged")
    rest = {**description.usual, **apart}
    found[APART] = Setting(say=APART, names=("all unplugged",), sets=rest)
    driven = driving(description)
    sets = {**base, **(driven.sets if driven else {}), **apart}
    found[ALONE] = Setting(say=ALONE, names=("harness alone",), sets=sets)
    return found


def _fuses_out(description: Description, base: dict[str, str]) -> dict[str, Setting]:
    """Each fuse that is reached, taken out: what it feeds is dead, and may touch ground."""
    made = parts(description)
    fuses = [at for at in description.reach if made.get(at, {}).get("kind") == "fuse"]
    out = {}
    for place in fuses:
        reach = description.reach[place]
        say, names = reach.apart or f"{reach.say} out", reach.apart_names
        if not reach.apart and len(fuses) == 1:
            say, names = FUSE_OUT, ("fuse pulled",)
        out[say] = Setting(say=say, names=names, sets={**base, place: "blown"}, by=say)
    return out


def driving(description: Description) -> Setting | None:
    """The first setting in which a module drives something one way, if there is one."""
    both = {
        f"{name} pin {number}"
        for name, part in description.parts.items()
        if isinstance(part, Module)
        for number, does in part.pins.items()
        if does.drives == "both"
    }
    return next((one for one in description.settings if both & set(one.sets)), None)


def live(description: Description, setting: Setting) -> bool:
    """Whether everything is switched on that is in the working setting."""
    switches = (
        name
        for name in working(description).sets
        if name == IGNITION or isinstance(description.parts.get(name), Switch)
    )
    whole = "blown" not in setting.sets.values()
    return (
        whole
        and not dead(description, setting)
        and all(setting.sets.get(name, "open") == "closed" for name in switches)
    )


def dead(description: Description, setting: Setting) -> bool:
    """Whether the battery is off: an ohmmeter may be used on what stays plugged in."""
    batteries = (n for n, part in description.parts.items() if part.kind == "battery")
    return any(setting.sets.get(name) == "off" for name in batteries)


def plugged(setting: Setting, connector: str) -> bool:
    """Whether a connector is mated."""
    return setting.sets.get(f"{connector} connector") != "unplugged"


def setups(description: Description) -> Data:
    """What must be done once, and what it costs."""
    found: Data = {
        reach.by: {"minutes": str(reach.minutes)} for reach in description.reach.values()
    }
    for one in settings(description).values():
        if one.by:
            found.setdefault(one.by, {"minutes": str(one.minutes), "undo": str(one.minutes)})
    for by in (look.by for look in description.looks if look.by):
        found.setdefault(by, {"minutes": "1 min", "undo": "1 min"})
    found["unplugged"] = {"minutes": "1 min", "undo": "1 min"}
    found["module unplugged"] = {"minutes": "1 min", "undo": "1 min"}
    found["test lamp fitted"] = {"minutes": "1 min", "undo": "0.5 min"}
    if any(strand.current == "in series" for strand in description.loom):
        found["meter in series"] = {"minutes": "2 min", "undo": "1 min"}
    return found


def _has_ignition(description: Description) -> bool:
    switched = (p.switched_by for p in description.parts.values() if isinstance(p, Module))
    return IGNITION in description.parts or IGNITION in switched
