"""Physical quantities: one pint registry for the whole package.

Every measured or expected value that crosses a public boundary is a `Quantity`.
"""

from __future__ import annotations

import math
import re
from decimal import Decimal
from typing import TYPE_CHECKING, Any, Literal, TypeAlias, cast

import pint


def _registry() -> pint.UnitRegistry[float]:
    """The registry; pint keeps its definitions in its cache folder, where it may write there."""
    try:
        return pint.UnitRegistry(autoconvert_offset_to_baseunit=True, cache_folder=":auto:")
    except Exception:  # whatever is wrong with a cache, units do not need it
        return pint.UnitRegistry(autoconvert_offset_to_baseunit=True)


ureg = _registry()
ureg.formatter.default_format = "~P"
pint.set_application_registry(ureg)  # type: ignore[no-untyped-call]

if TYPE_CHECKING:
    Quantity: TypeAlias = pint.Quantity[Any]
else:
    Quantity = ureg.Quantity

#: What a meter measures.
Kind = Literal[
    "voltage",
    "resistance",
    "current",
    "frequency",
    "temperature",
    "duty cycle",
    "share",
    "time",
    "capacitance",
]
#: The unit in which each kind is kept.
KINDS: dict[str, str] = {
    "voltage": "V",
    "resistance": "Ω",
    "current": "A",
    "frequency": "Hz",
    "temperature": "°C",
    "duty cycle": "%",
    "share": "%",
    "time": "s",
    "capacitance": "F",
}

#: Names, multiplied and divided, each with a small power at most; and the longest text of one.
_POWER = r"[^\W\d][\w°%]*(?:\s*(?:\*\*|\^)\s*-?\d)?|[°%]\w*"
_UNIT = re.compile(rf"\s*(?:(?:1\s*/\s*)?(?:{_POWER})(?:\s*[*/·⋅]\s*(?:{_POWER}))*)?\s*")
LONGEST_UNIT = 64

_QUANTITY = re.compile(r"\s*([+\-−]?\s*(?:\d[\d_]*\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*?)\s*")


def quantity(magnitude: float | Decimal, unit: str) -> Quantity:
    """A quantity of `magnitude` in `unit`, written as the trade writes it ("kΩ", "°C", "%").

    Raises:
        ValueError: the unit is unknown.
    """
    if not _UNIT.fullmatch(unit) or len(unit) > LONGEST_UNIT:  # pint works out any expression
        raise ValueError(f"unknown unit {unit[:LONGEST_UNIT]!r}")
    try:
        return ureg.Quantity(float(magnitude), unit or "dimensionless")
    except Exception as error:  # pint raises a dozen kinds for text that is no unit
        raise ValueError(f"unknown unit {unit!r}") from error


def parse_quantity(text: str) -> Quantity:
    """A quantity from "4.8 V", "-40 °C", "120Ω".

    Raises:
        ValueError: `text` is no number with a unit.
    """
    match = _QUANTITY.fullmatch(text)
    if not match:
        raise ValueError(f"{text!r} is not a number with a unit, such as '4.8 V'")
    number = float(re.sub(r"[\s_]", "", match[1]).replace("−", "-"))
    if math.isinf(number):
        raise ValueError(f"{match[1][:20]!r} is too large for a number")
    return quantity(number, match[2])


def kind_of(value: Quantity) -> str | None:
    """The name in `KINDS` of the dimension of `value`, or None.

    A dimensionless value is a "share"; duty cycle has the same dimension.
    """
    if value.dimensionless:
        return "share"
    for kind, unit in KINDS.items():
        if value.is_compatible_with(ureg.Unit(unit)):
            return kind
    return None


def fits(value: Quantity, unit: str) -> bool:
    """Whether `value` can be given in `unit`."""
    return bool(value.is_compatible_with(ureg.Unit(unit)))


def difference(value: Quantity, other: Quantity) -> Quantity:
    """`value - other` in the unit of `value`; a temperature difference in kelvin-sized degrees."""
    return cast(Quantity, value - other.to(value.units))


def span(magnitude: float, like: Quantity) -> Quantity:
    """A difference of `magnitude` in the unit of `like`; degrees are differences of degrees."""
    return difference(ureg.Quantity(magnitude, like.units), ureg.Quantity(0.0, like.units))


def size(value: Quantity) -> Quantity:
    """`value` without its sign, in its own unit."""
    return ureg.Quantity(abs(float(value.magnitude)), value.units)


def show(value: Quantity) -> str:
    """`value` for a screen: "4.98 V", "250 Ω", "-40 °C"."""
    unit = f"{value.units:~P}".replace("Δ°C", "°C").replace("delta_degree_Celsius", "°C")
    return f"{value.magnitude:.6g} {unit}".strip()
