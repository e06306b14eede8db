"""From sound to words, held to one grammar.

engines -> recogniser                       one interface, and which engine is opened
vosk_engine, pocketsphinx_engine            engines that take a grammar themselves
whisper_engine, moonshine_engine            models that write text: `ear`, `search` and
                                            `spelling` hold them to an `acceptor`
whisper_decoder, whisper_parts, logits,
onnx_graph, weights                         what a model is made of
together                                    two models that judge each other's wordings
apart, served                               an engine in a process of its own
pace                                        wordings against the time that words take
transcriber                                 an utterance to what was heard
fetch                                       models for people with a network

The process of an engine needs no transcriber, which is imported when it is asked for.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from handsfree.words.engines import open_engine
from handsfree.words.pace import in_time
from handsfree.words.recogniser import Recogniser, Recognition

if TYPE_CHECKING:
    from handsfree.words.transcriber import Transcriber

__all__ = ["Recogniser", "Recognition", "Transcriber", "in_time", "open_engine"]


def __getattr__(name: str) -> object:
    if name != "Transcriber":
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from handsfree.words.transcriber import Transcriber

    return Transcriber
