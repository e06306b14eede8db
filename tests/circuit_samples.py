"""Circuits used by several tests."""

from pathlib import Path

import yaml

from handsfree.circuit.model import Circuit

FLAP_FILE = Path(__file__).parent / "data" / "flap_actuator_circuit.yaml"


def flap_data() -> dict:
    return yaml.safe_load(FLAP_FILE.read_text())


def flap() -> Circuit:
    return Circuit.model_validate(flap_data())


def circuit(text: str) -> Circuit:
    """A circuit from YAML; ground and supply are `gnd` and `bat`, the battery is 12 V."""
    data = yaml.safe_load(text)
    battery = {"kind": "source", "between": ["bat", "gnd"], "voltage": "12 V",
               "resistance": "0.01 Ω"}  # fmt: skip
    data["parts"] = {"battery": battery, **data["parts"]}
    data.setdefault("conditions", {"on": {}})
    return Circuit.model_validate({"ground": "gnd", "supply": "bat", **data})
