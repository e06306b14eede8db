"""A job: what is heard goes through the dialogue, into the log, and only then aloud."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from handsfree.dialogue import Ask, Dialogue, Effect, Record, Response, Say, Session
from handsfree.grammar import Automaton
from handsfree.heard import Heard
from handsfree.job.listening import Ears, Sound
from handsfree.job.records import effect_fields, heard_fields, restore
from handsfree.log import JobLog, encode_flac
from handsfree.sound.audio import RATE
from handsfree.sound.endpoint import Utterance

Tell = Callable[[dict[str, Any]], None]
Speak = Callable[[str], None]


class Job:
    """One dictation with its log.

    Args:
        dialogue: about the plan.
        log: open, empty or of an earlier session of the same job.
        tell: called with each event, as a dictionary, once it is in the log.
        speak: says a text aloud; called once what it reads back is in the log.
    """

    def __init__(self, dialogue: Dialogue, log: JobLog, tell: Tell, speak: Speak) -> None:
        self.dialogue = dialogue
        self.log = log
        self._tell = tell
        self._speak = speak
        self._recognised: tuple[Utterance, Automaton, Heard] | None = None
        events = [event.as_dict() for event in log.events]
        self.session, self._seqs = restore(dialogue.desk.plan, events)

    @property
    def finished(self) -> bool:
        """Whether the job has ended."""
        return self.session.phase == "finished"

    def begin(self) -> None:
        """Say the first words: of a new job, or of one that goes on."""
        fresh = self.session == Session()
        self._follow(self.dialogue.start() if fresh else self.dialogue.resume(self.session))

    def listen(self, ears: Ears, sound: Sound) -> Response:
        """Recognise an utterance by the grammar of the moment, and take it up."""
        heard = self.recognise(ears, sound.utterance)
        flac = encode_flac(sound.utterance.samples, RATE)
        return self.hear(heard, flac, source=sound.source)

    def recognise(self, ears: Ears, utterance: Utterance) -> Heard:
        """What was said, by the grammar of the moment; nothing follows from it.

        Asked again for the same utterance at the same moment, it is not decoded again.
        """
        desk = self.dialogue.desk
        step = desk.focus(self.session)
        grammar = desk.spoken.automaton(step, self.session.moment)
        known = self._recognised
        if known and known[1] == grammar and _same_sound(known[0], utterance):
            return known[2]
        heard = ears.hear(utterance, grammar, desk.wording.hint)
        self._recognised = utterance, grammar, heard
        return heard

    def hear(self, heard: Heard, sound: bytes | None = None, **where: object) -> Response:
        """Take up an utterance; while paused, nothing is kept of it.

        Args:
            heard: what the engine understood.
            sound: the utterance as FLAC.
            where: further fields of the event, such as the file it was heard in.
        """
        response = self.dialogue.respond(self.session, heard)
        clip = None
        asleep = self.session.paused and response.session.paused
        if response.understood is not None and not asleep:
            fields = heard_fields(heard, response.understood, self.dialogue.desk.plan)
            event = self.log.append("heard", sound, **fields, **where)
            clip = {"heard": event.seq, "clip": event.fields.get("clip")}
            self._tell(event.as_dict())
        self._follow(response, clip or {})
        return response

    def _follow(self, response: Response, source: dict[str, Any] | None = None) -> None:
        for effect in response.effects:
            self._do(effect, source or {})
        self.session = response.session

    def _do(self, effect: Effect, source: dict[str, Any]) -> None:
        kind, fields = effect_fields(effect, self.dialogue.desk.wording, self._seqs)
        if kind in ("reading", "note", "struck"):
            fields |= source
        event = self.log.append(kind, **fields)
        if isinstance(effect, Record):
            self._seqs[effect.entry.number] = event.seq
        self._tell(event.as_dict())
        if isinstance(effect, Say | Ask):
            self._speak(effect.text)


def _same_sound(one: Utterance, other: Utterance) -> bool:
    """Whether they are the same utterance; two recordings may have the same times."""
    times = one.start, one.end
    return times == (other.start, other.end) and np.array_equal(one.samples, other.samples)
