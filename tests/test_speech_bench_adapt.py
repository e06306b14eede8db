"""The lessons leave the held-out split alone, and what learns is the network that decodes."""

import random
import shutil
from itertools import islice

import numpy as np
import pytest
from speech_bench import phrases
from speech_bench.adapt.hearing import heard
from speech_bench.adapt.lessons import TALK, texts
from speech_bench.noise import UNRELATED
from speech_bench.phrases import split_of

from handsfree.sound.audio import RATE
from handsfree.words.weights import variables_in
from handsfree.words.whisper_decoder import WhisperDecoder
from handsfree.words.whisper_engine import packaged_whisper


def test_the_lessons_are_of_the_tuning_half_and_not_what_the_bench_says():
    lessons = [text for text, _ in islice(texts("test"), 60)]
    assert {split_of(text) for text in lessons} == {"tune"}
    assert not {p.text for p in phrases.phrases("tune")} & set(lessons)
    assert not set(TALK) & set(UNRELATED)


@pytest.mark.skipif(not shutil.which("flite"), reason="the babble needs flite, not installed")
@pytest.mark.parametrize("seed", range(12))
def test_what_is_heard_is_a_sound(seed):
    rng = random.Random(seed)
    speech = np.sin(np.arange(RATE) / 20).astype(np.float32) / 2
    sound = heard(speech, rng, is_speech=bool(seed % 3))
    assert np.isfinite(sound).all()
    assert 0 < np.abs(sound).max() <= 1
    assert len(sound) > 0.9 * RATE


def test_the_network_that_learns_is_the_one_that_decodes():
    """Two programmes of the same network: PyTorch's operators, and NumPy's."""
    torch = pytest.importorskip("torch", reason="the extra `lab` is not installed")
    from speech_bench.adapt.network import Adapted

    weights = variables_in(bytearray((packaged_whisper() / "model.bin").read_bytes()))
    learner, decoder = Adapted(weights, rank=2), WhisperDecoder(weights)
    tokens = [[50257, 50362, 734, 1440, 13]]
    sound = np.random.default_rng(0).standard_normal((200, 384)).astype(np.float32)
    with torch.no_grad():
        behind = decoder.listen(learner._silence.numpy())
        x = learner.tell(torch.tensor(tokens), torch.from_numpy(sound[np.newaxis]))
        mine = torch.log_softmax(learner.scores(x), -1).numpy()
    its, _ = decoder.step(tokens, decoder.listen(sound, behind), last=5)
    assert mine == pytest.approx(its, abs=2e-3)
    assert not any(value.any() for name, value in learner.change().items() if ":a" not in name)


def test_the_encoder_that_learns_is_the_one_that_encodes():
    """Reference: CTranslate2's own encoder on the same weights, in 32 bit floats."""
    torch = pytest.importorskip("torch", reason="the extra `lab` is not installed")
    from faster_whisper import WhisperModel
    from speech_bench.adapt.network import Adapted

    folder = packaged_whisper()
    model = WhisperModel(str(folder), device="cpu", compute_type="float32", cpu_threads=2)
    features = np.random.default_rng(1).standard_normal((80, 400)).astype(np.float32) / 3
    learner = Adapted(variables_in(bytearray((folder / "model.bin").read_bytes())), rank=2)
    with torch.no_grad():
        mine = learner.encode(torch.from_numpy(features[np.newaxis])).numpy()
    assert mine == pytest.approx(np.array(model.encode(features)), abs=2e-2)
