"""Turn taking: what of the microphone's sound is taken for the technician's.

Pure: blocks in, sound out; time is counted in samples.  What is kept from the recogniser
becomes silence of the same length, so that times go on to count the audio clock.
"""

from __future__ import annotations

from collections import deque
from dataclasses import replace
from typing import Literal, NamedTuple

import numpy as np

from handsfree.sound.audio import RATE, Samples, decibels, level
from handsfree.sound.blocks import BLOCK, Block
from handsfree.sound.echo import Canceller
from handsfree.sound.endpoint import Detector

TAIL = 0.3
"""Seconds after the own voice in which its echo, and a headset's delay, still come in."""

PRESSED = 8.0
"""Seconds after a press of the key in which speech must begin."""

HELD = 38
"""Blocks held while it may turn out that the technician cut in, 1.2 s."""

TurnState = Literal["listening", "speaking", "waiting"]


class Care(NamedTuple):
    """How sure one must be that somebody speaks.

    Attributes:
        margin: decibels over the own echo.
        least: blocks of speech.
        speech: probability from which a block is speech.
        learned: seconds of own voice before it is judged; what a canceller leaves of it until then
            says nothing.
    """

    margin: float
    least: int
    speech: float
    learned: float


BESIDE_ECHO = Care(margin=8, least=8, speech=0.5, learned=0.6)
CANCELLED = Care(margin=14, least=3, speech=0.4, learned=1.5)
"""The voice is silent by then, and what is left of it in the first sentence is seldom louder."""


class CutIn:
    """Hears the technician speak over the tool's own voice.

    How much of the own voice comes back into the microphone is learned while it speaks: the
    90th percentile, over the last `MEMORY` seconds, of the microphone's level over that of
    the loudest sound just played.  Speech that is louder than that by a margin, for a quarter of a
    second, is the technician's.  Of an echo canceller's sound the same is learned: what it left
    of the own voice.  Without one nothing is ever heard beside an open speaker, whose echo is as
    loud as the technician; with a headset it works.

    With a canceller the voice falls silent at the first loud sound, and waits: whoever speaks is
    then heard without it and cuts it off; after anything else it goes on.

    Args:
        detector: voice activity detector of its own.
        canceller: tells the own voice from others, if there is one.

    Attributes:
        waits: whether the voice is to be silent for a moment, since somebody may be speaking.
    """

    FLOOR = -50.0
    """Level in dBFS below which nothing is taken for speech at the microphone."""
    ECHO = 0.3
    """Seconds in which the echo of a sound comes back."""
    WITHIN = 12
    """Blocks among which those of speech must be."""
    DEAF = 6
    """Blocks of his speech that the canceller may have kept from being heard."""
    FEW, ANEW = 15, 60
    """Blocks by which it is known what is left of the own voice, and between two learnings."""
    WAIT = 16
    """Blocks for which the voice waits."""
    MEMORY = 10.0

    def __init__(self, detector: Detector, canceller: Canceller | None = None) -> None:
        self._detect = detector
        self._canceller = canceller
        self._clean: Samples | None = None  # the last block without the own voice
        self._coupling: deque[float] = deque(maxlen=int(self.MEMORY * RATE / BLOCK))
        self._left: deque[float] = deque(maxlen=int(self.MEMORY * RATE / BLOCK))
        self._voiced = 0  # blocks of own voice
        self._alone = 0  # blocks since anybody else was heard
        self._unlearned = self.ANEW  # blocks since the way was learned
        self._played: deque[float] = deque(maxlen=int(self.ECHO * RATE / BLOCK))
        self._over: deque[bool] = deque(maxlen=self.WITHIN)
        self._loud = 0  # blocks since it began to be loud, 0 while it is not
        self._louds: deque[bool] = deque(maxlen=HELD)
        self._his = 0  # blocks since it had first been loud when somebody cut in
        self.waits = False

    def listen(self, block: Block) -> Block:
        """Take in each block, in order; gives what is to be listened to, if it is listened to."""
        self._clean = None
        if self._canceller is None or block.reference is None:
            return block
        self._clean = self._canceller.hear(block.samples, block.reference)
        return replace(block, samples=self._canceller.latest(len(block.samples)))

    def overheard(self, held: Samples) -> Samples:
        """What was held when somebody cut in, without the own voice as far as that is known."""
        if self._canceller is None or self._clean is None:
            return held
        count = self._canceller.since((self._his + self.DEAF) * BLOCK, len(held))
        return np.pad(self._canceller.latest(count), (len(held) - count, 0))

    def hear(self, block: Block) -> bool:
        """Whether the technician speaks over the voice; one block while it speaks."""
        clear = self._clean is not None
        care = CANCELLED if clear else BESIDE_ECHO
        speech = self._detect(block.samples) >= care.speech
        self._played.append(decibels(block.played))
        played = max(self._played)
        self._voiced += played > self.FLOOR
        learned = care.learned * RATE / BLOCK
        sure = loud = False
        if self._clean is None:
            sure = loud = self._over_echo(self._coupling, block.samples, care, known=True)
        elif self._voiced > learned:
            # To be silent for is what stands out of either; somebody, what AEC3 leaves as well.
            sure = loud = self._over_echo(self._left, self._clean, care, known=True)
            known = self._canceller is not None and self._canceller.knows
            loud |= self._over_echo(self._coupling, block.samples, care, known=known)
            self._learn(loud)
        if self._voiced < learned:
            return False
        self._over.append(speech and sure)
        self._louds.append(loud)
        if clear:
            self._wait(loud)
        if sum(self._over) < care.least:
            return False
        self._his = len(self._louds) - self._louds.index(True)
        self.forget()
        return True

    def _over_echo(
        self, coupling: deque[float], samples: Samples, care: Care, *, known: bool
    ) -> bool:
        """Whether that is louder than what usually is left of the own voice, which is learned."""
        if not known:
            coupling.clear()
            return False
        heard, played = decibels(level(samples)), max(self._played)
        if played > self.FLOOR:
            coupling.append(heard - played)
        if len(coupling) < self.FEW:
            return False
        echo = played + float(np.percentile(coupling, 90))
        return heard > max(echo + care.margin, self.FLOOR)

    def _learn(self, loud: bool) -> None:
        """The way from the speaker, again and again while nobody else is heard."""
        self._alone = 0 if loud else self._alone + 1
        self._unlearned += 1
        if self._canceller is not None and min(self._alone, self._unlearned) >= self.ANEW:
            self._canceller.learn(self._alone * BLOCK)
            self._unlearned = 0

    def _wait(self, loud: bool) -> None:
        """Once for each time that it becomes loud: a noise that stays is spoken over."""
        if self.waits or loud:
            self._loud += 1
        elif self._loud:
            self._loud = 0
        self.waits = 0 < self._loud <= self.WAIT

    def forget(self) -> None:
        """The voice has stopped: what was just heard says nothing about its next breath."""
        self._over.clear()
        self._louds.clear()
        self._played.clear()
        self._loud, self.waits = 0, False


