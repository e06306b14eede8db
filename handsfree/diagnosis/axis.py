"""The possible readings of one test, cut into cells.

A number is laid out so that the meter's error is one unit everywhere: cells are as fine as
the meter can tell where some cause predicts readings, and wide elsewhere.  One cell is OL.
A spoken state or an answer has one cell a word, and one for "none of these words".

Plain floats in SI units; readings are infinite for OL.  R rows, S samples, G cells.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

from handsfree.circuit.meter import Measurable, Meter
from handsfree.circuit.model import CircuitTest
from handsfree.circuit.values import Array
from handsfree.diagnosis.hearing import mishearings

Cells = NDArray[np.intp]

CELLS = 128
"""Most cells of a number."""

_WIDEST = 25.0  # errors of the meter in one cell
_FAR = 1000.0  # errors of the meter between readings that have nothing in common
_ERRORS = np.linspace(-0.8, 0.8, 5)
_LEVELS = np.linspace(0, 1, 9)


@dataclass(frozen=True, eq=False)
class NumberAxis:
    """Cells of a number.

    Attributes:
        quantity: what is measured.
        meter: whose error is the unit of length.
        edges: (G - 2,) between the cells, in errors of the meter; the last cell is OL.
    """

    quantity: Measurable
    meter: Meter
    edges: Array

    @property
    def size(self) -> int:
        """Number of cells G."""
        return len(self.edges) + 2

    def cell(self, values: Array) -> Cells:
        """The cell of each reading: same shape."""
        inside = np.searchsorted(self.edges, _place(self.quantity, self.meter, values))
        return np.where(np.isinf(values), self.size - 1, inside).astype(np.intp)

    def shares(self, values: Array) -> Array:
        """Share of readings in each cell, the meter's error included.

        Args:
            values: (R, S) samples of the true value.

        Returns:
            (R, G).  Between samples the distribution is taken as even, so that few samples of
            a wide distribution leave no holes.
        """
        shares = np.zeros((len(values), self.size))
        known = np.isfinite(values)
        count = known.sum(axis=1)
        for n in np.unique(count[count > 0]):
            rows = count == n
            finite = values[rows][known[rows]].reshape(-1, n)
            place = _place(self.quantity, self.meter, finite)
            shares[rows, :-1] = n / values.shape[1] * self._spread(place)
        shares[:, -1] = 1 - count / values.shape[1]
        return shares

    def _spread(self, place: Array) -> Array:
        """Share of readings in each cell but OL: (rows, samples) to (rows, G - 1)."""
        rows, samples = place.shape
        near = np.sort((place[:, :, None] + _ERRORS).reshape(rows, -1), axis=1)
        chosen = np.linspace(0, near.shape[1] - 1, max(5, samples // 3)).astype(np.intp)
        knots = near[:, chosen]
        beyond = 1 + 0.5 * np.diff(knots, axis=1)[:, [0, -1]]
        knots = np.hstack([knots[:, :1] - beyond[:, :1], knots, knots[:, -1:] + beyond[:, 1:]])
        tail = 1 / (samples + 1)
        levels = np.concatenate([[0], np.linspace(tail, 1 - tail, len(chosen)), [1]])
        below = np.array([np.interp(self.edges, row, levels, left=0, right=1) for row in knots])
        return np.asarray(np.diff(below, prepend=0, append=1, axis=1))

    def misheard(self) -> Array:
        """Chance that a number in one cell is mis-heard as one in another: (G, G)."""
        edges = np.concatenate([[self.edges[0] - 1], self.edges, [self.edges[-1] + 1]])
        inner = np.array([0.2, 0.5, 0.8])
        places = edges[:-1, None] + inner * np.diff(edges)[:, None]
        true = _value(self.quantity, self.meter, places.ravel())
        count = self.meter.resolution(self.quantity, true)
        heard, weights = mishearings(true / count, len(str(self.meter.display)))
        cells = self.cell(heard * count[:, None])
        here = np.repeat(np.arange(self.size - 1), len(inner))[:, None]
        matrix = np.zeros((self.size, self.size))
        np.add.at(matrix, (here, cells), weights / len(inner))
        matrix[-1, -1] = 1.0  # "over limit" has no digits
        return matrix

    @property
    def anything(self) -> Array:
        """Chance of a reading of which nothing is known, even over the decades: (G,)."""
        width = np.diff(self.edges)
        ends = 0.05 * width.sum()
        shares = np.concatenate([[ends], width, [ends, 2 * ends]])
        return np.asarray(shares / shares.sum())

    def beside(self, breadth: float) -> Array:
        """Chance of each cell for a reading that lies some errors beside: (G, G).

        Args:
            breadth: standard deviation in errors of the meter.
        """
        walls = np.concatenate([[-np.inf], self.edges, [np.inf]])
        middle = np.concatenate(
            [self.edges[:1] - 1, (self.edges[1:] + self.edges[:-1]) / 2, self.edges[-1:] + 1]
        )
        matrix = np.zeros((self.size, self.size))
        spread = scipy.special.ndtr((walls[None] - middle[:, None]) / breadth)
        matrix[:-1, :-1] = np.diff(spread, axis=1)
        matrix[-1, -1] = 1.0
        return matrix

    def place(self, values: Array) -> Array:
        """Readings in errors of the meter, OL far beyond the last edge: same shape."""
        place = _place(self.quantity, self.meter, values)
        return np.where(np.isinf(values), self.edges[-1] + _FAR, place)

    @property
    def walls(self) -> Array:
        """Lower and upper wall of each cell, as `place`: (G + 1,)."""
        return np.concatenate([[-np.inf], self.edges, [self.edges[-1] + _FAR / 2, np.inf]])

    def count_in(self, values: Array) -> Array:
        """Share of readings in each cell: (R, S) to (R, G), by counting."""
        return _count(self.cell(values), self.size)


@dataclass(frozen=True, eq=False)
class WordAxis:
    """One cell a word, the last for none of them."""

    words: tuple[str, ...]

    @property
    def size(self) -> int:
        """Number of cells G."""
        return len(self.words) + 1

    def cell(self, values: Array) -> Cells:
        """The cell of each word number: same shape."""
        return values.astype(np.intp)

    def shares(self, values: Array) -> Array:
        """Share of each word: (R, S) to (R, G)."""
        return _count(self.cell(values), self.size)

    def beside(self, breadth: float) -> Array:
        """A word has nothing beside it: (G, G)."""
        return np.eye(self.size)

    def place(self, values: Array) -> Array:
        """Words far apart: same shape."""
        return _FAR * values

    @property
    def walls(self) -> Array:
        """Lower and upper wall of each cell, as `place`: (G + 1,)."""
        return _FAR * (np.arange(self.size + 1, dtype=np.float64) - 0.5)

    def misheard(self) -> Array:
        """Chance that one word is taken for another: (G, G)."""
        return np.full((self.size, self.size), 1 / self.size)

    @property
    def anything(self) -> Array:
        """Chance of a word of which nothing is known: (G,)."""
        return np.full(self.size, 1 / self.size)


Axis = NumberAxis | WordAxis


def axis_of(test: CircuitTest, meter: Meter, values: Array) -> Axis:
    """The cells of a test.

    Args:
        test: of the circuit.
        meter: that reads it.
        values: (H, S) predicted under every cause.
    """
    if test.outcomes or test.measures is None:
        return WordAxis(test.outcomes)
    count = np.isfinite(values).sum(axis=1)
    ordered = np.sort(np.where(np.isfinite(values), values, np.inf), axis=1)[count > 0]
    which = np.round(_LEVELS[:, None] * (count[count > 0] - 1)).astype(np.intp)
    reach = ordered[np.arange(len(ordered)), which] if len(ordered) else np.zeros((9, 1))
    place = _place(test.measures, meter, reach)
    ends = np.stack([place[0] - 2, place[-1] + 2])
    between = np.arange(ends.min(), ends.max(), _WIDEST)  # a slip may fall where no cause reads
    places = np.unique(np.round(np.concatenate([place.ravel(), ends.ravel(), between])))
    chosen = np.linspace(0, len(places) - 1, min(len(places), CELLS - 1)).astype(np.intp)
    return NumberAxis(test.measures, meter, places[chosen] + 0.5)


def _scale(quantity: Measurable, meter: Meter) -> tuple[float, float]:
    """Error of the meter as `offset + slope * reading`, over its ranges."""
    accuracy = meter.accuracy_of(quantity)
    counts = max(accuracy.counts, 0.5)
    return counts * meter.finest[quantity], accuracy.percent / 100 + 3 * counts / meter.display


def _place(quantity: Measurable, meter: Meter, values: Array) -> Array:
    offset, slope = _scale(quantity, meter)
    size = np.abs(np.where(np.isfinite(values), values, 0.0))
    return np.sign(values) * np.log1p(size * slope / offset) / slope


def _value(quantity: Measurable, meter: Meter, places: Array) -> Array:
    offset, slope = _scale(quantity, meter)
    return np.sign(places) * np.expm1(np.abs(places) * slope) * offset / slope


def _count(cells: Cells, size: int) -> Array:
    rows = np.arange(len(cells))[:, None] * size
    counts = np.bincount((rows + cells).ravel(), minlength=len(cells) * size)
    return np.asarray(counts.reshape(len(cells), size) / cells.shape[1])
