"""One dictation from the command line: from files, a keyboard or a microphone into a log."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from handsfree.cli.dictation import (
    LONGEST_TYPED,
    KeepName,
    Route,
)
from handsfree.cli.output import console, fan_out, print_event, print_json_event
from handsfree.dialogue import Dialogue
from handsfree.dialogue.voice_record import UNHEARD
from handsfree.display import ScreenKind, Site, WebDisplay, open_display
from handsfree.display.phone import Phone
from handsfree.errors import BadInput, HandsfreeError
from handsfree.events import Tell
from handsfree.heard import Heard
from handsfree.job import Job
from handsfree.job.acquaintance import (
    Acquaintance,
    known_before,
)
from handsfree.languages import language_of
from handsfree.live import Live, Settings, Turns, remember
from handsfree.live.keys import watch
from handsfree.live.verbosity import Verbosity, language_for
from handsfree.log import JobLog, JobRecord, open_job
from handsfree.log.consistency import length, setbacks
from handsfree.log.folder import EVENTS
from handsfree.plan import LoadedPlan, Plan
from handsfree.sound.card import Card
from handsfree.sound.recordings import Captured
from handsfree.sound.voice import open_voice
from handsfree.words import Transcriber


class DictatedSession:
    """One dictation of a plan from the command line."""

    def __init__(
        self,
        loaded: LoadedPlan,
        folder: Path | None,
        ears: Transcriber | None,
        voice: str,
        how: Verbosity,
        *,
        details: Mapping[str, object],
        route: Route = Route.plan,
        keep: KeepName = KeepName.all,
        self_check: bool = False,
        taken_up_by: str = "",
        known: Acquaintance | None = None,
        as_json: bool = False,
    ) -> None:
        self.loaded, self.ears, self.as_json = loaded, ears, as_json
        self.details = details
        self.began: int | None = None  # events that were there when the log was opened
        language_of(loaded)
        self.folder = folder or _new_folder(loaded)
        self.voice = open_voice(voice)
        self.listeners: list[Tell] = [print_json_event if as_json else print_event]
        language = language_for(loaded.plan.language, how)
        apprentice = how is Verbosity.apprentice
        informed = route is Route.informed
        self.dialogue = Dialogue(
            loaded.plan,
            language,
            apprentice=apprentice,
            informed=informed,
            self_check=self_check,
            known=known_before(known, ears.name, self.folder) if known and ears else UNHEARD,
        )
        self.route, self.how, self.keep = route.value, how.value, keep
        self.taken_up_by = taken_up_by

    @contextmanager
    def shown(self, kind: ScreenKind, where: Site) -> Iterator[None]:
        """Show the session on a screen while it lasts."""
        (lines,) = self.listeners
        display = open_display(kind, self._plan_so_far(), plain=lines, site=where)
        self.listeners = [display.tell]
        self.phone = display.phone if isinstance(display, WebDisplay) else None
        try:
            yield
        finally:
            display.close()

    def _plan_so_far(self) -> Plan:
        """The plan, with what was told of it in a job that is gone on with."""
        if not (self.folder / EVENTS).exists():
            return self.loaded.plan
        try:
            return JobRecord.read(self.folder).plan
        except HandsfreeError:  # opening the log says what is wrong with it
            return self.loaded.plan

    def run_files(self, sounds: Iterator[Captured]) -> Job:
        """Listen to recordings until they or the job end."""
        with self._log() as log:
            tell = fan_out(self.listeners)
            job = Job(self.dialogue, log, tell, self.voice.speak, self.keep.value)
            job.begin()
            for sound in sounds:
                if job.finished:
                    break
                job.listen(self._ears, sound)
        return job

    def run_typed(self, lines: Iterable[str]) -> None:
        """Take up what is typed, a line an utterance, until there is no more or the job ends."""
        with self._log() as log:
            job = Job(self.dialogue, log, fan_out(self.listeners), self.voice.speak)
            job.begin()
            for line in lines:
                if text := line.strip()[:LONGEST_TYPED]:
                    job.hear(Heard.of_text(text), None, "keyboard", "keyboard")
                if job.finished:
                    break

    @property
    def _ears(self) -> Transcriber:
        """The engine.

        Raises:
            BadInput: everything is typed.
        """
        if self.ears is None:
            raise BadInput("what is typed is not heard", where="--type")
        return self.ears

    def run_live(self, settings: Settings, turns: Turns, *, check: bool) -> Job:
        """Listen to the microphone until the job ends."""
        if self.phone is not None:
            print("Open the page on the phone and make it the headset.", file=sys.stderr)
            card: Card | Phone = self.phone
        else:
            card = Card(settings.device, settings.speaker, audible=self.voice.audible)
        live = Live(card, self.voice, turns, settings, fan_out(self.listeners))
        with live, self._log() as log:
            job = Job(self.dialogue, log, live.follow, live.speak, self.keep.value)
            if turns.key:
                watch(live.press)
            try:
                live.run(job, self._ears, check=check)
            finally:  # Ctrl-C is a usual end
                remember(replace(live.mouth.settings, device=settings.device))
        return job

    @contextmanager
    def _log(self) -> Iterator[JobLog]:
        """The log, open; says where it is."""
        if not self.as_json:
            if self.voice.remark:
                console.print(self.voice.remark)
            name = self.ears.name if self.ears else "keyboard"
            console.print(f"engine: {name}, log: {self.folder}")
        plan, title = self.loaded.text.encode(), self.loaded.plan.title
        with open_job(
            self.folder,
            plan,
            title=title,
            details=self.details,
            route=self.route,
            verbosity=self.how,
            keep="" if self.keep is KeepName.all else self.keep.value,
            taken_up_by=self.taken_up_by,
        ) as log:
            self.began = len(log.lines)
            for seq, time in setbacks(log.lines):
                if seq == self.began:  # now, and not in an earlier session
                    late = f"the clock of this machine is {length(time)} behind the last event"
                    print(f"note: {late}. Set it right; the log says so too.", file=sys.stderr)
            yield log

    def tell_end(self) -> None:
        """Say where the log is, once the terminal is given back."""
        if not self.as_json:
            console.print(f"log: {self.folder}   (handsfree report {self.folder})")


def _new_folder(loaded: LoadedPlan) -> Path:
    stem = Path(loaded.source).stem
    return Path("jobs") / f"{stem}-{datetime.now():%Y%m%d-%H%M%S}"
