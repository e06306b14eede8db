"""Which engine: by name, or the best that is there."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from handsfree.errors import BadInput, Missing
from handsfree.words.recogniser import Recogniser

if TYPE_CHECKING:
    from handsfree.words.moonshine_engine import MoonshineRecogniser
    from handsfree.words.whisper_engine import WhisperRecogniser


def open_engine(name: str = "auto", model: Path | None = None) -> Recogniser:
    """The engine of that name.

    `auto` is vosk where an English model is found, else the best of whisper+moonshine,
    whisper and pocketsphinx that is installed; with a model, the engine whose model it is.

    Args:
        name: auto, vosk, whisper+moonshine, whisper, moonshine or pocketsphinx.
        model: folder of its model, or None for the one that is installed.

    Raises:
        BadInput: there is no engine of that name.
        Missing: the engine or its model is not there.
    """
    if name == "auto":
        return _best(model)
    if name not in _OPEN:
        raise BadInput(f"there is no engine {name!r}", remedy=f"Known: auto, {', '.join(_OPEN)}")
    return _OPEN[name](model)


def _best(model: Path | None) -> Recogniser:
    from handsfree.words.vosk_engine import find_model

    if model is not None:
        return _OPEN[_kind(model)](model)
    try:
        found = find_model()
    except Missing:
        pass
    else:
        return _vosk(found)  # one that was put there must open, or its owner is told
    for engine in (_together, _whisper):
        try:
            return engine(None)
        except Missing:
            continue
    return _pocketsphinx(None)


def _kind(model: Path) -> str:
    """The engine to which a model's folder belongs, by a file that only its models hold."""
    marks = {
        "vosk": "am/final.mdl",
        "whisper": "model.bin",
        "moonshine": "encoder_model.ort",
        "pocketsphinx": "mdef",
    }
    for engine, mark in marks.items():
        if (model / mark).exists():
            return engine
    raise Missing(
        "that is no model of an engine that is known",
        where=str(model),
        remedy="Name the folder in which am/final.mdl (vosk) or model.bin (whisper) is.",
    )


def _vosk(model: Path | None) -> Recogniser:
    from handsfree.words.vosk_engine import VoskRecogniser, find_model

    return VoskRecogniser(model or find_model())


def _whisper(model: Path | None) -> WhisperRecogniser:
    from handsfree.words.weights import packaged_adaptation
    from handsfree.words.whisper_engine import WhisperRecogniser, packaged_whisper

    if model is not None:
        return WhisperRecogniser(model)
    return WhisperRecogniser(packaged_whisper(), packaged_adaptation())


def _pocketsphinx(model: Path | None) -> Recogniser:
    from handsfree.languages import load_language
    from handsfree.words.pocketsphinx_engine import PocketsphinxRecogniser

    return PocketsphinxRecogniser(model, load_language("en").pronunciations)


def _moonshine(model: Path | None) -> MoonshineRecogniser:
    from handsfree.words.moonshine_engine import MoonshineRecogniser, packaged_moonshine

    return MoonshineRecogniser(model or packaged_moonshine())


def _together(model: Path | None) -> Recogniser:
    from handsfree.words.together import Together

    moonshine = _moonshine(None)  # first: where it is missing, nothing was loaded in vain
    return Together(_whisper(model), moonshine)


_OPEN: dict[str, Callable[[Path | None], Recogniser]] = {
    "vosk": _vosk,
    "whisper": _whisper,
    "pocketsphinx": _pocketsphinx,
    "moonshine": _moonshine,
    "whisper+moonshine": _together,
}
