"""Runs ngspice on networks of the kernel: many decks in one process."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest

from handsfree.circuit.model import Circuit
from handsfree.circuit.network import LAMP_EXPONENT, LEAK, THERMAL_VOLTAGE, Network
from handsfree.circuit.solve import single_faults
from handsfree.circuit.template import Template
from handsfree.circuit.variants import Variants

NGSPICE = shutil.which("ngspice")
needs_ngspice = pytest.mark.skipif(NGSPICE is None, reason="ngspice is not installed")

# ngspice 39 computes with the constants of CODATA 2014; this temperature gives it our V_T.
CELSIUS = THERMAL_VOLTAGE * 1.6021766208e-19 / 1.38064852e-23 - 273.15
EXACT = "reltol=1e-10 abstol=1e-12 vntol=1e-11"
#: Where a lamp hangs on leakage alone, ngspice may never get that near.
NEAR = "reltol=1e-8 abstol=1e-12 vntol=1e-9"
OPTIONS = f".options {EXACT} gmin=1e-18 pivtol=1e-20 itl1=2000 temp={CELSIUS!r} tnom={CELSIUS!r}"


def deck(net: Network, g, e, ideal, curves) -> str:
    """A SPICE deck of one variant; node k of the network is `nk`, a source's current `i(vsk)`."""
    name = lambda node: "0" if node == 0 else f"n{node}"  # noqa: E731
    lines = ["* one variant", OPTIONS]
    lines += [f"rleak{n} n{n} 0 {1 / LEAK!r}" for n in range(1, net.nodes + 1)]
    for k, ((a, b), conductance, volts) in enumerate(zip(net.branches, g, e, strict=True)):
        if conductance == 0:
            continue
        if volts == 0:
            lines.append(f"r{k} {name(a)} {name(b)} {float(1 / conductance)!r}")
        elif abs(volts) > 50:  # a current source
            lines.append(f"r{k} {name(a)} {name(b)} {float(1 / conductance)!r}")
            lines.append(f"i{k} {name(a)} {name(b)} dc {float(volts * conductance)!r}")
        else:
            lines.append(f"r{k} {name(a)} m{k} {float(1 / conductance)!r}")
            lines.append(f"v{k} {name(b)} m{k} dc {float(volts)!r}")
    for k, ((a, b), volts) in enumerate(zip(net.ideal, ideal, strict=True)):
        lines.append(f"vs{k} {name(a)} {name(b)} dc {float(volts)!r}")
    for k, ((a, b), kind, p) in enumerate(zip(net.curves, net.kinds, curves, strict=True)):
        if kind == "diode":
            lines.append(f".model dm{k} d(is={float(p[0])!r} n={float(p[1])!r})")
            lines.append(f"d{k} {name(a)} {name(b)} dm{k}")
        else:
            hot2 = float((p[0] ** 2 / p[1]) ** 2)
            cold2 = hot2 * float(p[2]) ** 2
            v = f"v({name(a)},{name(b)})"
            lines.append(
                f"b{k} {name(a)} {name(b)} i={v}/sqrt({cold2!r}+{hot2 - cold2!r}"
                f"*pow(1e-24+({v}/{float(p[0])!r})*({v}/{float(p[0])!r}),{LAMP_EXPONENT!r}))"
            )
    return "\n".join([*lines, ".end", ""])


def operating_points(decks: list[str], folder: Path) -> list[dict[str, float]]:
    """Solve every deck in one ngspice process; one dictionary of node voltages each."""
    script = [".control", "set numdgt=15"]
    for k, text in enumerate(decks):
        (folder / f"{k}.cir").write_text(text)
        script += [f"source {folder}/{k}.cir", "op", f"echo deck {k}", "print all", "remcirc"]
    (folder / "run.cir").write_text("\n".join(["* run", *script, "quit", ".endc", ".end", ""]))
    assert NGSPICE is not None
    out = subprocess.run(
        [NGSPICE, "-b", str(folder / "run.cir")], capture_output=True, text=True, check=False
    ).stdout
    found: list[dict[str, float]] = [{} for _ in decks]
    at = -1
    for line in out.splitlines():
        if match := re.match(r"deck (\d+)", line):
            at = int(match[1])
        elif at >= 0 and (match := re.match(r"(\S+) = (\S+)", line)):
            found[at][match[1]] = float(match[2])
    return found


def node_voltages(net: Network, found: dict[str, float]) -> np.ndarray:
    """The (nodes,) voltages of one operating point."""
    return np.array([found[f"n{k}"] for k in range(1, net.nodes + 1)])


def compare(circuit: Circuit, folder: Path) -> int:
    """Assert that every single fault under every condition agrees with ngspice.

    To 1e-6 of each node's voltage or 2 µV: nodes that only leakage holds carry that much
    rounding in either solver.

    Returns:
        number of variants compared.
    """
    template = Template(circuit)
    by_id = {fault.id: fault for fault in circuit.faults}
    present = [[by_id[i] for i in hypothesis] for hypothesis in single_faults(circuit)]
    u = np.zeros((1, template.columns + 1))
    variants = Variants(template, present, u, np.zeros((1, 2), dtype=np.intp))
    net, ports = variants.network, variants.ports
    ohms = variants.ohms.reshape(len(variants.ohms), -1)
    volts = variants.volts.reshape(len(variants.volts), -1)
    every = range(ohms.shape[1])
    decks = [deck(net, 1 / ohms[:, n], volts[:, n], (), ports.curves[..., n]) for n in every]
    ours = ports.voltages()[1 : net.nodes + 1]
    points = operating_points(decks, folder)
    for n in (n for n in every if "n1" not in points[n]):
        (points[n],) = operating_points([decks[n].replace(EXACT, NEAR)], folder)
    for n, found in enumerate(points):
        assert ours[:, n] == pytest.approx(node_voltages(net, found), rel=1e-6, abs=2e-6)
    return len(decks)
