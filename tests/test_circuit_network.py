"""The kernel against ngspice (an independent solver) and against networks worked by hand."""

import numpy as np
import pytest
from circuit_spice import deck, needs_ngspice, node_voltages, operating_points

from handsfree.circuit.elimination import Elimination
from handsfree.circuit.network import LEAK, THERMAL_VOLTAGE, Network, current


def pairs(*ends):
    return np.array(ends, dtype=np.intp).reshape(-1, 2)


def random_network(rng, nonlinear):
    """Connected by construction: a random tree of resistors, then more of everything."""
    nodes = int(rng.integers(2, 13))
    tree = [(k, int(rng.integers(0, k))) for k in range(1, nodes + 1)]
    more = [tuple(rng.choice(nodes + 1, 2, replace=False)) for _ in range(rng.integers(0, nodes))]
    branches = pairs(*tree, *more)
    g = 10.0 ** -rng.uniform(0, 5, len(branches))
    e = np.where(rng.random(len(branches)) < 0.4, rng.uniform(-15, 15, len(branches)), 0.0)
    # Current sources: a gigohm with its voltage.
    for k in np.flatnonzero(rng.random(len(branches)) < 0.1):
        if k >= len(tree):
            g[k], e[k] = 1e-9, rng.uniform(-0.02, 0.02) * 1e9
    ideal = pairs((int(rng.integers(1, nodes + 1)), 0)) if rng.random() < 0.5 else pairs()
    kinds, ends, curves = [], [], []
    for _ in range(int(rng.integers(1, 5)) if nonlinear else 0):
        a, b = rng.choice(nodes + 1, 2, replace=False)
        # Half of them with a series resistance; never straight across an ideal source.
        if len(ideal) or rng.random() < 0.5:
            nodes += 1
            branches = np.concatenate([branches, pairs((a, nodes))])
            g, e, a = np.append(g, 10.0 ** -rng.uniform(0, 4)), np.append(e, 0.0), nodes
        ends.append((a, b))
        if rng.random() < 0.7:
            kinds.append("diode")
            curves.append((1e-14, 1.0, 0.0))  # ngspice's default diode
        else:
            kinds.append("lamp")
            curves.append((12.0, rng.uniform(2, 55), rng.uniform(0.06, 0.12)))
    net = Network(nodes, branches, ideal, pairs(*ends), tuple(kinds), pairs())
    values = np.array(curves).reshape(-1, 3, 1)
    return net, g[:, None], e[:, None], rng.uniform(3, 15, (len(ideal), 1)), values


@needs_ngspice
@pytest.mark.parametrize("nonlinear", [False, True], ids=["linear", "diodes and lamps"])
def test_random_networks_agree_with_ngspice(nonlinear, tmp_path):
    """300 networks to 1e-6 of each node's voltage, or a nanovolt."""
    rng = np.random.default_rng(7)
    networks = [random_network(rng, nonlinear) for _ in range(150)]
    decks = [deck(net, *(v[..., 0] for v in values)) for net, *values in networks]
    for (net, *values), found in zip(networks, operating_points(decks, tmp_path), strict=True):
        ours = net.reduce(*values).voltages()[1 : net.nodes + 1, 0]
        assert ours == pytest.approx(node_voltages(net, found), rel=1e-6, abs=1e-9)


@needs_ngspice
def test_a_meter_is_the_same_as_its_resistance_in_the_network(tmp_path):
    """The reading at a port equals that of a network with the meter drawn into it."""
    rng = np.random.default_rng(11)
    networks, decks = [], []
    for _ in range(40):
        net, g, e, s, c = random_network(rng, nonlinear=True)
        red, black = rng.choice(net.nodes + 1, 2, replace=False)
        load, inject = 10.0 ** -rng.uniform(3, 7), rng.uniform(0, 1e-3)
        with_leads = Network(net.nodes, net.branches, net.ideal, net.curves, net.kinds,
                             pairs((0, 1), (red, black)))  # fmt: skip
        drawn = Network(net.nodes, np.concatenate([net.branches, pairs((red, black))]), net.ideal,
                        net.curves, net.kinds, pairs())  # fmt: skip
        g_drawn, e_drawn = np.append(g[:, 0], load), np.append(e[:, 0], -inject / load)
        decks.append(deck(drawn, g_drawn, e_drawn, s[:, 0], c[..., 0]))
        networks.append((with_leads, (g, e, s, c), red, black, load, inject))
    for item, found in zip(networks, operating_points(decks, tmp_path), strict=True):
        net, values, red, black, load, inject = item
        theirs = np.concatenate([[0.0], node_voltages(net, found)])
        reading = net.reduce(*values).metered(
            np.array([0]), np.array([1]), np.array([load]), np.array([inject])
        )
        assert reading[0] == pytest.approx(theirs[red] - theirs[black], rel=1e-6, abs=1e-9)


