"""When something was said: a recording goes by the time of its own sound, all else by the clock."""

from __future__ import annotations

from handsfree.sound.recordings import Via


class SaidTimes:
    """Times of the utterances of one dictation, in seconds since 1970, UTC; they never go back.

    A recording may be listened to faster or slower than it was spoken, so its utterances are as
    far apart as in the sound.
    """

    def __init__(self) -> None:
        self._last = 0.0
        self._file: tuple[str | None, float] = (None, 0.0)  # which one, and its last start
        self._begin = 0.0  # time of the first sample of that file

    def of(
        self, start: float, end: float, now: float, source: str | None, via: Via | None
    ) -> float:
        """When an utterance was said that is taken up at `now`.

        Args:
            start, end: of it, in seconds within its sound.
            now: by the clock.
            source: name of its file, or what `via` says.
            via: how its sound came; None if it was typed.
        """
        if via != "file":
            self._file = (None, 0.0)
            self._last = max(self._last, now - (end - start))
            return self._last
        if source != self._file[0] or start < self._file[1]:  # another recording
            self._begin = max(now, self._last) - start
        self._file = (source, start)
        self._last = max(self._last, self._begin + start)
        return self._last
