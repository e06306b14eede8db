"""Mean voltage of a pulsed output, and what a parked vehicle draws over time.

Sources:
    The mean of a rectangular wave is its duty cycle times the height (arithmetic).
    Sleep currents and times of control modules: the maker's data; the steps used with them
    are an exact integral.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from handsfree.units import Quantity, ureg


def mean_voltage(duty: Quantity, high: Quantity, low: Quantity | None = None) -> Quantity:
    """What a meter on DC volts shows on a pulsed output.

    Args:
        duty: share of the time at `high`, 0 to 100 %.
        high: voltage while on.
        low: voltage while off; 0 V if not given.
    """
    share = duty.to("dimensionless").magnitude
    if not 0 <= share <= 1:
        raise ValueError(f"a duty cycle lies between 0 and 100 %, not {duty:~P}")
    off: Quantity = ureg.Quantity(0, "V") if low is None else low
    mean: Quantity = share * high + (1 - share) * off
    return mean


@dataclass(frozen=True, slots=True)
class Sleeper:
    """A module that goes to sleep some time after the ignition is switched off.

    Attributes:
        awake: current until it sleeps.
        asleep: current after.
        after: time from ignition off until it sleeps.
    """

    awake: Quantity
    asleep: Quantity
    after: Quantity


def parasitic_draw(modules: Iterable[Sleeper], time: Quantity) -> Quantity:
    """Battery current `time` after ignition off: the sum over modules, in ampere."""
    total = sum((m.awake if time < m.after else m.asleep).to("A").magnitude for m in modules)
    return ureg.Quantity(total, "A")


def charge_used(modules: Iterable[Sleeper], time: Quantity) -> Quantity:
    """Charge in Ah taken from the battery in `time` after ignition off."""
    total = 0.0
    for module in modules:
        waking = min(time, module.after)
        used = module.awake * waking + module.asleep * (time - waking)
        total += used.to("Ah").magnitude
    return ureg.Quantity(total, "Ah")


def days_parked(capacity: Quantity, modules: Iterable[Sleeper]) -> Quantity:
    """Days until `capacity` is used up; infinite if nothing is drawn asleep."""
    modules = tuple(modules)
    longest = max((m.after for m in modules), default=ureg.Quantity(0.0, "s"))
    left = capacity - charge_used(modules, longest)
    asleep = parasitic_draw(modules, longest)
    if asleep.magnitude == 0:
        return ureg.Quantity(math.inf, "day")
    parked: Quantity = (longest + left / asleep).to("day")
    return parked
