"""Circuits used by several tests."""

from copy import deepcopy

import yaml
from by_hand import by_hand

from handsfree.circuit.model import Circuit

# The circuit of the flap actuator's plan, with two tests that the plan does not make.
FLAP = yaml.safe_load(by_hand("flap-actuator-5wire").text)["circuit"]
FLAP["tests"] |= yaml.safe_load("""
motor_current: {condition: heating_up, measures: current, through: hot drive wire, clamp: true,
                minutes: 2 min, setups: [trim off]}
hot_drive_switches:
  condition: heating_up
  before: cooling_down
  measures: voltage
  red: pin 1
  black: battery minus
  words: {switches to supply: 9 V to 16 V, switches to ground: -16 V to -9 V,
          unchanged: -1 V to 1 V}
  setups: [trim off]
""")


def flap_data() -> dict:
    return deepcopy(FLAP) | {"usual_faults": False}


def flap() -> Circuit:
    return Circuit.model_validate(flap_data())


def circuit(text: str) -> Circuit:
    """A circuit from YAML; ground and supply are `gnd` and `bat`, the battery is 12 V."""
    data = yaml.safe_load(text)
    battery = {"kind": "source", "between": ["bat", "gnd"], "voltage": "12 V",
               "resistance": "0.01 Ω"}  # fmt: skip
    data["parts"] = {"battery": battery, **data["parts"]}
    data.setdefault("conditions", {"on": {}})
    data.setdefault("usual_faults", False)
    return Circuit.model_validate({"ground": "gnd", "supply": "bat", **data})
