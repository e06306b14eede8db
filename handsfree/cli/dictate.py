"""`handsfree dictate` and `demo`: from speech to log."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Annotated, Any

import typer

from handsfree.cli.diagnosis import show_explanation
from handsfree.cli.dictation import (
    LONGEST_TYPED,
    CheckOption,
    CutInOption,
    Device,
    FreeOption,
    KeepName,
    KeepOption,
    Key,
    Person,
    Recordings,
    Route,
    SealOption,
    SpeakerOption,
    Speed,
    TypedOption,
    Volume,
)
from handsfree.cli.display import Https, Port, ScreenName, ScreenOption, ShareOption, site
from handsfree.cli.options import (
    EngineName,
    EngineOption,
    Json,
    ModelOption,
    PlanOrNone,
    VoiceOption,
    calendar_day,
)
from handsfree.cli.output import console, fan_out, print_event, print_json_event
from handsfree.cli.seal import sealed, unlocked
from handsfree.dialogue import Dialogue
from handsfree.dialogue.informed import explanation
from handsfree.display import PORT, ScreenKind, Site, WebDisplay, open_display
from handsfree.display.phone import Phone
from handsfree.errors import BadInput, HandsfreeError
from handsfree.events import Tell
from handsfree.heard import Heard
from handsfree.job import Job
from handsfree.job.progress import load_progress, progress_file, save_progress
from handsfree.languages import data_folder, language_of
from handsfree.live import CutIn, Live, Settings, Turns, remember, remembered
from handsfree.live.keys import watch
from handsfree.live.verbosity import Verbosity, language_for
from handsfree.log import JobLog, JobRecord, open_job, verify
from handsfree.log.consistency import length, setbacks
from handsfree.log.folder import EVENTS
from handsfree.plan import LoadedPlan, Plan, free_plan, load_plan
from handsfree.sound.card import Card
from handsfree.sound.echo import Canceller
from handsfree.sound.endpoint import silero
from handsfree.sound.recordings import Captured, recorded
from handsfree.sound.voice import open_voice
from handsfree.words import Transcriber

#: The name of a device that is a phone with the page open.
PHONE = "phone"


def register(app: typer.Typer) -> None:
    """Add these commands."""
    app.command(epilog="Example: handsfree demo")(demo)
    app.command(epilog="Example: handsfree dictate headlamp-levelling --audio shift.wav")(dictate)


def dictate(
    plan: PlanOrNone = None,
    audio: Recordings = None,
    job: Annotated[
        Path | None, typer.Option("--job", help="Job folder, new or to go on with.")
    ] = None,
    engine: EngineOption = EngineName.auto,
    model: ModelOption = None,
    voice: VoiceOption = "auto",
    verbosity: Annotated[
        Verbosity, typer.Option("--verbosity", help="How much is said.")
    ] = Verbosity.normal,
    apprentice: Annotated[
        bool, typer.Option("--apprentice", help="The same as --verbosity apprentice.")
    ] = False,
    device: Device = None,
    speaker: SpeakerOption = None,
    volume: Volume = None,
    speed: Speed = None,
    key: Key = False,
    cut_in: CutInOption = False,
    check: CheckOption = True,
    route: Annotated[
        Route, typer.Option("--route", help="By the plan, or the test that tells most a minute.")
    ] = Route.plan,
    after: Annotated[
        Path | None, typer.Option("--after", help="The finished job that this one goes on from.")
    ] = None,
    vehicle: Annotated[str | None, typer.Option("--vehicle", help="Make, model, year.")] = None,
    registration: Annotated[
        str | None, typer.Option("--registration", help="Number plate, or chassis number.")
    ] = None,
    odometer: Annotated[str | None, typer.Option("--odometer", help="With its unit.")] = None,
    order: Annotated[
        str | None, typer.Option("--order", help="Number of the repair order.")
    ] = None,
    technician: Annotated[str | None, typer.Option("--technician", help="Who tests.")] = None,
    customer: Annotated[str | None, typer.Option("--customer", help="Whose it is.")] = None,
    complaint: Annotated[
        str | None, typer.Option("--complaint", help="In the customer's words.")
    ] = None,
    meter_serial: Annotated[
        str | None, typer.Option("--meter-serial", help="Serial number of the meter.")
    ] = None,
    calibrated: Annotated[
        str | None, typer.Option("--calibrated", help="When the meter was, such as 2026-03-31.")
    ] = None,
    self_check: Annotated[
        bool, typer.Option("--self-check", help="Begin with a check of the meter and its leads.")
    ] = False,
    person: Person = None,
    screen: ScreenOption = ScreenName.off,
    port: Port = PORT,
    share: ShareOption = False,
    https: Https = False,
    seal: SealOption = False,
    typed: TypedOption = False,
    keep: KeepOption = KeepName.all,
    free: FreeOption = False,
    taken_up_by: Annotated[str | None, typer.Option(hidden=True)] = None,
    as_json: Json = False,
) -> None:
    """Dictate readings along a plan; each is checked, read back and logged.

    With --free there is no plan: name wires and conditions as you go.
    """
    loaded = _chosen(plan, free=free)
    vouching = unlocked() if seal else None  # now, while there is a hand for the keyboard
    if person is not None:
        progress_file(person)  # is the name one that can be kept?
    how = Verbosity.apprentice if apprentice else verbosity
    sounds = recorded(audio) if audio else None
    ears = None if typed else Transcriber(engine.value, model, apart=True)
    told = {
        "vehicle": vehicle,
        "registration": registration,
        "odometer": odometer,
        "order": order,
        "technician": technician,
        "customer": customer,
        "complaint": complaint,
        "meter_serial": meter_serial,
        "calibrated": calibrated and calendar_day(calibrated),
    }
    session = _Session(
        loaded,
        job,
        ears,
        voice,
        how,
        details=job_details(after, told),
        route=route,
        keep=keep,
        self_check=self_check,
        taken_up_by=taken_up_by or "",
        as_json=as_json,
    )
    phone = device == PHONE
    where = replace(site(port, share=share, https=https, screen=screen), phone=phone)
    if phone and screen is not ScreenName.web:
        raise BadInput("a phone needs the page", where="--device phone", remedy="Add --screen web.")
    try:
        with session.shown(screen.value, where):
            _listen(
                session,
                sounds,
                settings=_settings(None if phone else device, speaker, volume, speed),
                key=key,
                cut_in=cut_in,
                check=check,
            )
    finally:  # however it ends: what is in the log is done
        if session.began is not None:
            session.tell_end()
            if person is not None:
                keep_progress(person, loaded, session.folder, session.began)
            if vouching is not None:
                sealed(session.folder, vouching)


def _chosen(plan: str | None, *, free: bool) -> LoadedPlan:
    """The plan that was named, or the one of a job without a plan."""
    if free and plan is not None:
        raise BadInput("a free job has no plan", where="--free", remedy=f"Leave out {plan}.")
    if free:
        return free_plan()
    if plan is None:
        remedy = "Name one (`handsfree plan list`), or give --free to go without."
        raise BadInput("there is no plan", remedy=remedy)
    return load_plan(plan)


def _listen(
    session: _Session,
    sounds: Iterator[Captured] | None,
    *,
    settings: Settings,
    key: bool,
    cut_in: bool,
    check: bool,
) -> None:
    if session.ears is None:
        session.run_typed(sys.stdin)
    elif sounds is not None:
        session.run_files(sounds)
    else:
        overheard = CutIn(silero(), Canceller()) if cut_in and not key else None
        turns = Turns(cut_in=overheard, key=key)
        session.run_live(settings, turns, check=check)


def _settings(
    device: str | None, speaker: str | None, volume: int | None, speed: int | None
) -> Settings:
    """What is remembered, with what is given now."""
    given = {"device": device, "speaker": speaker, "volume": volume, "speed": speed}
    known: dict[str, Any] = {name: value for name, value in given.items() if value is not None}
    return replace(remembered(), **known)


def job_details(after: Path | None, told: Mapping[str, str | None]) -> dict[str, object]:
    """What a job is opened with: the subject that was told, and the job that it goes on from.

    What was told of the earlier job holds for this one too, unless it is told anew.

    Raises:
        BadInput: the earlier job is not finished.
        Damaged: its log is not as it was written.
    """
    subject = {name: text for name, text in told.items() if text}
    if after is None:
        return {"subject": subject} if subject else {}
    earlier = verify(after)
    if earlier.state != "finished":
        remedy = f"Go on with it: --job {after}. `handsfree verify {after}` tells its state."
        raise BadInput(f"that job is {earlier.state}", where=str(after), remedy=remedy)
    subject = {**JobRecord.read(after).subject, **subject}
    details: dict[str, object] = {"subject": subject} if subject else {}
    return {**details, "follows": earlier.fingerprint}


def keep_progress(person: str, loaded: LoadedPlan, job: Path, since: int) -> None:
    """Add the lessons of a job after event `since` to a person's progress."""
    progress = load_progress(person)
    events = JobRecord.read(job).events[since:]
    progress.add(loaded.plan.title, (logged.event for logged in events))
    console.print(f"progress of {person}: {save_progress(progress)}")


