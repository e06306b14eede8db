"""The same circuit under another voltage.

A battery has other cells.  What consumes is taken to be made for the voltage and to take the same
power: voltages go with it, currents against it, resistances with its square.  Common practice, no
published source; the maker's figures come first.  Signals, fuses and wires stay as they are.
"""

from __future__ import annotations

import re

from handsfree.plan.derived.description import Description
from handsfree.plan.derived.wiring import MINUS, PLUS, Data, leads_to
from handsfree.units import parse_quantity, show

_CELL = 2  # V of a lead-acid cell, nominal
_BETWEEN = re.compile(r"(\s*±\s*|\s+to\s+)")

#: Field of a part to the power of the voltage with which it goes.
_GOES: dict[str, dict[str, int]] = {
    "motor": {"resistance": 2, "running_current": -1, "starting_current": -1, "rated": 1},
    "starter": {"current": -1, "voltage": 1},
    "lamp": {"rated_voltage": 1},
    "relay": {"resistance": 2, "pull_in": 1},
    "coil": {"resistance": 2},
    "heater": {"resistance": 2},
    "load": {"asleep": -1, "awake": -1, "voltage": 1},
    "module": {"takes": -1, "works_from": 1},
}
_STRENGTH = {"resistance": 2, "voltage": 1}  # of what is said by hand of its faults


def scaled(text: str, by: float) -> str:
    """A value with its limits, made so many times as large: "7 V ± 10 %" by 2 is "14 V ± 10 %"."""
    parts = _BETWEEN.split(text.strip())
    return "".join(_times(part, by) if k % 2 == 0 else part for k, part in enumerate(parts))


def _times(text: str, by: float) -> str:
    value = parse_quantity(text)
    if text.rstrip().endswith("%"):
        return text
    return show(type(value)(float(f"{value.magnitude * by:.4g}"), value.units))


def under(description: Description, data: Data, by: float) -> Data:
    """The parts of a description where the supply is so many times as high."""
    volts = float(description.supply.m_as("V")) * by
    return {name: _part(description, part, by, volts) for name, part in data["parts"].items()}


def _part(description: Description, part: Data, by: float, volts: float) -> Data:
    kind = part["kind"]
    if kind == "battery":
        return {**part, "cells": round(volts / _CELL)}
    goes = _GOES.get(kind, {})
    if kind == "resistor":
        rails = {leads_to(description, node) for node in part["between"]}
        goes = {"resistance": 2} if rails == {PLUS, MINUS} else {}
    if not goes:
        return part
    found = dict(part)
    for field, power in goes.items():
        if field in part:
            found[field] = scaled(part[field], by**power)
    if kind == "load" and "voltage" not in part:
        found["voltage"] = scaled("12.6 V", by)
    if "faults" in part:
        found["faults"] = [
            fault | {field: scaled(fault[field], by**power)
                     for field, power in _STRENGTH.items() if field in fault}
            for fault in part["faults"]
        ]  # fmt: skip
    return found
