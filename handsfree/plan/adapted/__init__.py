"""A kind of circuit as it is in one vehicle: its own colours, pins, reference and supply.

What differs is merged into the description before anything is derived from it, so that nothing of
the kind is left over in prompts, probing, grammar, limits or report.
"""

from handsfree.plan.adapted.adapt import NotAdapted, adapted, ends, in_vehicle, reference_voltages
from handsfree.plan.adapted.vehicle import OwnWire, Vehicle, is_vehicle, own_wire

__all__ = [
    "NotAdapted",
    "OwnWire",
    "Vehicle",
    "adapted",
    "ends",
    "in_vehicle",
    "is_vehicle",
    "own_wire",
    "reference_voltages",
]
