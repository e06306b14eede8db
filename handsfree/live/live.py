"""The live loop: sound card, turn taking, engine, job and voice, until the job ends."""

from __future__ import annotations

import threading
from typing import Literal, Self

from handsfree.events import Logged, MicrophoneChanged, SoundLevel, Tell, told
from handsfree.job import Job
from handsfree.live.ahead import grammar_ahead, work_ahead
from handsfree.live.hearing import Ending, Happening, Hearing, InputLevel, Overrun
from handsfree.live.mouth import Mouth
from handsfree.live.patience import Patience
from handsfree.live.ready import judge_level
from handsfree.live.settings import Settings
from handsfree.live.sounds import Sounds
from handsfree.live.turns import Turns
from handsfree.meaning import Several
from handsfree.sound.card import Deaf, Lost, Opened
from handsfree.sound.endpoint import Utterance
from handsfree.sound.recordings import Captured
from handsfree.sound.voice import Voice
from handsfree.words import Transcriber

READY_WITHIN = 15.0
"""Seconds for which the first word is waited before the technician is asked again."""

SHOWN = 60.0
"""Decibels below full scale at which the level bar is empty."""

PATIENCE = 3.0
"""Seconds for which the tool lets the technician finish speaking before it speaks."""


class Live:
    """A conversation through a sound card; opens it as a context.

    Besides the events of the job it tells

    - `microphone`, with `state` and `text` for people: open, check, ready, lost, back, overrun,
      cut, mute (the voice has failed); what bears on the evidence is in the log too;
    - `level`, about four times a second, from a thread and never logged: `level` 0 to 1, `dbfs`,
      `turn` (listening, speaking, waiting), `speech`.

    Args:
        sounds: the sound card.
        voice: reads back.
        turns: half duplex, cut-in, key.
        settings: volume and speed.
        tell: called with each event; must bear threads.
    """

    def __init__(
        self, sounds: Sounds, voice: Voice, turns: Turns, settings: Settings, tell: Tell
    ) -> None:
        self._sounds, self._turns, self._tell = sounds, turns, tell
        self.mouth = Mouth(voice, sounds, settings)
        self.hearing = Hearing(sounds, turns, self.mouth, self._meter, self._went_on)
        self._patience = Patience()
        self._job: Job | None = None
        self._ears: Transcriber | None = None
        self._via: Literal["microphone", "phone"] = "microphone"
        self._mourned = False  # it has been said that the microphone is gone

    def speak(self, text: str) -> None:
        """Say it once the technician has finished speaking."""
        if self._job and self._ears:
            grammar_ahead(self._job, self._ears)
        self._wait_quiet()
        self.mouth.speak(text)
        if self.mouth.was_cut and self._job:
            self._job.happened(MicrophoneChanged("cut", f"cut off: {text}"))

    def follow(self, logged: Logged) -> None:
        """An event of the job."""
        self.mouth.follow(logged.event)
        self._tell(logged)

    def press(self) -> None:
        """The key was pressed: stop speaking, and listen."""
        self._turns.press()
        self.mouth.cut()

    def __enter__(self) -> Self:
        """Open the devices.

        Raises:
            Missing: there is no microphone.
        """
        self.hearing.start()
        opened = self.hearing.next()
        assert isinstance(opened, Opened)
        self._via = opened.via
        where = f"{opened.microphone}, {opened.rate} Hz"
        self._tell(told(MicrophoneChanged("open", where)))
        return self

    def __exit__(self, *_: object) -> None:
        self._sounds.close()

    def run(self, job: Job, ears: Transcriber, *, check: bool = True) -> None:
        """Converse until the job has finished.

        Args:
            job: made with `speak` and `follow` of this object.
            ears: the engine.
            check: begin with a level check.
        """
        self._job, self._ears = job, ears
        desk = job.dialogue.at(job.session)
        prompts = (desk.wording.brief_prompt(step, step) for step in desk.plan.steps)
        work_ahead(desk, job.session, self._wait_quiet)
        self.mouth.prepare(prompts, self._wait_quiet)
        if check:
            self._check(job)
        job.begin()
        while not job.finished:
            self._take_up(job, ears, self.hearing.next())

    def _take_up(self, job: Job, ears: Transcriber, happening: Happening | None) -> None:
        match happening:
            case Utterance(within=within):
                said = job.listen(ears, Captured(happening, self._via, self._via)).understood
                several = said is not None and isinstance(said.meaning, Several)
                self._patience.spoke(within, several=several)
            case Ending(utterance=utterance):
                self._foresee(job, ears, utterance)
            case Overrun(seconds=seconds, count=count):
                text = f"the machine was too busy: {seconds:.2f} s of sound lost, {count} times now"
                job.happened(MicrophoneChanged("overrun", text))
            case Lost(why=why):
                job.happened(MicrophoneChanged("lost", f"paused: {why}"))
            case Deaf(why=why, audible=audible):
                self._tell(told(MicrophoneChanged("lost", why)))
                if audible and not self._mourned:
                    self._mourned = True
                    self.mouth.speak(job.dialogue.desk.say("sound_lost"), keep=False)
            case Opened(microphone=name, via=via):
                self._mourned, self._via = False, via
                job.happened(MicrophoneChanged("back", f"the sound is back: {name}"))
                self._go_on(job)
        if failed := self.mouth.failed:
            self.mouth.failed = None
            self._tell(told(MicrophoneChanged("mute", str(failed))))

    def _foresee(self, job: Job, ears: Transcriber, utterance: Utterance) -> None:
        """In the pause: what was said, how long the pause must be, and the sound of the answer."""
        if not self.hearing.ends(utterance):
            return
        heard = job.guess(ears, utterance)
        if heard is None:
            return
        pause = self._patience.pause(heard, job.grammar, utterance.within)
        self.hearing.wait(utterance, pause)
        if self.hearing.ends(utterance):
            self.mouth.prepare(job.foresee(heard))

    def _went_on(self) -> None:
        """What was guessed is wrong, since more is said; nobody is waited for here."""
        if self._ears:
            threading.Thread(target=self._ears.give_up, daemon=True).start()

    def _go_on(self, job: Job) -> None:
        """After an outage: what was not heard to its end, or where we are."""
        unsaid, self.mouth.unsaid = self.mouth.unsaid, []
        self.mouth.speak(job.dialogue.desk.say("sound_back"), keep=False)
        for text in unsaid:
            self.speak(text)
        if not unsaid and not job.session.paused:
            job.again()

    def _check(self, job: Job) -> None:
        """Ask for a word, and say what is wrong with its sound; three tries, then go on."""
        say = job.dialogue.desk.say
        key = "ready_say"
        for _ in range(3):
            self._tell(told(MicrophoneChanged("check", say(key))))
            self.speak(say(key))
            word = self._word()
            if word is None:
                key = "ready_nothing"
                continue
            found = judge_level(word, self.hearing.noise)
            text = f"speech {found.speech} dBFS, noise {found.noise} dBFS"
            checked = MicrophoneChanged("ready", text, found.speech, found.noise, found.fault)
            job.happened(checked)
            if found.fault is None:
                return
            key = f"ready_{found.fault}"

    def _word(self) -> Utterance | None:
        while True:
            happening = self.hearing.next(READY_WITHIN)
            if happening is None or isinstance(happening, Utterance):
                return happening

    def _wait_quiet(self) -> None:
        """Until the technician has finished speaking, but not for ever."""
        self.hearing.wait_quiet(PATIENCE)

    def _meter(self, level: InputLevel) -> None:
        bar = round(min(max(1 + level.dbfs / SHOWN, 0.0), 1.0), 3)
        self._tell(told(SoundLevel(bar, round(level.dbfs, 1), level.turn, level.speech)))
