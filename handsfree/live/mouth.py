"""The mouth: tones and the read-back voice, through the sound card."""

from __future__ import annotations

import itertools
import threading
from collections.abc import Callable, Iterable, Iterator
from contextlib import suppress

import numpy as np

from handsfree.check import Comparison
from handsfree.errors import HandsfreeError
from handsfree.events import Asked, Entry, Event, ReadingTaken, UtteranceHeard
from handsfree.live.settings import Settings
from handsfree.live.sounds import Sounds
from handsfree.meaning import Command, Understood
from handsfree.sound import tones
from handsfree.sound.pieces import Pieces
from handsfree.sound.tones import Tone, tone
from handsfree.sound.voice import Voice, Waveform, open_voice

OVERDUE = 5.0
"""Seconds after a breath should have been heard when the speaker is taken for hung."""


class Mouth:
    """Says texts; what cannot be said because the sound is lost is kept and said later.

    Args:
        voice: makes the sound; with the voice off nothing is heard, tones neither.
        sounds: the sound card.
        settings: volume and speed to begin with.

    Attributes:
        settings: as changed by voice.
        unsaid: texts that were not heard to their ends, because the sound was lost.
        was_cut: whether the last breath was cut off.
        failed: why the voice has fallen silent for good, if it has.
    """

    def __init__(self, voice: Voice, sounds: Sounds, settings: Settings) -> None:
        self.settings = settings
        self.unsaid: list[str] = []
        self.failed: HandsfreeError | None = None
        self._voice = voice
        self._pieces = Pieces(voice)
        self._sounds = sounds
        self._numbers = itertools.count(1)
        self._number = 0
        self._over = threading.Event()  # this breath is heard, cut off or lost
        self.was_cut = False
        self._open = self._whole = self._waits = False
        self._tone: Tone | None = None

    def follow(self, event: Event) -> None:
        """Take from an event which tone comes next, and louder, softer, faster, slower."""
        match event:
            case ReadingTaken(entry=Entry(verdict=Comparison(outcome=str()) as verdict)):
                worse = self._tone == "out_of_range" or not verdict.passed  # of several values
                self._tone = "out_of_range" if worse else "in_range"
            case Asked():
                self._tone = "asked"
            case UtteranceHeard(understood=Understood(meaning=Command(name=command))):
                self.settings = self.settings.changed(command)

    def prepare(self, texts: Iterable[str], wait: Callable[[], None] = lambda: None) -> None:
        """Make the sound of texts that will be said, in the background.

        Args:
            texts: them.
            wait: called before each, to leave the machine to what is more urgent.
        """
        if self._voice.audible:
            threading.Thread(target=self._prepare, args=(list(texts), wait), daemon=True).start()

    def _prepare(self, texts: Iterable[str], wait: Callable[[], None]) -> None:
        with suppress(HandsfreeError):  # it will be told when it is to be heard
            for text in texts:
                wait()
                self._pieces.prepare(text, self.settings.speed / 100)

    def speak(self, text: str, *, keep: bool = True) -> None:
        """Say it; returns when it has been heard, cut off, or lost and, if wanted, kept."""
        first, self._tone = self._tone, None
        self.was_cut = False
        if self._voice.audible and text and not self._heard(text, first) and keep:
            self.unsaid.append(text)

    def open(self) -> None:
        """The sound card can be heard."""
        self._open = True

    def said(self, number: int) -> None:
        """The breath with this number has been heard."""
        if number == self._number:
            self._over.set()

    def cut(self) -> None:
        """Fall silent: the technician speaks, or has pressed the key."""
        self.was_cut |= not self._over.is_set()  # a breath that has been heard cannot be cut off
        self._sounds.stop(self._number)

    def wait(self, silent: bool) -> None:
        """Be silent for a moment, or go on: perhaps the technician speaks."""
        if silent != self._waits:
            self._waits = silent
            self._sounds.wait(self._number, silent)

    def lost(self) -> None:
        """Nothing is heard any more."""
        self._open = False
        if not self._over.is_set():
            self._whole = False
            self._over.set()

    def _heard(self, text: str, first: Tone | None) -> bool:
        """Say it; False if the sound was lost before its end."""
        self._whole = True
        self._over.clear()
        if not self._open:
            return False
        number = self._number = next(self._numbers)
        seconds = 0.0
        try:
            for samples, rate in self._sound(text, first):
                if self._over.is_set():
                    break
                self._sounds.play(number, samples, rate)
                seconds += len(samples) / rate
        except HandsfreeError as error:
            self.failed, self._voice = error, open_voice("off")
        self._sounds.end(number)
        if not self._over.wait(seconds + OVERDUE):
            self._sounds.restart()
            return False
        return self._whole

    def _sound(self, text: str, first: Tone | None) -> Iterator[Waveform]:
        gain = self.settings.gain
        if first:
            yield tone(first) * np.float32(gain), tones.TONE_RATE
        for samples, rate in self._pieces.say(text, self.settings.speed / 100):
            if self.was_cut:
                return
            yield samples * np.float32(gain), rate
