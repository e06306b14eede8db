"""The numeric kernel: many variants of one electrical network solved at once.

Modified nodal analysis (Ho, Ruehli & Brennan 1975, "The modified nodal approach to network
analysis").  The linear part is solved once per variant, together with its response at the
`ports`: where a nonlinear curve or a meter is connected.  What follows is small: Newton's
method on the curves alone (Nagel 1975, SPICE2: junction voltage limiting), and a meter is a
load on its port.

Plain floats in SI units.  N is the number of variants, B of branches, V of ideal sources, P
of curves, K of lead pairs, M of unknowns (nodes without ground, then source currents).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from handsfree.circuit.values import Array

Ints = NDArray[np.intp]

LEAK = 1e-9
"""Conductance in siemens from each node to ground: damp insulation, keeps open nodes defined."""

THERMAL_VOLTAGE = 1.380649e-23 * 300.15 / 1.602176634e-19
"""Boltzmann's constant times 27 °C over the elementary charge, in volts."""

LAMP_EXPONENT = 0.45
"""Filament resistance rises as voltage^0.45, so current as voltage^0.55 (IES Lighting Handbook)."""


class NotConverged(ArithmeticError):
    """The nonlinear solution was not found."""


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

    @property
    def unknowns(self) -> int:
        """Number of unknowns M."""
        return self.nodes + len(self.ideal)

    @cached_property
    def _incidence(self) -> Array:  # (B + P, M)
        return self._rows(np.concatenate([self.branches, self.curves]))

    @cached_property
    def _stamp(self) -> Array:  # (B + P, M * M)
        d = self._incidence
        return (d[:, :, None] * d[:, None, :]).reshape(len(d), -1)

    @cached_property
    def ports(self) -> Array:
        """(P + K, M): voltage of each port as a combination of the unknowns."""
        return self._rows(np.concatenate([self.curves, self.leads]))

    def _rows(self, pairs: Ints) -> Array:
        rows = np.zeros((len(pairs), self.unknowns + 1))
        index = np.arange(len(pairs))
        rows[index, pairs[:, 0]] += 1
        rows[index, pairs[:, 1]] -= 1
        return rows[:, 1:]

    def reduce(self, g: Array, e: Array, ideal: Array, curves: Array) -> Ports:
        """Solve the linear part and see it from the ports.

        Args:
            g: (N, B) conductances.
            e: (N, B) voltages in series with the branches.
            ideal: (N, V) voltages of the ideal sources.
            curves: (N, P, 3) parameters of the curves, see `current`.
        """
        m, n = self.unknowns, self.nodes
        preload = self._preload(curves)
        matrix = (np.concatenate([g, preload], axis=1) @ self._stamp).reshape(-1, m, m)
        diagonal = np.arange(n)
        matrix[:, diagonal, diagonal] += LEAK
        for k, row in enumerate(self._rows(self.ideal)[:, :n]):
            matrix[:, n + k, :n] += row
            matrix[:, :n, n + k] += row
        right = np.empty((len(g), m, 1 + len(self.ports)))
        right[:, :, 0] = -(g * e) @ self._incidence[: len(self.branches)]
        right[:, n:, 0] += ideal
        right[:, :, 1:] = self.ports.T
        solved = np.asarray(np.linalg.solve(matrix, right), dtype=np.float64)
        return Ports(self, solved[:, :, 0], solved[:, :, 1:], preload, curves)

    def _preload(self, curves: Array) -> Array:
        """Part of each curve that is counted as a conductance in the linear part. (N, P)."""
        load = np.empty(curves.shape[:2])
        for p, kind in enumerate(self.kinds):
            volts, watts = curves[:, p, 0], curves[:, p, 1]
            load[:, p] = 1e-4 if kind == "diode" else watts / volts**2
        return load


