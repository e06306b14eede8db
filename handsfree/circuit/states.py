"""The states of parts in every variant, and how they follow from voltages and currents.

A relay pulls, a motor turns, a module works only with its supply, a wiper follows the
mechanism.  Conditions and faults may hold a state whatever the voltages say.

H is the number of hypotheses, C of conditions, S of samples; arrays are (H, C, S).
"""

from __future__ import annotations

from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from handsfree.circuit import faults as modes
from handsfree.circuit.model import Fault
from handsfree.circuit.parts import (
    Fuse,
    Lamp,
    Mechanism,
    Motor,
    Potentiometer,
    PulseDriver,
    Relay,
)
from handsfree.circuit.template import Template
from handsfree.circuit.values import Array, Spread, parse_spread

Bools = NDArray[np.bool_]

SLOW = 0.7
"""Share of its rated voltage below which a motor is seen to be slow: common practice."""


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
        lift: volts by which the mean of each pulsed output lies below its supply.
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
        self.lift = {n: np.zeros(self.shape) for n in template.of(PulseDriver)}
        self.powered = {n: np.zeros(self.shape, dtype=bool) for n, p in parts.items() if p.needs}
        self._failed = {n: np.zeros(self.shape, dtype=bool) for n in self.powered}
        self._held = {n: np.zeros(self.shape, dtype=bool) for n in parts}
        self._removed = {n: np.zeros(self.shape, dtype=bool) for n in parts}
        self._jammed = {n: np.zeros(self.shape, dtype=bool) for n in parts}
        self._slips = {n: np.zeros(self.shape, dtype=bool) for n in parts}
        self._jumps = {n: np.zeros(self.shape, dtype=bool) for n in parts}
        # Where the mechanisms of each condition moved: in itself, or in the one before it.
        order = {name: c for c, name in enumerate(conditions)}
        self._moved_in = [order[template.circuit.after.get(name, name)] for name in conditions]
        for c, settings in enumerate(conditions.values()):
            for name, value in settings.items():
                self._hold(name, (slice(None), c), value)

    def value(self, part: str, spread: Spread) -> Array:
        """A toleranced value of a part: (S,)."""
        return self.template.term(part, spread).at(self.u)

    def _hold(self, name: str, where: tuple[slice | int, ...], value: str) -> None:
        part = self.template.circuit.parts[name]
        if isinstance(part, Mechanism) and value in part.states():
            self._removed[name][where] = value == "removed"
            return
        self._held[name][where] = True
        if value in part.states():
            self.state[name][where] = self.template.stateful[name].names.index(value)
        else:
            usual = part.setting()
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
            case modes.WornSegment():
                self._jumps[fault.part][h] = True

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
        for name, fuse in self.template.of(Fuse).items():
            blown = (self.state[name] == 1) | (np.abs(solved.current(name)) >= fuse.blows_at)
            blown &= ~self._held[name]  # what is taken out by hand is put back
            ever = blown.any(axis=1, keepdims=True)  # in one condition, and for good
            self.state[name] = np.where(self._held[name], self.state[name], ever)
        for name, pulse in self.template.of(PulseDriver).items():
            supply = np.maximum(solved.voltage(pulse.supply, pulse.ground), 0.0)
            lift = np.where(self.state[name] == 0, (1 - self.setting[name]) * supply, 0.0)
            self.lift[name] = np.asarray(lift.round(4))
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
        blocked = self._jammed[motor]
        for name, mechanism in self.template.of(Mechanism).items():
            if mechanism.motor == motor:
                blocked = blocked | (self._jammed[name] & ~self._removed[name])
        return blocked

    def _position(self, name: str) -> Array:
        mechanism, moves = self.template.of(Mechanism)[name], self.moves(name)
        ahead, back = self.value(name, mechanism.forward), self.value(name, mechanism.reverse)
        rest = self.value(name, mechanism.rest)
        end = rest if mechanism.motor is None else np.where(moves > 0, ahead, back)
        goal = np.where(self._held[name], self.setting[name], end)
        return np.where(moves != 0, goal, rest)

    def moves(self, mechanism: str) -> Array:
        """Which way a mechanism moves, or moved in the condition before: 1, -1 or 0.

        Without a motor 1 if it is attached.
        """
        motor = self.template.of(Mechanism)[mechanism].motor
        stays = self._slips[mechanism] | self._removed[mechanism]
        turns = np.ones(self.shape) if motor is None else self.turns[motor]
        return np.where(stays, 0.0, turns)[:, self._moved_in]

    def observed(self, name: str, by_hand: bool, solved: Solved) -> Array:
        """What is seen of a part: 1 it acts or can be moved, 0 not; 0.5 current without motion.

        A motor that runs with less than `SLOW` of its rated voltage is slow: 0.75.

        Of a potentiometer: 1 if its reading changes smoothly while it is moved, 0 if it jumps.
        """
        match self.template.circuit.parts[name]:
            case Motor() | Mechanism() if by_hand:
                return 1.0 - self._jammed[name]
            case Mechanism(motor=None):
                return 1.0 - self._slips[name]
            case Mechanism(motor=str(motor)):
                return self._motion(self.moves(name), motor, solved)
            case Motor():
                return self._motion(self.turns[name], name, solved)
            case Relay():
                return self.state[name].astype(np.float64)
            case Potentiometer():
                return 1.0 - self._jumps[name]
            case Lamp() as lamp:
                power = solved.voltage(*lamp.between) * solved.current(name)
                return np.where(np.abs(power) >= 0.3 * lamp.rated_power.nominal, 1.0, 0.0)
            case _:
                raise ValueError(f"{name!r} cannot be observed")

    def _motion(self, moves: Array, motor: str, solved: Solved) -> Array:
        least = self.value(motor, self.template.of(Motor)[motor].starting_current)
        fed = (np.abs(solved.current(motor)) >= least) | (self.turns[motor] != 0)
        part = self.template.of(Motor)[motor]
        runs = np.ones(self.shape)
        if part.rated is not None:
            starved = np.abs(solved.voltage(*part.between)) < SLOW * part.rated.nominal
            runs = np.where(starved, 0.75, 1.0)
        return np.where(moves != 0, runs, np.where(fed[:, self._moved_in], 0.5, 0.0))