def demo(
    job: Annotated[Path | None, typer.Option("--job", help="Job folder; else a new one.")] = None,
    session: Annotated[
        str, typer.Option("--session", help="Which recorded session: see --list.")
    ] = "low-beam",
    engine: EngineOption = EngineName.auto,
    model: ModelOption = None,
    voice: VoiceOption = "off",
    list_sessions: Annotated[bool, typer.Option("--list", help="List the sessions.")] = False,
) -> None:
    """Run a recorded session: sound to log, verdict and report. No microphone is needed."""
    from handsfree.report import report_file

    recordings = data_folder("demo_audio")
    sessions = sorted(path.parent.name for path in recordings.glob("*/manifest.json"))
    if list_sessions:
        for name in sessions:
            console.print(name)
        return
    if session not in sessions:
        raise BadInput(
            f"there is no recorded session {session!r}", remedy=f"Known: {', '.join(sessions)}"
        )
    manifest = json.loads((recordings / session / "manifest.json").read_text(encoding="utf-8"))
    clips = [recordings / session / each["file"] for each in manifest["utterances"]]
    loaded = load_plan(manifest["plan"])
    scenario = loaded.plan.subject.model_dump(exclude_defaults=True)
    details = {"subject": scenario} if scenario else {}
    ears = Transcriber(engine.value, model, apart=True)
    run = _Session(loaded, job, ears, voice, Verbosity.normal, details=details)
    done = run.run_files(recorded(clips)).session
    run.tell_end()
    report = run.folder / "report.html"
    report_file(run.folder, report)
    console.print(f"verdict: {done.finding.part if done.finding else 'no rule names a part'}")
    found = explanation(run.dialogue.at(done), done)
    if found:
        show_explanation(found)
    console.print(f"report: {report}")


class _Session:
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
            loaded.plan, language, apprentice=apprentice, informed=informed, self_check=self_check
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
