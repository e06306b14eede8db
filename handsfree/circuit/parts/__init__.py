"""The library of parts: each kind brings its circuit, its conditions, its faults, its cautions.

The interface is `elements.Part`.  `AnyPart` is any of them, told apart by its `kind`.
"""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from handsfree.circuit.parts.bus import CanNode, LinNode
from handsfree.circuit.parts.contact import Connector
from handsfree.circuit.parts.fuse import Fuse
from handsfree.circuit.parts.lamp import Diode, Lamp
from handsfree.circuit.parts.module import Driver, Load, PulseDriver
from handsfree.circuit.parts.motor import Mechanism, Motor, Starter
from handsfree.circuit.parts.relay import Relay
from handsfree.circuit.parts.resistor import Coil, Heater, Resistor
from handsfree.circuit.parts.sensor import OxygenCell, Potentiometer, PressureSensor, Thermistor
from handsfree.circuit.parts.speed import ActiveSpeedSensor, HallSensor, PassiveSpeedSensor
from handsfree.circuit.parts.supply import Alternator, Battery, Source
from handsfree.circuit.parts.switch import Switch
from handsfree.circuit.parts.wire import GroundPoint, Splice, Wire

AnyPart = Annotated[
    Source
    | Battery
    | Alternator
    | Wire
    | Splice
    | GroundPoint
    | Connector
    | Switch
    | Driver
    | PulseDriver
    | Fuse
    | Resistor
    | Coil
    | Heater
    | Motor
    | Starter
    | Mechanism
    | Potentiometer
    | PressureSensor
    | OxygenCell
    | Thermistor
    | PassiveSpeedSensor
    | ActiveSpeedSensor
    | HallSensor
    | Diode
    | Lamp
    | Relay
    | Load
    | CanNode
    | LinNode,
    Field(discriminator="kind"),
]
"""Any part, told apart by its `kind`."""

__all__ = [
    "ActiveSpeedSensor",
    "Alternator",
    "AnyPart",
    "Battery",
    "CanNode",
    "Coil",
    "Connector",
    "Diode",
    "Driver",
    "Fuse",
    "GroundPoint",
    "HallSensor",
    "Heater",
    "Lamp",
    "LinNode",
    "Load",
    "Mechanism",
    "Motor",
    "OxygenCell",
    "PassiveSpeedSensor",
    "Potentiometer",
    "PressureSensor",
    "PulseDriver",
    "Relay",
    "Resistor",
    "Source",
    "Splice",
    "Starter",
    "Switch",
    "Thermistor",
    "Wire",
]
