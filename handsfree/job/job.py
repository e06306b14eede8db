"""A job: what is heard goes through the dialogue, into the log, and only then aloud."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from handsfree.check import Refusal
from handsfree.dialogue import Dialogue, Response, Session
from handsfree.events import (
    Asked,
    Codec,
    Event,
    JobTakenUp,
    Logged,
    Noted,
    ReadingStruck,
    ReadingTaken,
    Spoke,
    Tell,
    UtteranceHeard,
)
from handsfree.events.sound import Keep, kept
from handsfree.grammar import Automaton
from handsfree.heard import Heard
from handsfree.job.evidence import SaidIn
from handsfree.job.times import SaidTimes
from handsfree.log import JobLog, encode_flac
from handsfree.log.record import decoded
from handsfree.meaning import Take
from handsfree.plan import Step
from handsfree.sound.audio import RATE
from handsfree.sound.endpoint import Utterance
from handsfree.sound.recordings import Captured, Via
from handsfree.words import Transcriber

Speak = Callable[[str], None]


class Job:
    """One dictation with its log.

    Args:
        dialogue: about the plan.
        log: open, empty or of an earlier session of the same job.
        tell: called with each event once it is in the log.
        speak: says a text aloud; called once what it reads back is in the log.
        keep: of which utterances the sound is kept.

    Attributes:
        session: where the job stands, by the events that are in the log.
    """

    def __init__(
        self, dialogue: Dialogue, log: JobLog, tell: Tell, speak: Speak, keep: Keep = "all"
    ) -> None:
        self.dialogue = dialogue
        self.log = log
        self._tell = tell
        self._speak = speak
        self._keep = keep
        self._recognised: tuple[Utterance, Automaton, Heard] | None = None
        self._times = SaidTimes()
        self._codec = Codec(dialogue.desk.plan)
        events = decoded(self._codec, log.lines, log.folder)
        self.session = Session.of(logged.event for logged in events)
        self._said_in = SaidIn()
        for logged in events:
            self._said_in.follow(logged)
        taken_up = [e.event.technician for e in events if isinstance(e.event, JobTakenUp)]
        self._by = next((name for name in reversed(taken_up) if name), "")

    @property
    def finished(self) -> bool:
        """Whether the job has ended."""
        return self.session.phase == "finished"

    @property
    def grammar(self) -> Automaton:
        """What may be said now."""
        desk = self.dialogue.at(self.session)
        return desk.spoken.automaton(desk.focus(self.session), self.session.moment)

    def foresee(self, heard: Heard) -> list[str]:
        """What would be said to that now; nothing follows from it."""
        events = self.dialogue.respond(self.session, heard).events
        return [event.text for event in events if isinstance(event, Spoke | Asked)]

    def begin(self) -> None:
        """Say the first words: of a new job, or of one that goes on."""
        fresh = self.session == Session()
        self._follow(self.dialogue.start() if fresh else self.dialogue.resume(self.session))

    def again(self) -> None:
        """Say again what is waited for, after an outage of the sound."""
        self._follow(self.dialogue.again(self.session))

    def listen(self, ears: Transcriber, sound: Captured) -> Response:
        """Recognise an utterance by the grammar of the moment, and take it up."""
        heard = self.recognise(ears, sound.utterance)
        flac = encode_flac(sound.utterance.samples, RATE)
        return self.hear(heard, flac, sound.source, sound.via)

    def recognise(self, ears: Transcriber, utterance: Utterance) -> Heard:
        """What was said, by the grammar of the moment; nothing follows from it.

        Asked again for the same sound at the same moment, it is not decoded again.
        """
        return self._known(utterance) or self._remember(
            utterance, ears.hear(utterance, self.grammar, self._hint)
        )

    def guess(self, ears: Transcriber, utterance: Utterance) -> Heard | None:
        """The same for an utterance that has perhaps ended; None if it has been given up."""
        known = self._known(utterance) or ears.guess(utterance, self.grammar, self._hint)
        return known and self._remember(utterance, known)

    @property
    def _hint(self) -> str:
        return self.dialogue.at(self.session).wording.hint

    def _known(self, utterance: Utterance) -> Heard | None:
        known = self._recognised
        same = known and known[1] == self.grammar and _same_sound(known[0], utterance)
        return known[2] if known and same else None

    def _remember(self, utterance: Utterance, heard: Heard) -> Heard:
        self._recognised = utterance, self.grammar, heard
        return heard

    def hear(
        self,
        heard: Heard,
        sound: bytes | None = None,
        source: str | None = None,
        via: Via | None = None,
    ) -> Response:
        """Take up an utterance; while paused, nothing is kept of it.

        Args:
            heard: what the engine understood.
            sound: the utterance as FLAC.
            source: where it was heard: name of a file, "microphone", "phone" or "keyboard".
            via: which of these that is.
        """
        now = self.log.now().timestamp()
        at = round(self._times.of(heard.start, heard.end, now, source, via), 2)
        response = self.dialogue.respond(self.session, replace(heard, at=at))
        self._follow(response, sound, source, via)
        return response

    def happened(self, event: Event, sound: bytes | None = None, /, **evidence: object) -> Logged:
        """Log an event, take it into account, and tell it.

        Args:
            event: it.
            sound: of the utterance, as FLAC.
            evidence: further fields of its line: the utterance that it came of.  A reading tells
                who took it, if the job was taken up by another one.
        """
        if self._by and isinstance(event, ReadingTaken):
            evidence["by"] = self._by
        kind, fields = self._codec.encode(event)
        line = self.log.append(kind, sound, **fields, **evidence)
        logged = self._codec.wrote(event, line.seq, line.time, line.kind, line.fields)
        self.session = self.session.after(event)
        self._said_in.follow(logged)
        self._tell(logged)
        return logged

    def _follow(
        self,
        response: Response,
        sound: bytes | None = None,
        source: str | None = None,
        via: Via | None = None,
    ) -> None:
        if not kept(self._keep, response.events):
            sound = None
        for event in response.events:
            match event:
                case UtteranceHeard():
                    self.happened(replace(event, source=source, via=via), sound)
                case ReadingTaken(entry=entry):
                    self.happened(event, None, **self._said_in.of_value(entry.take))
                case ReadingStruck() | Noted():
                    self.happened(event, None, **self._said_in.utterance)
                case Spoke(text=text) | Asked(text=text):
                    self.happened(event)
                    self._speak(text)
                case _:
                    self.happened(event)

    def enter(self, step: Step, value: Take, **evidence: object) -> Refusal | None:
        """Take a value that was not said, such as one of a table; log it and what follows of it.

        Args:
            step: that it belongs to.
            value: it.
            evidence: further fields of its line, where it comes from.

        Returns:
            Why it is refused; then nothing is logged.
        """
        response = self.dialogue.enter(self.session, step, value)
        if isinstance(response, Refusal):
            return response
        for event in response.events:
            self.happened(event, None, **(evidence if isinstance(event, ReadingTaken) else {}))
        return None


def _same_sound(one: Utterance, other: Utterance) -> bool:
    """Whether they are the same utterance; two recordings may have the same times."""
    times = one.start, one.end
    return times == (other.start, other.end) and np.array_equal(one.sounding, other.sounding)
