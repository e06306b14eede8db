"""Hearing: a thread that turns what the sound card tells into utterances and happenings.

It never waits for the recogniser or the voice, so that cutting in and the level bar work while
those are busy.
"""

from __future__ import annotations

import queue
import threading
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from handsfree.errors import HandsfreeError
from handsfree.live.mouth import Mouth
from handsfree.live.sounds import Sounds
from handsfree.live.turns import Turns, TurnState
from handsfree.sound.audio import RATE, Samples, decibels, level
from handsfree.sound.blocks import BLOCK, Block
from handsfree.sound.card import Deaf, Lost, Opened, Said
from handsfree.sound.endpoint import Endpointer, Utterance

LEVEL_EVERY = 8
"""Blocks between two levels that are told, about a quarter of a second."""

HOLE = RATE // 2
"""Samples that may be missing within an utterance; a longer hole ends it unheard."""

FORESEEN = 0.22
"""Seconds without speech that an utterance has at its end; where they are hush, that it has perhaps
ended is told before."""

NOISE = 60.0
"""Seconds over which the level of the noise is taken."""


@dataclass(frozen=True, slots=True)
class InputLevel:
    """What the microphone hears now.

    Attributes:
        dbfs: level over the last quarter of a second.
        turn: whether it is listened to.
        speech: whether an utterance is under way.
    """

    dbfs: float
    turn: TurnState
    speech: bool


@dataclass(frozen=True, slots=True)
class Overrun:
    """Sound was lost because the machine was too busy.

    Attributes:
        seconds: lost now.
        count: how often since the start.
    """

    seconds: float
    count: int


@dataclass(frozen=True, slots=True)
class Ending:
    """An utterance that has perhaps ended: it is whole if no more is said in the pause.

    Attributes:
        utterance: as it will come then.
    """

    utterance: Utterance


Happening = Utterance | Ending | Opened | Lost | Deaf | Overrun | HandsfreeError


