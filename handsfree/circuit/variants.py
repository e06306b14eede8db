"""Every variant of a circuit: fault hypotheses x conditions x tolerance samples.

Resistances and source voltages follow from the states of the parts, states from voltages and
currents.  So it is solved, states are set, and what changed is solved again until all is
settled.

Plain floats in SI units.  H is the number of hypotheses, C of conditions, S of samples, B of
branches; the N = H·C·S variants are numbered in this order.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from handsfree.circuit import faults as modes
from handsfree.circuit.elements import OPEN
from handsfree.circuit.model import Fault
from handsfree.circuit.network import Network, Ports
from handsfree.circuit.parts import Motor, Potentiometer, Thermistor, Wire
from handsfree.circuit.physics.thermometer import ntc_ratio
from handsfree.circuit.states import States
from handsfree.circuit.template import Template
from handsfree.circuit.values import Array, Ints

RUNNING = 1e9  # ohms in series with a running motor: it takes its current at any voltage
_LEAST = 1e-3  # ohms left of a potentiometer's track at its end
_ROUNDS = 12  # a longer chain of relays is not followed


class Variants:
    """The settled variants of some hypotheses.

    Args:
        template: the circuit.
        hypotheses: faults present in each; () is the healthy circuit.
        u: (S, columns + F) tolerances from -1 to 1; the last F columns move the faults'
            own values, one for each fault of a hypothesis.
        leads: (K, 2) nodes of the lead pairs that will be measured.

    Attributes:
        states: states, settings and motion.
        ohms, volts: (B, H, C, S) of the branches.
        ports: what a meter sees, N variants.
    """

    def __init__(
        self, template: Template, hypotheses: Sequence[Sequence[Fault]], u: Array, leads: Ints
    ) -> None:
        self.template, self.u = template, u
        self.states = States(template, u, len(hypotheses))
        self.shape = self.states.shape
        self._base_ohms = np.stack([term.at(u) for term in template.ohms])[:, None, None]
        volts = [-t.at(u) if t else np.zeros(len(u)) for t in template.volts]
        self._base_volts = np.stack(volts)[:, None, None]
        self._tables = {name: part.table(u) for name, part in template.stateful.items()}
        self._series = np.zeros((len(template.ohms), len(hypotheses), 1, len(u)))
        self._weak: list[tuple[int, int, Array]] = []
        self._drifted: list[tuple[int, int, Array]] = []
        self._worn: list[tuple[int, str, modes.WornSegment, Array]] = []
        self._bridges: list[tuple[int, tuple[str, str], Array]] = []
        for h, faults in enumerate(hypotheses):
            for k, fault in enumerate(faults):
                self._damage(h, fault, u[:, template.columns + k])
        bridges = template.pairs([pair for _, pair, _ in self._bridges])
        self.network = Network(
            nodes=len(template.node) - 1,
            branches=np.concatenate([template.ends, bridges]),
            ideal=np.zeros((0, 2), dtype=np.intp),
            curves=template.curve_ends,
            kinds=template.kinds,
            leads=leads,
        )
        self._curves = self._curve_values()
        # The nominal sample settles first; most others settle as it does.
        first = Variants(template, hypotheses, u[:1], leads).states if len(u) > 1 else None
        self.states.begin(first)
        self._settle()

    def voltage(self, red: str, black: str) -> Array:
        """Voltage between two nodes without a meter: (H, C, S)."""
        a, b = self.template.node[red], self.template.node[black]
        return np.asarray(self._x[a] - self._x[b])

    def current(self, part: str, slot: str = "") -> Array:
        """Current of a branch from its first node to its second: (H, C, S)."""
        branch = self.template.branch[part, slot]
        a, b = self.network.branches[branch]
        return np.asarray((self._x[a] - self._x[b] + self.volts[branch]) / self.ohms[branch])

    def _damage(self, h: int, fault: Fault, u: Array) -> None:
        self.states.damage(h, fault, u)
        circuit, name, mode = self.template.circuit, fault.part, fault.mode
        match mode:
            case modes.Open() | modes.HighResistance():
                added = (
                    mode.resistance.at(u)
                    if isinstance(mode, modes.HighResistance)
                    else OPEN.nominal
                )
                for (part, slot), b in self.template.branch.items():
                    if part == name and mode.at in (None, slot):
                        self._series[b, h] += added
            case modes.Short():
                for pair in circuit.parts[name].across(name, mode.at):
                    self._bridges.append((h, pair, mode.resistance.at(u)))
            case modes.ShortToGround() | modes.ShortToSupply() | modes.ShortTo():
                here = mode.node or circuit.parts[name].terminal(name, mode.at)
                there = {"short to ground": circuit.ground, "short to supply": circuit.supply}
                other = mode.other if isinstance(mode, modes.ShortTo) else there[mode.mode]
                self._bridges.append((h, (here, other), mode.resistance.at(u)))
            case modes.Swapped(other=other):
                one, two = circuit.parts[name], circuit.parts[other]
                assert isinstance(one, Wire)
                assert isinstance(two, Wire)
                for part in (name, other):
                    self._series[self.template.branch[part, ""], h] += OPEN.nominal
                for start, end in ((one, two), (two, one)):
                    pair = (start.between[0], end.between[1])
                    self._bridges.append((h, pair, start.ohms.at(np.zeros(len(u)))))
            case modes.Weak():
                self._weak += [(h, b, -mode.voltage.at(u)) for b in self.template.of_part(name)]
            case modes.Drifted():
                self._drifted += [(h, b, mode.share.at(u)) for b in self.template.of_part(name)]
            case modes.WornSegment():
                self._worn.append((h, name, mode, mode.resistance.at(u)))

    def _curve_values(self) -> Array:
        """Parameters of the curves: (P, 3, N)."""
        curves = np.zeros((len(self.network.kinds), 3, *self.shape))
        for p, terms in enumerate(self.template.curve_terms):
            for k, term in enumerate(terms):
                curves[p, k] = term.at(self.u)
        return curves.reshape(*curves.shape[:2], math.prod(self.shape))

    def _values(self) -> tuple[Array, Array]:
        """Ohms and volts of every branch in every variant: (B, H, C, S) each."""
        template, states = self.template, self.states
        own, total = len(template.ohms), len(self.network.branches)
        ohms = np.full((total, *self.shape), np.inf)
        volts = np.zeros((total, *self.shape))
        ohms[:own], volts[:own] = self._base_ohms, self._base_volts
        sample = np.arange(len(self.u))
        for name, part in template.stateful.items():
            for column, table in zip(part.columns, self._tables[name], strict=True):
                ohms[column] = table[states.state[name], sample]
        for name, powered in states.powered.items():
            for b in template.of_part(name):
                ohms[b] = np.where(powered, ohms[b], OPEN.nominal)
        for name in template.of(Potentiometer):
            place = states.setting[name]
            for slot, share in (("first", 1 - place), ("second", place)):
                b = template.branch[name, slot]
                ohms[b] = np.maximum(ohms[b] * share, _LEAST)
        for name, lift in states.lift.items():
            volts[template.branch[name, ""]] = -lift
        for name, thermistor in template.of(Thermistor).items():
            beta = states.value(name, thermistor.beta)
            ohms[template.branch[name, ""]] *= ntc_ratio(beta, states.setting[name])
        for name, motor in template.of(Motor).items():
            b, turns = template.branch[name, ""], states.turns[name]
            ohms[b] = np.where(turns != 0, RUNNING, ohms[b])
            volts[b] = turns * states.value(name, motor.running_current) * RUNNING
        for h, b, value in self._drifted:
            ohms[b, h] *= value
        ohms[:own] += self._series
        for h, b, value in self._weak:
            volts[b, h] = value
        for h, name, mode, value in self._worn:
            place = states.setting[name][h]
            on = (place >= mode.start.nominal) & (place <= mode.end.nominal)
            ohms[template.branch[name, "wiper"], h] += np.where(on, value, 0.0)
        for k, (h, _, value) in enumerate(self._bridges):
            ohms[own + k, h] = value
        return ohms, volts

    def _settle(self) -> None:
        self.ohms, self.volts = self._values()
        self.ports = self._solve(np.arange(math.prod(self.shape)))
        self._x = self._voltages()
        for _ in range(_ROUNDS):
            self.states.update(self)
            ohms, volts = self._values()
            changed = ((ohms != self.ohms) | (volts != self.volts)).any(axis=0)
            rows = np.flatnonzero(changed)
            if not len(rows):
                return
            self.ohms, self.volts = ohms, volts
            self.ports.replace(rows, self._solve(rows))
            self._x = self._voltages()

    def _voltages(self) -> Array:
        """Node voltages with ground first: (nodes + 1, H, C, S)."""
        return self.ports.voltages().reshape(-1, *self.shape)

    def _solve(self, rows: Ints) -> Ports:
        g = 1 / self.ohms.reshape(len(self.ohms), -1)[:, rows]
        e = self.volts.reshape(len(self.volts), -1)[:, rows]
        return self.network.reduce(g, e, np.zeros((0, len(rows))), self._curves[..., rows])
