"""Prompts, probing and reasons: from names, colours and pins that stand in the description once."""

from __future__ import annotations

import re

from handsfree.circuit import Expectation, ExpectedWord
from handsfree.circuit.expect import reach
from handsfree.plan.derived.description import Description, Strand
from handsfree.plan.derived.enquiry import Enquiry
from handsfree.plan.derived.settings import settings, working
from handsfree.plan.derived.wiring import IGNITION, ends_at, pin, probed

_SMALL = (
    "zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten",
    "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen",
    "nineteen",
)  # fmt: skip
_TENS = ("twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")
_FEW = 3  # sites that are named as a reason
_POSTS = {"red": "battery positive post", "black": "battery negative post"}
_NOTHING = {"red": "not used", "black": "not used"}
_SERIES = "Nobody cranks or switches the ignition on while the meter is in series."
_JACK = "Meter lead back from the current jack before any volts."


def colours(strand: Strand) -> str:
    """A wire in words: "green with white stripe"."""
    main, _, stripe = strand.colour.partition("/")
    return f"{main} with {stripe} stripe" if stripe else main


def spoken(label: str) -> str:
    """A pin in words: "eighty six", "A two"; from a hundred up digit by digit."""
    return " ".join(
        _figures(part) if part.isdigit() else " ".join(part)
        for part in re.findall(r"\d+|\D+", label)
    )


def _figures(digits: str) -> str:
    """Digits as a number below a hundred, or each by itself."""
    if len(digits) > 2 or digits != str(int(digits)):
        return " ".join(_SMALL[int(digit)] for digit in digits)
    n = int(digits)
    if n < len(_SMALL):
        return _SMALL[n]
    tens, ones = divmod(n, 10)
    return f"{_TENS[tens - 2]} {_SMALL[ones]}" if ones else _TENS[tens - 2]


def prompt(description: Description, asked: Enquiry) -> str:
    """What is said when the step begins."""
    if "ask" in asked.extra:
        return str(asked.extra["ask"].ask)
    wires = [_wire(description, number) for number in asked.wires]
    called = description.reach[probed(description)].call
    if len(wires) > 1 and called != "pin":
        wires = [f"{called} {spoken(number)}" for number in asked.wires]
    place = description.reach[asked.place].say if asked.place else ""
    if not wires and "wire" in asked.extra:
        both = (asked.extra[key] for key in ("wire", "other") if key in asked.extra)
        wires = [f"{strand.name} at the {place}" for strand in both]
        if len(wires) > 1:
            wires = [f"{place}, {asked.extra['wire'].name}", asked.extra["other"].name]
    setting, on = asked.setting, working(description).say
    match asked.kind:
        case "part":
            of = "" if called == "pin" else f" of the {_device(place)}"
            text = f"{wires[0]} to {wires[1]}{of}, {setting}, {_off(description)}"
        case "across" | "circuit":
            text = f"{wires[0]} to {wires[1]}, {setting}"
        case "to ground":
            text = f"{wires[0]} to battery negative, {setting}"
        case "end to end":
            text = f"{wires[0]}, end to end, {setting}"
        case "dead pair":
            ends = [*wires, *asked.extra["ends"]]
            text = f"{ends[0]} to {ends[1]}, {setting}"
        case "behind fuse":
            text = f"far side of the {place} to battery negative, {setting}"
        case "loaded":
            text = f"{wires[0]} under load, from end to end, {setting}"
        case "leak":
            text = f"battery positive to {wires[0]}, {setting}"
        case "own pin":
            own = f"{called} {spoken(asked.extra['pin'])} of the {_device(place)} itself"
            sinks = asked.extra["sinks"]
            text = f"battery positive to {own}" if sinks else own
            text = f"{text}, {place} unplugged, {asked.extra['while']}"
        case "second meter":
            text = f"battery posts with a second meter, {setting}"
        case "harness":
            switched = "" if on in setting or "with power" in setting else f", {on}"
            at = " at the harness" if called == "pin" else ""
            text = f"{wires[0]}{at}, {setting}{switched}"
        case "feed":
            pair = _either_way(asked, "battery positive", wires[0])
            text = f"{pair[0]} to {pair[1]}, {setting}"
        case "return":
            pair = _either_way(asked, wires[0], "battery negative")
            text = f"{pair[0]} to {pair[1]}, {setting}"
        case "drop across":
            text = f"across the {place}, {setting}"
        case "node":
            pair = _either_way(asked, place, "battery negative")
            text = f"{pair[0]} to {pair[1]}, {setting}"
        case "current" if asked.extra["clamp"]:
            text = f"clamp around {colours(asked.extra['wire'])}, {setting}"
        case "current":
            strand = asked.extra["wire"]
            text = f"current in {colours(strand)}, {strand.name}, {setting}"
        case "temperature":
            text = f"thermometer at the {_part(description, asked.part)}, {setting}"
        case "rail":
            text = f"{asked.extra['rail']} of the {asked.extra['unit']}, {setting}"
        case "battery":
            text = f"battery posts, {setting}"
        case _:
            text = f"{wires[0]}, {setting}"
    return f"{text[0].upper()}{text[1:]}."