@dataclass(frozen=True, eq=False)
class Ports:
    """The linear part of N variants as seen from the ports.

    Attributes:
        network: what was solved.
        x: (N, M) unknowns with all ports open.
        z: (N, M, P + K) change of the unknowns per ampere into each port.
        preload: (N, P) conductance of the curves that is already in `x` and `z`.
        curves: (N, P, 3) parameters of the curves.
    """

    network: Network
    x: Array
    z: Array
    preload: Array
    curves: Array

    @cached_property
    def open(self) -> Array:
        """(N, P + K) open-circuit voltage of each port."""
        return self.x @ self.network.ports.T

    @cached_property
    def resistance(self) -> Array:
        """(N, P + K, P + K) voltage at a port per ampere into another."""
        return np.asarray(self.network.ports @ self.z)

    def voltages(self) -> Array:
        """(N, M) the unknowns with the curves connected and no meter."""
        p = len(self.network.kinds)
        if not p:
            return self.x
        i = self._settle(self.open[:, :p], self.resistance[:, :p, :p], slice(None))
        return np.asarray(self.x - np.einsum("nmp,np->nm", self.z[:, :, :p], i))

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
        p = len(self.network.kinds)
        q = p + lead
        v, z = self.open[rows, q], self.resistance[rows, q, q]
        share = 1 / (1 + z * load)
        if not p:
            return np.asarray((v + z * inject) * share)
        to_curves = self.resistance[rows, :p, q]
        from_curves = self.resistance[rows, q, :p]
        draw = (load * v - inject) * share
        seen = self.open[rows, :p] - to_curves * draw[:, None]
        coupled = to_curves[:, :, None] * from_curves[:, None, :] * (load * share)[:, None, None]
        i = self._settle(seen, self.resistance[rows, :p, :p] - coupled, rows)
        return np.asarray((v + z * inject - (from_curves * i).sum(axis=1)) * share)

    def _settle(self, seen: Array, z: Array, rows: Ints | slice) -> Array:
        """Newton's method on v = seen - z·i(v); returns i beyond the preload. (R, P)."""
        kinds, preload, curves = self.network.kinds, self.preload[rows], self.curves[rows]
        v, i = np.zeros_like(seen), np.zeros_like(seen)
        active = np.arange(len(seen))
        eye = np.eye(len(kinds))
        for _ in range(200):
            i_now, slope = current(kinds, v[active], curves[active])
            i_now = i_now - preload[active] * v[active]
            slope = slope - preload[active]
            i[active] = i_now
            miss = v[active] + np.einsum("npq,nq->np", z[active], i_now) - seen[active]
            jacobian = eye + z[active] * slope[:, None, :]
            target = v[active] - np.linalg.solve(jacobian, miss[:, :, None])[:, :, 0]
            target = _limit(kinds, v[active], target, curves[active])
            moved = np.abs(target - v[active]).max(axis=1)
            v[active] = target
            active = active[moved > 1e-11 * (1 + np.abs(target).max(axis=1))]
            if not len(active):
                i_now, _ = current(kinds, v, curves)
                return np.asarray(i_now - preload * v)
        raise NotConverged(f"{len(active)} of {len(seen)} variants did not settle")


def current(kinds: tuple[str, ...], v: Array, curves: Array) -> tuple[Array, Array]:
    """Current and slope of the curves.

    A diode takes I = Iₛ·(exp(V / (n·V_T)) - 1), its parameters are (Iₛ, n, unused).  A lamp is a
    resistance √(R_c² + (R_h² - R_c²)·|V/V_r|^0.9): cold R_c at nought, hot R_h at the rated
    voltage; its parameters are (rated volts, rated watts, R_c / R_h).

    Args:
        kinds: of the P curves.
        v: (N, P) volts.
        curves: (N, P, 3) parameters.

    Returns:
        (N, P) ampere and (N, P) siemens.
    """
    i, slope = np.empty_like(v), np.empty_like(v)
    for p, kind in enumerate(kinds):
        u, (first, second, third) = v[:, p], curves[:, p].T
        if kind == "diode":
            vt = second * THERMAL_VOLTAGE
            grown = first * np.exp(np.minimum(u / vt, 200.0))
            i[:, p], slope[:, p] = grown - first, grown / vt
        else:
            hot2 = (first**2 / second) ** 2
            cold2 = hot2 * third**2
            rise = (hot2 - cold2) * np.abs(u / first) ** (2 * LAMP_EXPONENT)
            r2 = cold2 + rise
            i[:, p] = u / np.sqrt(r2)
            slope[:, p] = (r2 - LAMP_EXPONENT * rise) / r2**1.5
    return i, slope


def _limit(kinds: tuple[str, ...], old: Array, new: Array, curves: Array) -> Array:
    """Junction voltage limiting (Nagel 1975): a diode's voltage rises by logarithmic steps."""
    for p, kind in enumerate(kinds):
        if kind != "diode":
            continue
        vt = curves[:, p, 1] * THERMAL_VOLTAGE
        critical = vt * np.log(vt / (np.sqrt(2) * curves[:, p, 0]))
        a, b = old[:, p], new[:, p]
        far = (b > critical) & (np.abs(b - a) > 2 * vt)
        rise = np.maximum((b - a) / vt, -0.999999)
        stepped = np.where(
            a > 0,
            np.where(rise > 0, a + vt * np.log1p(rise), critical),
            vt * np.log(np.maximum(b / vt, 1e-30)),
        )
        new[:, p] = np.where(far, stepped, b)
    return new