def column(*values):
    return np.array(values, dtype=float).reshape(-1, 1)


NO_CURVES = np.zeros((0, 3, 1))


def test_divider_by_hand():
    # 12 V over 1 kΩ and 2 kΩ: 8 V; a 10 kΩ meter on it: 12 × (2‖10) / (1 + 2‖10) = 7.5 V.
    net = Network(2, pairs((2, 1), (1, 0)), pairs((2, 0)), pairs(), (), pairs((1, 0)))
    reduced = net.reduce(column(1e-3, 5e-4), column(0, 0), column(12), NO_CURVES)
    assert reduced.voltages()[1, 0] == pytest.approx(8, rel=1e-5)
    row = np.array([0])
    reading = reduced.metered(row, row, np.array([1e-4]), np.array([0.0]))
    assert reading[0] == pytest.approx(7.5, rel=1e-5)


def test_wheatstone_bridge_by_hand():
    # 10 V, arms 100/200 and 300/400 Ω: 10 × (200/300 - 400/700) = 0.95238 V across the bridge.
    arms = pairs((3, 1), (1, 0), (3, 2), (2, 0))
    net = Network(3, arms, pairs((3, 0)), pairs(), (), pairs((1, 2)))
    g = 1 / column(100, 200, 300, 400)
    x = net.reduce(g, 0 * g, column(10), NO_CURVES).voltages()
    assert x[1, 0] - x[2, 0] == pytest.approx(10 * (2 / 3 - 4 / 7), rel=1e-6)


def test_an_open_node_is_defined_and_an_ohmmeter_sees_the_leak():
    net = Network(2, pairs((1, 0)), pairs(), pairs(), (), pairs((2, 0)))
    reduced = net.reduce(column(1), column(0), np.zeros((0, 1)), NO_CURVES)
    assert reduced.voltages()[:, 0] == pytest.approx([0, 0, 0])
    row = np.array([0])
    one_ampere = reduced.metered(row, row, np.array([0.0]), np.array([1.0]))
    assert one_ampere[0] == pytest.approx(1 / LEAK)


def test_elimination_agrees_with_lapack():
    rng = np.random.default_rng(3)
    edges = [(int(a), int(b)) for a, b in rng.integers(0, 13, (30, 2)) if a != b]
    order = Elimination(12, edges)
    dense = np.zeros((5, 13, 13))
    matrix = np.zeros((order.entries, 5))
    for k in range(1, 13):
        matrix[k] = dense[:, k, k] = 1e-3
    for a, b in edges:
        g = rng.random(5)
        for end in (a, b):
            matrix[end] += g
            dense[:, end, end] += g
        matrix[order.row(a, b)] -= g
        dense[:, a, b] -= g
        dense[:, b, a] -= g
    right = rng.normal(size=(13, 4, 5))
    theirs = np.linalg.solve(dense[:, 1:, 1:], right[1:].transpose(2, 0, 1))
    factors = order.factor(matrix)
    factors.solve(right)
    assert right[1:].transpose(2, 0, 1) == pytest.approx(theirs, rel=1e-9)


def test_lamp_current_goes_with_the_power_055_of_the_voltage():
    # IES Lighting Handbook: current goes as about voltage^0.55 near the rated voltage, from memory.
    curves = np.broadcast_to(column(12, 21, 0.08), (1, 3, 5))
    volts = np.array([[12.0, 11.4, 1e-6, 11.999, 12.001]])
    (i,), (slope,) = current(("lamp",), volts, curves)
    assert i[0] == pytest.approx(21 / 12)
    assert i[1] / i[0] == pytest.approx(0.95**0.55, rel=1e-3)
    assert 1e-6 / i[2] == pytest.approx(0.08 * 12 * 12 / 21, rel=1e-3)
    assert slope[0] == pytest.approx((i[4] - i[3]) / 0.002, rel=1e-6)


def test_diode_is_shockleys():
    v = THERMAL_VOLTAGE * np.log(1e-2 / 1e-14 + 1)
    i, slope = current(("diode",), np.array([[v]]), np.array([[[1e-14], [1.0], [0.0]]]))
    assert i[0, 0] == pytest.approx(1e-2)
    assert slope[0, 0] == pytest.approx(1e-2 / THERMAL_VOLTAGE)
