"""How models write the words of a grammar: tokens, and text read back from them."""

import numpy as np
import pytest
from plan_sample import sample

from handsfree.errors import Missing
from handsfree.languages import load_language
from handsfree.plan import load_plan
from handsfree.words import moonshine_engine
from handsfree.words.moonshine_engine import BYTES, SPECIAL, WORDS, packaged_moonshine, spelling
from handsfree.words.weights import adapt, packaged_adaptation, variables_in


@pytest.fixture(scope="module")
def moonshine():
    return spelling(packaged_moonshine() / "tokenizer.bin")


@pytest.fixture(scope="module")
def vocabulary() -> set[str]:
    from handsfree.grammar.moment import SpokenPlan

    found: set[str] = set()
    for name in sample():
        plan = load_plan(name).plan
        spoken = SpokenPlan(load_language("en"), plan)
        for slots in (spoken.slots(step, written=False) for step in plan.steps):
            found |= spoken.language.parser("listening", slots).vocabulary
    return found


def test_the_tokens_are_those_of_a_reference_library(moonshine, vocabulary):
    """Reference: Hugging Face's tokenizers, with the merges in the order of the tokens."""
    from tokenizers import Tokenizer
    from tokenizers.models import BPE

    tokens = moonshine_engine._tokens((packaged_moonshine() / "tokenizer.bin").read_bytes())
    number = {tokens[n].decode(): n for n in range(WORDS, SPECIAL)}
    merges = [
        (text[:at], text[at:])
        for text in number
        for at in range(1, len(text))
        if text[:at] in number and text[at:] in number
    ]
    reference = Tokenizer(BPE(vocab=number, merges=merges))
    for word in sorted(vocabulary):
        if set(word) <= set("abcdefghijklmnopqrstuvwxyz'-"):
            wanted = tuple(reference.encode(f"▁{word}").ids)
            assert wanted in moonshine.words(word), word


def test_every_word_of_every_plan_is_read_back(moonshine, vocabulary):
    for word in vocabulary:
        for tokens in moonshine.words(word):
            assert "".join(map(moonshine.letters, tokens)).strip() in word.replace("'", "").lower()
            assert moonshine.text(tokens) in (word.lower(), word.lower().replace("-", " "))


def test_a_letter_that_no_token_knows_is_written_in_bytes(moonshine):
    (tokens, *_) = moonshine.words("\U0001f50a")
    assert all(token < BYTES + 256 or token >= WORDS for token in tokens)
    assert moonshine._decode(tokens) == " \U0001f50a"


@pytest.mark.parametrize("content", [b"", b"\x05abc", b"\xff"])
def test_a_file_without_tokens_is_refused(tmp_path, content):
    (tmp_path / "tokenizer.bin").write_bytes(content)
    with pytest.raises(ValueError, match="tokens"):
        spelling(tmp_path / "tokenizer.bin")


@pytest.mark.parametrize("name", ["encoder_model.ort", "decoder_model_merged.ort", "tokenizer.bin"])
def test_changed_moonshine_weights_are_refused(monkeypatch, name):
    monkeypatch.setitem(moonshine_engine.MOONSHINE_SHA256, name, "0" * 64)
    with pytest.raises(Missing, match="not the ones that were checked"):
        packaged_moonshine()


# The change to Whisper's weights


def test_a_matrix_is_changed_by_the_product_of_two_thin_ones():
    rng = np.random.default_rng(0)
    before = rng.standard_normal((6, 4)).astype(np.float16)
    variables = {"w": before.copy(), "bias": np.zeros(6, np.float16)}
    a, b = rng.standard_normal((2, 4)), rng.standard_normal((6, 2))
    adapt(variables, {"w:a": a, "w:b": b, "bias": np.arange(6)})
    assert variables["w"] == pytest.approx(before + b @ a, abs=0.02)
    assert list(variables["bias"]) == [0, 1, 2, 3, 4, 5]


@pytest.mark.parametrize(
    "change", [{"other": np.ones(3)}, {"w": np.ones(3)}, {"w:a": np.ones((1, 2))}]
)
def test_a_change_for_another_model_is_refused(change):
    with pytest.raises(ValueError, match=r"another model|broadcast"):
        adapt({"w": np.zeros((2, 2), np.float32)}, change)


def test_the_change_that_comes_along_fits_whisper_and_is_small():
    from handsfree.words.whisper_engine import packaged_whisper

    weights = bytearray((packaged_whisper() / "model.bin").read_bytes())
    before, after = variables_in(bytearray(weights)), variables_in(weights)
    adapt(after, packaged_adaptation())
    name = "encoder/layer_0/self_attention/linear_0/weight"
    changed = np.abs(after[name].astype(np.float32) - before[name].astype(np.float32))
    assert 0 < changed.mean() < 0.5 * np.abs(before[name].astype(np.float32)).mean()
    assert np.array_equal(after["decoder/embeddings/weight"], before["decoder/embeddings/weight"])
