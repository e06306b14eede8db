"""Units by their codes in UCUM, case sensitive (The Unified Code for Units of Measure, 2.1)."""

from __future__ import annotations

from handsfree.units import Quantity, ureg

#: Atoms of UCUM by their names in pint.
_ATOMS = {
    "volt": "V",
    "ampere": "A",
    "ohm": "Ohm",
    "siemens": "S",
    "farad": "F",
    "henry": "H",
    "hertz": "Hz",
    "watt": "W",
    "second": "s",
    "minute": "min",
    "hour": "h",
    "degree_Celsius": "Cel",
    "delta_degree_Celsius": "K",
    "kelvin": "K",
    "percent": "%",
    "degree": "deg",
    "meter": "m",
    "revolutions_per_minute": "{rev}/min",
}
#: Prefixes of UCUM by their names in pint; ASCII throughout, so u and not µ.
_PREFIXES = {
    "": "",
    "pico": "p",
    "nano": "n",
    "micro": "u",
    "milli": "m",
    "kilo": "k",
    "mega": "M",
    "giga": "G",
}


def ucum(value: Quantity) -> str:
    """The code of the unit of `value`: "kOhm", "Cel", "%"; "1" where it has none.

    Raises:
        ValueError: no code is known for it.
    """
    parts = [(str(name), float(str(power))) for name, power in value.unit_items()]
    parts.sort(key=lambda part: -part[1])
    return ".".join(_power(name, power) for name, power in parts) or "1"


def _power(name: str, power: float) -> str:
    prefix, atom, _ = ureg.parse_unit_name(name)[0]
    if atom not in _ATOMS or prefix not in _PREFIXES or power != int(power):
        raise ValueError(f"no UCUM code is known for {name}")
    return f"{_PREFIXES[prefix]}{_ATOMS[atom]}{'' if power == 1 else int(power)}"
