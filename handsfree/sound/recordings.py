"""Utterances with their source, and those of recorded files."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from handsfree.sound.audio import load
from handsfree.sound.endpoint import Endpointer, Utterance

Via = Literal["microphone", "phone", "file", "keyboard"]


@dataclass(frozen=True, slots=True)
class Captured:
    """An utterance and where it comes from.

    Attributes:
        utterance: samples and times.
        source: name of the file, or what `via` says.
        via: how its sound came; a file may be named "microphone".
    """

    utterance: Utterance
    source: str
    via: Via


def recorded(paths: Iterable[Path]) -> Iterator[Captured]:
    """The utterances of recordings, in order; every file is read before the first is heard.

    Raises:
        BadInput: a file cannot be used.
    """
    recordings = [(path, load(path)) for path in paths]

    def each() -> Iterator[Captured]:
        for path, audio in recordings:
            endpointer = Endpointer()
            for utterance in [*endpointer.feed(audio.samples), *endpointer.flush()]:
                yield Captured(utterance, path.name, "file")

    return each()
