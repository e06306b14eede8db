"""The states of parts in every variant, and how they follow from voltages and currents.

A relay pulls, a motor turns, a module works only with its supply, a wiper follows the
mechanism.  Conditions and faults may hold a state whatever the voltages say.

H is the number of hypotheses, C of conditions, S of samples; arrays are (H, C, S).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from handsfree.circuit import faults as modes
from handsfree.circuit.model import Fault
from handsfree.circuit.parts import Lamp, Mechanism, Motor, Potentiometer, Relay
from handsfree.circuit.template import Template
from handsfree.circuit.values import Array, Spread, parse_spread

Bools = NDArray[np.bool_]


class Solved(Protocol):
    """Voltages and currents of all variants."""

    def voltage(self, red: str, black: str) -> Array:
        """Voltage between two nodes: (H, C, S)."""

    def current(self, part: str, slot: str = "") -> Array:
        """Current of a branch from its first node to its second: (H, C, S)."""


class States:
    """States, settings and motion.

    Attributes:
        shape: (H, C, S).
        state: number of the state of each part that has states.
        setting: position or temperature of each part that has one.
        turns: which way each motor turns: 1, -1 or 0.
        powered: whether each part that needs a supply has it.
    """

    def __init__(self, template: Template, u: Array, hypotheses: int) -> None:
        self.template, self.u = template, u
        conditions = template.circuit.conditions
        self.shape = (hypotheses, len(conditions), len(u))
        parts = template.circuit.parts
        self.state = {n: np.zeros(self.shape, dtype=np.intp) for n in template.stateful}
        self.setting = {
            n: np.broadcast_to(self.value(n, usual), self.shape).copy()
            for n, part in parts.items()
            if (usual := part.setting()) is not None
        }
        self.turns = {n: np.zeros(self.shape) for n in template.of(Motor)}
        self.powered = {n: np.zeros(self.shape, dtype=bool) for n, p in parts.items() if p.needs}
        self._failed = {n: np.zeros(self.shape, dtype=bool) for n in self.powered}
        self._held = {n: np.zeros(self.shape, dtype=bool) for n in parts}
        self._jammed = {n: np.zeros(self.shape, dtype=bool) for n in parts}
        self._slips = {n: np.zeros(self.shape, dtype=bool) for n in parts}
        for c, settings in enumerate(conditions.values()):
            for name, value in settings.items():
                self._hold(name, (slice(None), c), value)

    def value(self, part: str, spread: Spread) -> Array:
        """A toleranced value of a part: (S,)."""
        return self.template.term(part, spread).at(self.u)

    def _hold(self, name: str, where: tuple[slice | int, ...], value: str) -> None:
        self._held[name][where] = True
        if name in self.state:
            self.state[name][where] = self.template.stateful[name].names.index(value)
        else:
            usual = self.template.circuit.parts[name].setting()
            assert usual is not None
            self.setting[name][where] = self.value(name, parse_spread(value, usual.unit))

    def damage(self, h: int, fault: Fault, u: Array) -> None:
        """Put a fault into hypothesis `h`; `u` (S,) moves the fault's own value."""
        match fault.mode:
            case modes.Stuck(state=state):
                self._hold(fault.part, (h,), state)
            case modes.StuckPosition(position=position):
                self._held[fault.part][h] = True
                self.setting[fault.part][h] = position.at(u)
            case modes.Jammed():
                self._jammed[fault.part][h] = True
            case modes.Slipping():
                self._slips[fault.part][h] = True

    def begin(self, other: States | None) -> None:
        """Begin with the states of one sample in all samples; motors begin at rest."""
        if other is not None:
            for name, state in self.state.items():
                state[:] = other.state[name]
            for name, powered in self.powered.items():
                powered[:] = other.powered[name]
        self._place()

    def update(self, solved: Solved) -> None:
        """Set what follows from voltages and currents.

        A module rides through the moment in which a motor starts; if its supply fails
        otherwise, it stays off.
        """
        starting = np.zeros(self.shape, dtype=bool)
        for name, motor in self.template.of(Motor).items():
            turns = self._turn(name, motor, solved)
            starting |= turns != self.turns[name]
            self.turns[name] = turns
        for name, relay in self.template.of(Relay).items():
            least = self.value(name, relay.pull_in) / relay.resistance.nominal
            pulls = np.abs(solved.current(name, "coil")) >= least
            self.state[name] = np.where(self._held[name], self.state[name], pulls)
        for name, powered in self.powered.items():
            need = self.template.circuit.parts[name].needs
            assert need is not None
            enough = solved.voltage(*need.between) >= self.value(name, need.at_least)
            self._failed[name] |= powered & ~enough & ~starting
            powered[:] = np.where(starting, powered, enough & ~self._failed[name])
        self._place()

    def _place(self) -> None:
        """Let the wipers follow the mechanisms."""
        for name, pot in self.template.of(Potentiometer).items():
            if pot.moved_by is not None:
                position = self._position(pot.moved_by)
                self.setting[name] = np.where(self._held[name], self.setting[name], position)

    def _turn(self, name: str, motor: Motor, solved: Solved) -> Array:
        was, current = self.turns[name], solved.current(name)
        starts = np.abs(current) >= self.value(name, motor.starting_current)
        takes = self.value(name, motor.running_current)
        keeps = solved.voltage(*motor.between) * was >= takes * self.value(name, motor.resistance)
        turns = np.where(was == 0, np.sign(current) * starts, was * keeps)
        return np.where(self._blocked(name), 0.0, turns)

    def _blocked(self, motor: str) -> Bools:
        moved = [n for n, m in self.template.of(Mechanism).items() if m.motor == motor]
        return np.asarray(np.stack([self._jammed[n] for n in (motor, *moved)]).any(axis=0))

    def _position(self, name: str) -> Array:
        mechanism, moves = self.template.of(Mechanism)[name], self.moves(name)
        places: Sequence[Array] = [
            self.value(name, place)
            for place in (mechanism.forward, mechanism.reverse, mechanism.rest)
        ]
        return np.where(moves > 0, places[0], np.where(moves < 0, places[1], places[2]))

    def moves(self, mechanism: str) -> Array:
        """Which way a mechanism moves: 1, -1 or 0."""
        motor = self.template.of(Mechanism)[mechanism].motor
        return np.where(self._slips[mechanism], 0.0, self.turns[motor])

    def observed(self, name: str, by_hand: bool, solved: Solved) -> Bools:
        """Whether a part is seen to act, or can be moved by hand."""
        match self.template.circuit.parts[name]:
            case Motor() | Mechanism() if by_hand:
                return ~self._jammed[name]
            case Mechanism():
                return np.asarray(self.moves(name) != 0)
            case Motor():
                return np.asarray(self.turns[name] != 0)
            case Relay():
                return np.asarray(self.state[name] == 1)
            case Lamp() as lamp:
                power = solved.voltage(*lamp.between) * solved.current(name)
                return np.asarray(np.abs(power) >= 0.3 * lamp.rated_power.nominal)
            case _:
                raise ValueError(f"{name!r} cannot be observed")