class Turns:
    """Half duplex, cut-in and the key.

    Args:
        tail: seconds after the own voice that are not taken for the technician's.
        cut_in: hears the technician over the own voice; None for half duplex.
        key: listen only after a press of the key, for one utterance.

    Attributes:
        key: whether there is one.
        cut: whether the last block was the one that cut in.
    """

    def __init__(
        self, tail: float = TAIL, *, cut_in: CutIn | None = None, key: bool = False
    ) -> None:
        self._tail = int(tail * RATE)
        self._cut_in = cut_in
        self.key = key
        self._open = 0.0 if key else float("inf")  # samples in which speech must begin
        self._since = self._tail  # samples since the own voice ended
        self._held: deque[Samples] = deque()
        self._interrupted = False  # the voice was cut off, and will fall silent
        self.cut = False

    @property
    def turn(self) -> TurnState:
        """Whose turn it is, or that the key is waited for."""
        if self._since < self._tail:
            return "speaking"
        return "listening" if self._open > 0 else "waiting"

    @property
    def waits(self) -> bool:
        """Whether the own voice is to be silent, since somebody may be speaking over it."""
        return self._cut_in is not None and self._cut_in.waits

    def press(self) -> None:
        """The key was pressed: the own voice is cut off, and one utterance is listened to."""
        if self.key:
            self._open = PRESSED * RATE
        self._interrupted = True
        self._since = self._tail

    def ended(self) -> None:
        """An utterance has ended: the key must be pressed again."""
        if self.key:
            self._open = 0.0

    def take(self, block: Block, *, speech: bool = False) -> Samples:
        """What is to be listened to: the block, or silence in its place.

        Args:
            block: from the microphone.
            speech: whether an utterance is under way; the key then waits for its end.

        Returns:
            Samples, shape (n,); in the long run as many as went in.  With `cut_in` they may
            come late while the tool speaks.
        """
        self.cut = False
        if self._cut_in:
            block = self._cut_in.listen(block)
        self._interrupted &= block.speaking
        if block.speaking and not self._interrupted:
            self._since = 0
        elif self._since < self._tail:
            self._since += len(block.samples)
        if self.turn == "speaking":
            return self._hold(block)
        if self._held:
            return np.concatenate([self._release(), self._gate(block.samples, speech)])
        return self._gate(block.samples, speech)

    def _gate(self, samples: Samples, speech: bool) -> Samples:
        """The sound, if the key lets it in."""
        heard = samples if self._open > 0 else np.zeros_like(samples)
        if not speech:
            self._open -= len(samples)
        return heard

    def _hold(self, block: Block) -> Samples:
        """While the tool speaks: silence, at once or late; or the speech that cut in."""
        if self._cut_in is None:
            return np.zeros_like(block.samples)
        self._held.append(block.samples)
        if self._cut_in.hear(block):
            self.press()
            self.cut = True
            held = np.concatenate(self._held)
            self._held.clear()
            return self._cut_in.overheard(held)
        if len(self._held) > HELD:
            return np.zeros_like(self._held.popleft())
        return np.zeros(0, np.float32)

    def _release(self) -> Samples:
        """What was held and was nobody's speech, as silence."""
        silence = np.zeros(sum(map(len, self._held)), np.float32)
        self._held.clear()
        if self._cut_in:
            self._cut_in.forget()
        return silence
