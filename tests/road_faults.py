"""Faults as met on the road: what is broken, in which plan, and what must not be said.

Each is a change of a plan's circuit that the diagnosis does not know of.  Cases: common
practice, no published source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import Any

from fault_campaign import Vehicle, job

from handsfree.circuit import Circuit
from handsfree.diagnosis import Diagnosis, Verdict
from handsfree.plan import load_plan


@dataclass(frozen=True)
class Road:
    """A fault of the road.

    Attributes:
        plan: in which it is met.
        true: parts that are rightly named: the broken one, or what no test parts from it.
        faults: part to the fault that is put into it.
        parts: parts that are added or changed.
        meter: what the meter makes of a voltage.
    """

    plan: str
    true: tuple[str, ...]
    faults: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    parts: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    meter: float = 1.0


def series(ohms: str, at: str | None = None) -> dict[str, Any]:
    """Resistance in series."""
    return {"mode": "high resistance", "resistance": ohms, "at": at}


SENSOR, FLAP, RELAY = "position-sensor-3wire", "flap-actuator-5wire", "relay-4pin"
LAMP, CHARGE, DRAW = "voltage-drop", "battery-charging", "parasitic-draw"

ROAD: dict[str, Road] = {
    "lamp ground 0.4 V under load": Road(
        LAMP, ("lamp ground", "ground strap"), {"lamp ground wire": series("0.09 Ω")}
    ),
    "5 V rail pulled down by another sensor": Road(
        SENSOR, ("another user", "reference wire"), parts={
            "other sensor": {"kind": "resistor", "between": ["module 1", "battery minus"],
                             "resistance": "12 Ω"}},
    ),
    "reference chafed, 30 Ω": Road(
        SENSOR, ("reference wire", "another user"),
        {"five volt reference wire": {"mode": "short to ground", "resistance": "30 Ω"}},
    ),
    "module earth lifted 0.45 V": Road(
        SENSOR, ("module earth", "sensor ground"), {"module earth": series("2.9 Ω")}
    ),
    "actuator contact 2 kΩ": Road(
        FLAP, ("actuator connector", "module connector", "hot drive wire"),
        {"actuator connector": series("2 kΩ", "1")},
    ),
    "drive wires swapped": Road(
        FLAP, ("hot drive wire", "cold drive wire"),
        {"hot drive wire": {"mode": "swapped", "other": "cold drive wire"}},
    ),
    "reference and ground swapped": Road(
        SENSOR, ("reference wire", "ground wire"),
        {"five volt reference wire": {"mode": "swapped", "other": "sensor ground wire"}},
    ),
    "feedback wire open": Road(FLAP, ("feedback wire",), {"feedback wire": {"mode": "open"}}),
    "track dead in mid travel": Road(
        FLAP, ("position",),
        {"position": {"mode": "worn segment", "start": "40 %", "end": "60 %"}},
    ),
    "worn brushes at one spot": Road(FLAP, ("motor",), {"motor": series("400 Ω")}),
    "weak driver, 80 Ω": Road(
        FLAP, ("module pin 1", "module bridge supply"),
        {"module pin 1": series("80 Ω", "high")},
    ),
    "coil feed 150 Ω": Road(
        RELAY, ("ignition feed", "ignition"), {"ignition feed wire": series("150 Ω")}
    ),
    "fuse holder 0.25 Ω with a slow fan": Road(
        RELAY, ("fan fuse", "battery feed"), {"fan fuse": series("0.25 Ω")}
    ),
    "fan fuse blown": Road(RELAY, ("fan fuse", "battery feed"), {"fan fuse": {"mode": "open"}}),
    "dragging starter": Road(
        CHARGE, ("starter",), parts={
            "starter": {"kind": "resistor", "between": ["starter", "engine"],
                        "resistance": "22 mΩ"}},
    ),
    "starter cable 15 mΩ": Road(
        CHARGE, ("starter cable", "starter switch"), {"starter cable": series("15 mΩ")}
    ),
    "commanded charging, sound": Road(
        CHARGE, ("charging command",), parts={
            "alternator": {"kind": "source", "between": ["output", "engine"],
                           "voltage": "12.9 V", "resistance": "7 mΩ",
                           "needs": {"between": ["field", "engine"], "at_least": "0.3 V"}}},
    ),
    "two consumers of 45 mA": Road(
        DRAW, ("body module", "tracker", "engine module"),
        parts={
            "one": {"kind": "resistor", "between": ["interior", "chassis"],
                    "resistance": "280 Ω"},
            "other": {"kind": "resistor", "between": ["added", "chassis"],
                      "resistance": "280 Ω"}},
    ),
    "meter 6 % high": Road(FLAP, ("",), meter=1.06),
    "0.00 V from a blown jack": Road(SENSOR, ("",), meter=0.0),
    "intermittent contact, sound while it is measured": Road(SENSOR, ()),
}  # fmt: skip


@cache
def diagnosis(plan: str) -> Diagnosis:
    """The diagnosis of a plan, computed once."""
    found = Diagnosis.of_plan(load_plan(plan).plan)
    assert found is not None
    return found


def on_the_road(case: Road, seed: int = 1) -> tuple[Verdict, int]:
    """The verdict on a vehicle with this fault, in informed order, and the tests it took."""
    plan, known = load_plan(case.plan).plan, diagnosis(case.plan).circuit
    data = known.model_dump()
    parts = {**known.parts}
    for name, part in case.parts.items():
        one = {"ground": "battery minus", "supply": "battery plus", "parts": {name: part},
               "conditions": {}, "tests": {}}  # fmt: skip
        parts[name] = Circuit.model_validate(one).parts[name]
    bare = {name: part.model_copy(update={"faults": ()}) for name, part in parts.items()}
    for name, fault in case.faults.items():
        whole = {**data["parts"][name], "faults": [{**fault, "id": "hidden"}]}
        one = {"ground": "battery minus", "supply": "battery plus", "parts": {name: whole},
               "conditions": {}, "tests": {}}  # fmt: skip
        bare[name] = Circuit.model_validate(one).parts[name]
    circuit = known.model_copy(update={"parts": bare, "wrong_pins": (), "usual_faults": False})
    present = ("hidden",) if case.faults else ()
    kind = "sound" if case.meter == 1.0 else "meter"
    if kind == "meter":
        present = (f"gain {case.meter}",)
    vehicle = Vehicle(circuit, present, tuple(case.true), kind)
    return job(diagnosis(case.plan), vehicle, plan.meter, [seed, 7], slips=0.0)


def rightly(case: Road, said: Verdict) -> list[bool]:
    """Which of those named are right; if no fault is found, which of what no test sees."""
    named = [(c.fault.part, c.site) for c in said.candidates]
    named += [(fault.part, fault.site) for fault in said.blind]
    wanted = {part or "meter" for part in case.true}
    return [any(w == part or w in site for w in wanted) for part, site in named]


if __name__ == "__main__":
    for name, case in ROAD.items():
        said, tests = on_the_road(case)
        right = rightly(case, said)
        print(f"{name:45} {said.kind:12} {said.odds:4.0f}:1 {tests:3} {right}",
              [c.fault.say for c in said.candidates], flush=True)  # fmt: skip
