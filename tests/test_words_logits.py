"""A matrix that was laid out once multiplies as NumPy does."""

import numpy as np
import pytest

from handsfree.words.logits import Logits
from handsfree.words.onnx_graph import OnnxGraph, onnx_node
from handsfree.words.search import log_probabilities


@pytest.mark.parametrize("rows", [(1,), (9,), (2, 3)])
def test_it_multiplies_as_numpy_does(rows: tuple[int, ...]) -> None:
    rng = np.random.default_rng(len(rows))
    matrix = rng.normal(size=(384, 700)).astype(np.float32)
    some = rng.normal(size=(*rows, 384)).astype(np.float32)
    graph = OnnxGraph([onnx_node("MatMul", "x w", "y")], {"x": 384}, ["y"], {"w": matrix})
    assert np.allclose(graph(some)[0], some @ matrix, atol=1e-3)


@pytest.mark.parametrize("kind", [np.float16, np.float32])
def test_likely_logits_are_numpy_s_and_the_others_are_near(kind: type[np.floating]) -> None:
    rng = np.random.default_rng(3)
    table = (rng.normal(size=(5000, 384)) / 5).astype(kind)
    table[7] = 0
    some = rng.normal(size=(2, 3, 384)).astype(np.float32)
    found, exact = Logits(table)(some), some @ table.T.astype(np.float32)
    near = exact > exact.max(-1, keepdims=True) - 6
    assert near.sum() < near.size / 20
    assert np.allclose(found[near], exact[near], atol=1e-3)
    assert np.allclose(found, exact, atol=0.5)
    beside = log_probabilities(found.copy()) - log_probabilities(exact.copy())
    assert np.abs(beside[near]).max() < 0.03


def test_logarithms_of_probabilities_are_scipy_s() -> None:
    from scipy.special import log_softmax

    logits = np.random.default_rng(1).normal(size=(2, 3, 500)).astype(np.float32) * 20
    expected = log_softmax(logits, -1)
    assert np.allclose(log_probabilities(logits), expected, atol=1e-4)