def probe(description: Description, asked: Enquiry) -> dict[str, str]:
    """Where the leads go, and what to mind."""
    how = settings(description)[asked.setting].how
    if "ask" in asked.extra:
        ask = asked.extra["ask"]
        leads = (
            {"red": wire, "black": _POSTS["black"]} if (wire := getattr(ask, "wire", "")) else {}
        )
        return _NOTHING | leads | {"how": ask.how or _how(description, asked)}
    found = _leads(description, asked)
    found["how"] = " ".join(dict.fromkeys(filter(None, (how, found.get("how", "")))))
    return found


def _leads(description: Description, asked: Enquiry) -> dict[str, str]:
    reached = description.reach.get(asked.place)
    place = reached.say if reached else ""
    call = reached.call if reached else "pin"
    pins = [f"{call} {spoken(number)}" for number in asked.wires]
    if not pins and "wire" in asked.extra:
        pins = [asked.extra[key].name for key in ("wire", "other") if key in asked.extra]
    here = _device(place)
    mated = "" if reached and reached.at else ", back-probed, plugged in"
    ground = _POSTS["black"]
    if description.ground_pin is not None and asked.test.get("black") != "battery minus":
        ground = f"{call} {spoken(description.ground_pin)} of the {place}"
    match asked.kind:
        case "part":
            return {"red": f"{pins[0]} of the {here}", "black": f"{pins[1]} of the {here}",
                    "how": "Measure at the part and not at the harness."}  # fmt: skip
        case "circuit":
            return {"red": f"{pins[0]} of the {place}", "black": f"{pins[1]} of the {place}",
                    "how": "Wait until the reading is steady."}  # fmt: skip
        case "across":
            return {"red": f"{pins[0]} of the {place}{mated}", "black": f"{pins[1]}{mated}"}
        case "to ground":
            return {"red": f"{pins[0]} of the harness, {place}", "black": ground,
                    "how": f"{_off(description).capitalize()}."}  # fmt: skip
        case "end to end":
            far = asked.extra["far"]
            end = f"{far.call} {spoken(asked.extra['pin'])} of the {far.say}"
            off = _off(description).capitalize()
            return {"red": f"{pins[0]} of the {place}", "black": end,
                    "how": f"{off}. Subtract what the shorted leads show."}  # fmt: skip
        case "dead pair":
            at = description.reach[probed(description)]
            ends = [*(f"{at.call} {spoken(number)} of the {at.say}" for number in asked.wires),
                    *asked.extra["ends"]]  # fmt: skip
            return {
                "red": ends[0],
                "black": ends[1],
                "how": "Subtract what the shorted leads show.",
            }
        case "behind fuse":
            return {"red": f"far side of the {place}, its fuse out", "black": _POSTS["black"],
                    "how": "Every switch as it was when the circuit worked."}  # fmt: skip
        case "loaded":
            far = asked.extra["far"]
            end = f"{far.call} {spoken(asked.extra['pin'])} of the {far.say}"
            return {
                "red": end,
                "black": f"{pins[0]} of the {place}",
                "how": "Feed the far end from battery positive through a test lamp of 21 W and "
                "hold this end to battery negative. Every connector on this wire is off.",
            }
        case "leak":
            return {"red": _POSTS["red"], "black": f"{pins[0]} of the harness, {place}",
                    "how": "What is shown comes through a leak to ground."}  # fmt: skip
        case "own pin":
            own = f"{call} {spoken(asked.extra['pin'])} of the {here} itself, {place} unplugged"
            how = "The module stays under power. Touch one pin only."
            pair = (_POSTS["red"], own) if asked.extra["sinks"] else (own, _POSTS["black"])
            return {"red": pair[0], "black": pair[1], "how": how}
        case "second meter":
            return _POSTS | {"how": "Another meter, on the same posts."}
        case "harness":
            return {"red": f"{pins[0]} of the harness, {place}", "black": ground}
        case "feed":
            pair = _either_way(asked, _POSTS["red"], f"{pins[0]} of the {place}{mated}")
            return {"red": pair[0], "black": pair[1]}
        case "drop across":
            pair = _either_way(asked, f"battery side of the {place}", f"far side of the {place}")
            return {"red": pair[0], "black": pair[1], "how": _how(description, asked)}
        case "node":
            pair = _either_way(asked, place, ground)
            bus = any(asked.place in pair for pair in description.pairs)
            return {"red": pair[0], "black": pair[1]} | ({} if bus else {"how": "Bare metal."})
        case "return":
            pair = _either_way(asked, f"{pins[0]} of the {place}{mated}", ground)
            return {"red": pair[0], "black": pair[1]}
        case "current" if asked.extra["clamp"]:
            return {"red": f"clamp around the wire at {pins[0]}", "black": "not used",
                    "how": "Zero the clamp first, one wire only in its jaw."}  # fmt: skip
        case "current":
            return {"red": asked.extra["wire"].name, "black": ground}
        case "temperature":
            return {"red": f"thermometer at the {_part(description, asked.part)}",
                    "black": "not used"}  # fmt: skip
        case "rail":
            red = f"{asked.extra['rail']} pin of the {asked.extra['unit']}, back-probed"
            return {"red": red, "black": ground}
        case "battery":
            return _POSTS | {"how": "On the posts themselves and not on the clamps."}
        case _:
            return {"red": f"{pins[0]} of the {place}{mated}", "black": ground}


