"""The lessons leave the held-out split alone, and what learns is the network that decodes."""

from itertools import islice

import numpy as np
import pytest
from speech_bench import phrases
from speech_bench.adapt.lessons import KEPT_OUT, TALK, WORDS, texts
from speech_bench.noise import UNRELATED
from speech_bench.phrases import split_of
from speech_bench.strangers import SPEAKERS

from handsfree.sound.audio import RATE
from handsfree.words.weights import variables_in
from handsfree.words.whisper_decoder import WhisperDecoder
from handsfree.words.whisper_engine import BEFORE, packaged_whisper


def test_the_lessons_are_of_the_tuning_half_and_not_what_the_bench_says():
    lessons = [text for text, _ in islice(texts("test"), 60)]
    assert {split_of(text) for text in lessons} == {"tune"}
    assert not {p.text for p in phrases.phrases("tune")} & set(lessons)
    assert not set(TALK) & set(UNRELATED)


def test_no_speaker_of_the_bench_teaches():
    assert {name for names in SPEAKERS.values() for name in names} <= KEPT_OUT
    assert len(WORDS) > 150


def test_what_is_learnt_is_heard_as_the_engine_hears_it():
    """Reference: faster-whisper's spectrogram of each row by itself."""
    torch = pytest.importorskip("torch", reason="the extra `lab` is not installed")
    from faster_whisper.feature_extractor import FeatureExtractor
    from speech_bench.adapt.hearing import Course

    reference = FeatureExtractor()
    filters = np.asarray(reference.mel_filters, np.float32)
    course = object.__new__(Course)
    course._filters, course._window = torch.from_numpy(filters), torch.hann_window(400)
    course._device = torch.device("cpu")
    sound = np.random.default_rng(0).standard_normal((2, 20_000)).astype(np.float32) / 9
    sound[1, 15_000:] = 0
    rows = course._features(torch.from_numpy(sound), torch.tensor([20_000, 15_000])).numpy()
    for row, size in ((0, 20_000), (1, 15_000)):
        wanted = reference(np.pad(sound[row, :size], (int(BEFORE * RATE), 0)))
        assert rows[row, :, : wanted.shape[1]] == pytest.approx(wanted, abs=1e-4)
        assert not rows[row, :, wanted.shape[1] :].any()


def test_weights_that_are_no_numbers_are_refused():
    torch = pytest.importorskip("torch", reason="the extra `lab` is not installed")
    from speech_bench.adapt.network import change

    with pytest.raises(ValueError, match="no number"):
        change({"x": torch.tensor([1.0, float("nan")])})


def test_the_network_that_learns_is_the_one_that_decodes():
    """Two programmes of the same network: PyTorch's operators, and NumPy's."""
    torch = pytest.importorskip("torch", reason="the extra `lab` is not installed")
    from speech_bench.adapt.network import Adapted, change

    weights = variables_in(bytearray((packaged_whisper() / "model.bin").read_bytes()))
    learner, decoder = Adapted(weights, rank=2, device=torch.device("cpu")), WhisperDecoder(weights)
    tokens = [[50257, 50362, 734, 1440, 13]]
    sound = np.random.default_rng(0).standard_normal((200, 384)).astype(np.float32)
    with torch.no_grad():
        behind = decoder.listen(learner._silence.numpy())
        x = learner.tell(torch.tensor(tokens), torch.from_numpy(sound[np.newaxis]))
        mine = torch.log_softmax(learner.scores(x), -1).numpy()
    its, _ = decoder.step(tokens[0], decoder.listen(sound, behind), last=5)
    near = its > its.max(-1, keepdims=True) - 5  # the others are in 8 bits: `words/logits.py`
    assert mine[0][near] == pytest.approx(its[near], abs=0.02)
    assert not any(
        value.any() for name, value in change(learner.learnt).items() if ":a" not in name
    )


def test_the_encoder_that_learns_is_the_one_that_encodes():
    """Reference: CTranslate2's own encoder on the same weights, in 32 bit floats."""
    torch = pytest.importorskip("torch", reason="the extra `lab` is not installed")
    from faster_whisper import WhisperModel
    from speech_bench.adapt.network import Adapted

    folder = packaged_whisper()
    model = WhisperModel(str(folder), device="cpu", compute_type="float32", cpu_threads=2)
    features = np.random.default_rng(1).standard_normal((80, 400)).astype(np.float32) / 3
    learner = Adapted(
        variables_in(bytearray((folder / "model.bin").read_bytes())), 2, torch.device("cpu")
    )
    with torch.no_grad():
        mine = learner.encode(torch.from_numpy(features[np.newaxis])).numpy()
    assert mine == pytest.approx(np.array(model.encode(features)), abs=2e-2)