class Hearing:
    """Listens until it is closed.

    Args:
        sounds: the sound card.
        turns: what of its sound is the technician's.
        mouth: is told, from the thread, when it has been heard, cut off, or can speak no more.
        meter: called about four times a second, from the thread.
        went_on: called from the thread when an utterance that had perhaps ended has not.
    """

    def __init__(
        self,
        sounds: Sounds,
        turns: Turns,
        mouth: Mouth,
        meter: Callable[[InputLevel], None] = lambda _: None,
        went_on: Callable[[], None] = lambda: None,
    ) -> None:
        self._went_on = went_on
        self._sounds, self._turns = sounds, turns
        self._mouth, self._meter = mouth, meter
        self._inbox: queue.Queue[Happening] = queue.Queue()
        self._endpointer = Endpointer(after=FORESEEN, soon=True)
        self._offset = 0  # where the endpointer's stream begins in that of the microphone
        self._fed = 0  # samples it has had
        self._foreseen = 0.0  # end of the utterance that has perhaps ended; 0 while speech goes on
        # The same in times of the endpointer, and its hush, until it has ended or gone on.
        self._told: tuple[float, float] | None = None
        self._wanted = (-1.0, 0.0)  # end of an utterance, and the pause that ends it
        self._listening = threading.RLock()  # held by who changes any of these
        self._overruns = 0
        self._quiet = threading.Event()
        self._levels: deque[float] = deque(maxlen=LEVEL_EVERY)
        self._noise: deque[float] = deque(maxlen=int(NOISE * RATE / BLOCK / LEVEL_EVERY))
        self._thread = threading.Thread(target=self._run, daemon=True)

    def start(self) -> None:
        """Begin to listen."""
        self._thread.start()

    def next(self, timeout: float | None = None) -> Happening | None:
        """The next thing that happens; None after `timeout` seconds.

        Raises:
            HandsfreeError: listening has ended, for this reason.
        """
        try:
            happening = self._inbox.get(timeout=timeout)
        except queue.Empty:
            return None
        if isinstance(happening, HandsfreeError):
            raise happening
        return happening

    def ends(self, utterance: Utterance) -> bool:
        """Whether an utterance that has perhaps ended has not gone on meanwhile."""
        return self._foreseen == utterance.end

    def wait(self, utterance: Utterance, pause: float) -> None:
        """Let it end after so many seconds without speech, unless it goes on before.

        If they are over it ends at once, and not only when the next block comes.
        """
        with self._listening:
            self._wanted = utterance.end, pause
            self._feed(np.zeros(0, np.float32))

    def wait_quiet(self, seconds: float) -> None:
        """Wait until the technician does not speak, but not longer than that."""
        self._quiet.wait(seconds)

    @property
    def noise(self) -> float:
        """Level in dBFS that is exceeded nine tenths of the time."""
        return float(np.percentile(self._noise, 10)) if self._noise else -100.0

    def _run(self) -> None:
        try:
            for message in self._sounds.messages():
                match message:
                    case Block():
                        with self._listening:
                            self._hear(message)
                        self._tell(message)
                    case Said(number=number):
                        self._mouth.said(number)
                    case Opened():
                        with self._listening:
                            self._begin_again()
                        self._mouth.open()
                        self._inbox.put(message)
                    case Lost():
                        self._mouth.lost()
                        self._inbox.put(message)
                    case Deaf(audible=audible):
                        if audible:
                            self._mouth.open()
                        self._inbox.put(message)
        except HandsfreeError as error:
            self._mouth.lost()
            self._inbox.put(error)

    def _hear(self, block: Block) -> None:
        if block.lost:
            self._overruns += 1
            self._inbox.put(Overrun(block.lost / RATE, self._overruns))
            self._fill(block.lost)
        samples = self._turns.take(block, speech=self._endpointer.speaking)
        if self._turns.cut:
            self._mouth.cut()
        self._mouth.wait(self._turns.waits)
        if self._turns.turn == "speaking" and self._endpointer.speaking:
            self._begin_again()  # the tool has spoken into an utterance
        self._feed(samples)

    def _feed(self, samples: Samples) -> None:
        self._fed += len(samples)
        end, pause = self._wanted
        ended: list[Utterance] = []
        if self._told and end == self._foreseen:
            ended = self._endpointer.wait(self._told[0], pause)
        for utterance in ended + self._endpointer.feed(samples):
            self._turns.ended()
            self._inbox.put(self._timed(utterance))
            self._told = None
        ending = self._endpointer.ending
        if ending is None:
            if self._told and self._endpointer.speaking:
                self._foreseen, self._told = 0.0, None
                self._went_on()
        elif self._told != (told := (ending.end, ending.hush)):
            timed = self._timed(ending)
            self._foreseen, self._told = timed.end, told
            self._inbox.put(Ending(timed))
        if self._endpointer.speaking:
            self._quiet.clear()
        else:
            self._quiet.set()

    def _timed(self, utterance: Utterance) -> Utterance:
        """In times of the microphone."""
        late = self._offset / RATE
        return replace(utterance, start=utterance.start + late, end=utterance.end + late)

    def _fill(self, lost: int) -> None:
        """Silence for what was lost, so that times stay right."""
        if lost <= HOLE:
            self._feed(np.zeros(lost, np.float32))
        else:
            self._begin_again(lost)

    def _begin_again(self, lost: int = 0) -> None:
        """Forget the utterance that is under way: half a number is worse than none."""
        self._offset += self._fed + lost
        self._fed = 0
        self._endpointer = Endpointer(after=FORESEEN, soon=True)
        self._foreseen, self._told = 0.0, None
        self._quiet.set()

    def _tell(self, block: Block) -> None:
        self._levels.append(level(block.samples))
        if len(self._levels) == LEVEL_EVERY:
            dbfs = decibels(float(np.sqrt(np.mean(np.square(self._levels)))))
            self._levels.clear()
            if self._turns.turn != "speaking":
                self._noise.append(dbfs)
            self._meter(InputLevel(dbfs, self._turns.turn, self._endpointer.speaking))
