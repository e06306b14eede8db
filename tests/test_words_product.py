"""A matrix that was laid out once multiplies as NumPy does."""

import numpy as np
import pytest

from handsfree.words.product import Product
from handsfree.words.search import log_probabilities


@pytest.mark.parametrize("rows", [(1,), (9,), (2, 3)])
def test_it_multiplies_as_numpy_does(rows: tuple[int, ...]) -> None:
    rng = np.random.default_rng(len(rows))
    matrix = rng.normal(size=(384, 700)).astype(np.float32)
    some = rng.normal(size=(*rows, 384)).astype(np.float32)
    assert np.allclose(Product(matrix)(some), some @ matrix, atol=1e-3)


def test_it_keeps_no_hold_of_the_matrix() -> None:
    matrix = np.ones((384, 700), np.float32)
    product = Product(matrix)
    matrix.fill(0)
    assert np.allclose(product(np.ones((2, 384), np.float32)), 384)


def test_logarithms_of_probabilities_are_scipy_s() -> None:
    from scipy.special import log_softmax

    logits = np.random.default_rng(1).normal(size=(2, 3, 500)).astype(np.float32) * 20
    expected = log_softmax(logits, -1)
    assert np.allclose(log_probabilities(logits), expected, atol=1e-4)