def why(asked: Enquiry, expected: Expectation | ExpectedWord | None, sites: tuple[str, ...]) -> str:
    """What the reading tells: what a sound circuit gives, and what would change it."""
    if asked.kind == "temperature":
        return "A thermistor's reading means nothing without its temperature."
    if expected is None:
        return "Asked before anything is measured."
    gives = (
        f"A sound circuit gives {reach(expected)} here."
        if isinstance(expected, Expectation) and asked.kind != "live value"
        else f"In a sound circuit the answer is {getattr(expected, 'nominal', '')}."
    )
    if asked.kind == "live value":
        gives = "The meter shows what is on the wire, the live value what the module makes of it."
    tells = ", ".join(sites[:_FEW])
    return f"{gives} It tells of {tells}." if tells else gives


def caution(description: Description, asked: Enquiry) -> str:
    """What to mind: what was asked for with the test, of the part that is watched, of the meter."""
    if "ask" in asked.extra:
        return str(asked.extra["ask"].caution) or _cautions(description, asked)
    series = any(strand.current == "in series" for strand in description.loom)
    if asked.kind == "current" and not asked.extra["clamp"]:
        return _SERIES
    return _JACK if series and asked.test else ""


def _either_way(asked: Enquiry, red: str, black: str) -> tuple[str, str]:
    """The two leads, exchanged where the current flows the other way."""
    return (black, red) if asked.extra.get("turned") else (red, black)


def _device(place: str) -> str:
    """What hangs on a connector: "sensor" on the "sensor connector"."""
    return re.sub(r"connector of the|connector|socket", "", place).strip() or "part"


def _wire(description: Description, number: str) -> str:
    """A wire by its colours; at terminals and sockets by the number as well."""
    here = description.reach[probed(description)]
    strand = next(
        e.strand for e in ends_at(description, probed(description)) if pin(e.name) == number
    )
    named = f"{here.call} {spoken(number)}, {colours(strand)}"
    return named if here.call != "pin" or here.at else colours(strand)


def _off(description: Description) -> str:
    """That nothing is under power, in words."""
    return "ignition off" if IGNITION in working(description).sets else "all off"


def _part(description: Description, name: str) -> str:
    return getattr(description.parts.get(name), "say", "") or name


def _how(description: Description, asked: Enquiry) -> str:
    part = description.parts.get(asked.part or asked.place)
    return str(getattr(part, "probing", ""))


def _cautions(description: Description, asked: Enquiry) -> str:
    part = description.parts.get(asked.part)
    return " ".join(getattr(part, "cautions", ()))
