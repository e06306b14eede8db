"""Prompts, probing and reasons: from names, colours and pins that stand in the description once."""

from __future__ import annotations

from typing import Any

from handsfree.circuit import Expectation, ExpectedWord
from handsfree.circuit.expect import reach
from handsfree.plan.derived.asking import APART, UNPLUGGED, Enquiry
from handsfree.plan.derived.description import Description
from handsfree.plan.derived.wiring import pin

_NUMBERS = dict(
    enumerate(
        ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten",
         "eleven", "twelve")
    )
)  # fmt: skip
_FEW = 3  # sites that are named as a reason


def colour(description: Description, number: int) -> str:
    """A wire in words: "green with white stripe"."""
    for strand in description.loom:
        if pin(strand.to) == str(number):
            main, _, stripe = strand.colour.partition("/")
            return f"{main} with {stripe} stripe" if stripe else main
    return f"pin {spoken(number)}"


def spoken(number: int | str) -> str:
    """A pin number in words, if it has one."""
    return _NUMBERS.get(int(number), str(number))


def prompt(description: Description, asked: Enquiry) -> str:
    """What is said when the step begins."""
    if asked.kind == "look":
        return str(asked.extra["ask"])
    wires = [colour(description, number) for number in asked.wires]
    match asked.kind:
        case "part":
            text = f"{wires[0]} to {wires[1]}, {asked.setting}, ignition off"
        case "to ground":
            text = f"{wires[0]} to battery negative, {asked.setting}"
        case "end to end":
            text = f"{wires[0]}, end to end, {asked.setting}"
        case _ if asked.setting == UNPLUGGED:
            text = f"{wires[0]} at the harness, {asked.setting}, ignition on"
        case _ if wires:
            text = f"{wires[0]}, {asked.setting}"
        case _ if "rail" in asked.extra:
            text = f"{asked.extra['rail']} of the {asked.extra['unit']}, {asked.setting}"
        case _:
            text = f"battery posts, {asked.setting}"
    return f"{text[0].upper()}{text[1:]}."


def probe(description: Description, asked: Enquiry) -> dict[str, str]:
    """Where the leads go."""
    if asked.kind == "look":
        return {"red": "not used", "black": "not used", "how": _how(description, asked)}
    place = description.reach[asked.place].say if asked.place else ""
    pins = [f"pin {spoken(number)}" for number in asked.wires]
    match asked.kind:
        case "part":
            here = place.replace("connector", "").strip() or "part"
            return {"red": f"{pins[0]} of the {here}", "black": f"{pins[1]} of the {here}",
                    "how": "Measure at the part and not at the harness."}  # fmt: skip
        case "to ground":
            return {"red": f"{pins[0]} of the harness, {place}", "black": "battery negative post",
                    "how": "Ignition off."}  # fmt: skip
        case "end to end":
            far = f"pin {spoken(asked.extra['pin'])} of the {asked.extra['far']}"
            return {"red": f"{pins[0]} of the {place}", "black": far,
                    "how": "Ignition off. Subtract what the shorted leads show."}  # fmt: skip
        case _ if asked.setting == UNPLUGGED:
            return {"red": f"{pins[0]} of the harness, {place}", "black": "battery negative post"}
        case _ if pins:
            return {"red": f"{pins[0]} of the {place}, back-probed, plugged in",
                    "black": "battery negative post"}  # fmt: skip
        case _ if "rail" in asked.extra:
            red = f"{asked.extra['rail']} pin of the {asked.extra['unit']}, back-probed"
            return {"red": red, "black": "battery negative post"}
        case _:
            return {"red": "battery positive post", "black": "battery negative post",
                    "how": "On the posts themselves and not on the clamps."}  # fmt: skip


def _how(description: Description, asked: Enquiry) -> str:
    part: Any = description.parts.get(asked.part)
    return str(getattr(part, "probing", "")) if part is not None else ""


def why(asked: Enquiry, expected: Expectation | ExpectedWord, sites: tuple[str, ...]) -> str:
    """What the reading tells: what a sound circuit gives, and what would change it."""
    gives = (
        f"A sound circuit gives {reach(expected)} here."
        if isinstance(expected, Expectation)
        else f"In a sound circuit the answer is {expected.nominal}."
    )
    tells = ", ".join(sites[:_FEW])
    return f"{gives} It tells of {tells}." if tells else gives


def caution(description: Description, asked: Enquiry) -> str:
    """What to mind: of the setting, of the part, of an ohmmeter."""
    if asked.setting == APART or asked.kind == "part":
        return ""
    return str(asked.extra.get("caution", ""))
