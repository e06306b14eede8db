"""The numeric kernel: many variants of one electrical network solved at once.

Modified nodal analysis (Ho, Ruehli & Brennan 1975, "The modified nodal approach to network
analysis").  The linear part is solved once per variant; its response at the `Ports`, where a
nonlinear curve or a meter is connected, follows from the same factors.  What is left is small:
Newton's method on the curves alone (Nagel 1975, SPICE2: junction voltage limiting), and a meter
is a load on its port.

Plain floats in SI units; the variants are the last axis.  N is the number of variants, B of
branches, V of ideal sources, P of curves, K of lead pairs, M of unknowns (nodes without
ground, then source currents).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np

from handsfree.circuit.elimination import Elimination, Factors
from handsfree.circuit.values import Array, Ints
from handsfree.errors import BadInput

LEAK = 1e-9
"""Conductance in siemens from each node to ground: damp insulation, keeps open nodes defined."""

THERMAL_VOLTAGE = 1.380649e-23 * 300.15 / 1.602176634e-19
"""Boltzmann's constant times 27 °C over the elementary charge, in volts."""

LAMP_EXPONENT = 0.45
"""Filament resistance rises as voltage^0.45, so current as voltage^0.55 (IES Lighting Handbook)."""


_STEPS = 200
_SETTLED = 1e-9  # last step of Newton's method; the error left is about its square


class NotConverged(BadInput):
    """No steady state was found for the diodes and lamps of a circuit."""


@dataclass(frozen=True, eq=False)
class Network:
    """Which nodes are joined; the values come with each call.

    Attributes:
        nodes: number of nodes without ground; ground is node 0.
        branches: (B, 2) nodes; a branch carries g·(v₀ - v₁ + e) from the first to the second.
        ideal: (V, 2) nodes, plus first, of voltage sources without resistance.
        curves: (P, 2) nodes of the nonlinear elements.
        kinds: kind of each curve.
        leads: (K, 2) nodes of red and black lead.
    """

    nodes: int
    branches: Ints
    ideal: Ints
    curves: Ints
    kinds: tuple[Literal["diode", "lamp"], ...]
    leads: Ints

    @cached_property
    def _conductors(self) -> list[tuple[int, int]]:
        """Ends of the branches and curves."""
        return [(int(a), int(b)) for a, b in np.concatenate([self.branches, self.curves])]

    @cached_property
    def _elimination(self) -> Elimination:
        edges = [(a, b) for a, b in self._conductors if a != b]
        numbers = range(self.nodes + 1, self.nodes + len(self.ideal) + 1)
        edges += [(k, int(n)) for k, pair in zip(numbers, self.ideal, strict=True) for n in pair]
        return Elimination(self.nodes + len(self.ideal), edges, last=numbers)

    def reduce(self, g: Array, e: Array, ideal: Array, curves: Array) -> Ports:
        """Solve the linear part and see it from the ports.

        Args:
            g: (B, N) conductances.
            e: (B, N) voltages in series with the branches.
            ideal: (V, N) voltages of the ideal sources.
            curves: (P, 3, N) parameters of the curves, see `current`.
        """
        order, preload, n = self._elimination, self._preload(curves), g.shape[1]
        matrix = np.zeros((order.entries, n))
        x = np.zeros((1 + self.nodes + len(self.ideal), n))
        matrix[1 : self.nodes + 1] = LEAK
        for (a, b), conductance in zip(self._conductors, (*g, *preload), strict=True):
            matrix[a] += conductance
            matrix[b] += conductance
            if a != b:
                matrix[order.row(a, b)] -= conductance
        for (a, b), drive in zip(self._conductors, g * e, strict=False):
            x[a] -= drive
            x[b] += drive
        for k, ((a, b), volts) in enumerate(zip(self.ideal, ideal, strict=True), self.nodes + 1):
            x[k] = volts
            matrix[order.row(k, a)] += 1
            matrix[order.row(k, b)] -= 1
        factors = order.factor(matrix)
        factors.solve(x)
        return Ports(self, x, factors, preload, curves)

    def _preload(self, curves: Array) -> Array:
        """Part of each curve that is counted as a conductance in the linear part. (P, N)."""
        diode = np.array([kind == "diode" for kind in self.kinds], dtype=bool)[:, None]
        with np.errstate(divide="ignore"):
            return np.where(diode, 1e-4, curves[:, 1] / curves[:, 0] ** 2)


@dataclass(frozen=True, eq=False)
class Ports:
    """The linear part of N variants as seen from the ports.

    Attributes:
        network: what was solved.
        x: (M + 1, N) ground and the unknowns, with all ports open.
        factors: from which the response to a current into any port follows.
        preload: (P, N) conductance of the curves that is already in `x` and `factors`.
        curves: (P, 3, N) parameters of the curves.
    """

    network: Network
    x: Array
    factors: Factors
    preload: Array
    curves: Array

    def replace(self, rows: Ints, other: Ports) -> None:
        """Take the linear part of some variants from `other`, which has only these."""
        self.x[:, rows] = other.x
        self.factors.replace(rows, other.factors)

    def voltages(self) -> Array:
        """(M + 1, N) the unknowns with the curves connected and no meter."""
        if not self.network.kinds:
            return self.x
        every = slice(None)
        i = self._settle(self._open(every), self._resistance(self._columns(every), every), every)
        change = np.zeros_like(self.x)
        for (a, b), ampere in zip(self.network.curves, i, strict=True):
            change[a] += ampere
            change[b] -= ampere
        self.factors.solve(change)
        return np.asarray(self.x - change)

    def metered(self, rows: Ints, lead: Ints, load: Array, inject: Array) -> Array:
        """Voltage between the leads of a meter.

        Args:
            rows: (R,) variants.
            lead: (R,) which lead pair, 0 to K - 1.
            load: (R,) conductance of the meter in siemens.
            inject: (R,) current that it drives out of the red lead, in ampere.

        Returns:
            (R,) volts, red against black.
        """
        volts = np.empty(len(rows))
        for pair in np.unique(lead):
            here = lead == pair
            volts[here] = self._metered(rows[here], int(pair), load[here], inject[here])
        return volts

    def _metered(self, rows: Ints, pair: int, load: Array, inject: Array) -> Array:
        a, b = map(int, self.network.leads[pair])
        column = self.factors.between(a, b, rows)
        v = self.x[a, rows] - self.x[b, rows]
        z = self.factors.product(column, column, rows)
        share = 1 / (1 + z * load)
        if not self.network.kinds:
            return np.asarray((v + z * inject) * share)
        curves = self._columns(rows)
        across = np.stack([self.factors.product(curve, column, rows) for curve in curves])
        seen = self._open(rows) - across * (load * v - inject) * share
        coupled = across[:, None] * across * (load * share)
        i = self._settle(seen, self._resistance(curves, rows) - coupled, rows)
        return np.asarray((v + z * inject - (across * i).sum(axis=0)) * share)

    def _open(self, rows: Ints | slice) -> Array:
        """(P, R) voltage of each curve while it takes no current beyond its preload."""
        a, b = self.network.curves.T
        return np.asarray(self.x[a][:, rows] - self.x[b][:, rows])

    def _columns(self, rows: Ints | slice) -> list[dict[int, Array]]:
        """Of each curve, see `Factors.between`."""
        return [self.factors.between(int(a), int(b), rows) for a, b in self.network.curves]

    def _resistance(self, columns: list[dict[int, Array]], rows: Ints | slice) -> Array:
        """(P, P, R) voltage at a curve per ampere into another."""
        product = self.factors.product
        return np.array([[product(one, two, rows) for two in columns] for one in columns])

    def _settle(self, seen: Array, z: Array, rows: Ints | slice) -> Array:
        """Newton's method on v = seen - z·i(v); returns i beyond the preload. (P, R)."""
        kinds, preload, curves = self.network.kinds, self.preload[:, rows], self.curves[..., rows]
        v, eye = np.zeros_like(seen), np.eye(len(kinds))[:, :, None]
        active = np.arange(seen.shape[1])
        for _ in range(_STEPS):
            old, some = v[:, active], curves[..., active]
            i, slope = current(kinds, old, some)
            i, slope = i - preload[:, active] * old, slope - preload[:, active]
            miss = old + (z[..., active] * i).sum(axis=1) - seen[:, active]
            jacobian = eye + z[..., active] * slope
            step = np.linalg.solve(jacobian.transpose(2, 0, 1), miss.T[:, :, None])[:, :, 0].T
            new = _limit(kinds, old, old - step, some)
            v[:, active] = new
            moved = np.abs(new - old).max(axis=0) > _SETTLED * (1 + np.abs(new).max(axis=0))
            active = active[moved]
            if not len(active):
                return np.asarray(current(kinds, v, curves)[0] - preload * v)
        raise NotConverged(
            f"no steady state in {len(active)} of {seen.shape[1]} variants of the circuit",
            remedy="Look at the diodes: each needs some resistance in its path.",
        )


def current(kinds: tuple[str, ...], v: Array, curves: Array) -> tuple[Array, Array]:
    """Current and slope of the curves.

    A diode takes I = Iₛ·(exp(V / (n·V_T)) - 1), its parameters are (Iₛ, n, unused).  A lamp is a
    resistance √(R_c² + (R_h² - R_c²)·|V/V_r|^0.9): cold R_c at nought, hot R_h at the rated
    voltage; its parameters are (rated volts, rated watts, R_c / R_h).

    Args:
        kinds: of the P curves.
        v: (P, N) volts.
        curves: (P, 3, N) parameters.

    Returns:
        (P, N) ampere and (P, N) siemens.
    """
    i, slope = np.empty_like(v), np.empty_like(v)
    for p, kind in enumerate(kinds):
        u, (first, second, third) = v[p], curves[p]
        if kind == "diode":
            vt = second * THERMAL_VOLTAGE
            grown = first * np.exp(np.minimum(u / vt, 200.0))
            i[p], slope[p] = grown - first, grown / vt
        else:
            hot2 = (first**2 / second) ** 2
            cold2 = hot2 * third**2
            rise = (hot2 - cold2) * np.abs(u / first) ** (2 * LAMP_EXPONENT)
            r2 = cold2 + rise
            i[p], slope[p] = u / np.sqrt(r2), (r2 - LAMP_EXPONENT * rise) / r2**1.5
    return i, slope


def _limit(kinds: tuple[str, ...], old: Array, new: Array, curves: Array) -> Array:
    """Junction voltage limiting (Nagel 1975): a diode's voltage rises by logarithmic steps."""
    for p, kind in enumerate(kinds):
        if kind != "diode":
            continue
        vt = curves[p, 1] * THERMAL_VOLTAGE
        critical = vt * np.log(vt / (np.sqrt(2) * curves[p, 0]))
        a, b = old[p], new[p]
        far = (b > critical) & (np.abs(b - a) > 2 * vt)
        rise = np.maximum((b - a) / vt, -0.999999)
        stepped = np.where(
            a > 0,
            np.where(rise > 0, a + vt * np.log1p(rise), critical),
            vt * np.log(np.maximum(b / vt, 1e-30)),
        )
        new[p] = np.where(far, stepped, b)
    return new
