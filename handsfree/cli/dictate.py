"""`handsfree dictate`: from speech to log."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Annotated, Any

import typer

from handsfree.cli.dictation import (
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
from handsfree.cli.output import console
from handsfree.cli.seal import sealed, unlocked
from handsfree.cli.session import DictatedSession
from handsfree.display import PORT
from handsfree.errors import BadInput
from handsfree.events import Logged
from handsfree.job.acquaintance import acquaintance, keep_acquaintance
from handsfree.job.progress import load_progress, save_progress
from handsfree.live import CutIn, Settings, Turns, remembered
from handsfree.live.verbosity import Verbosity
from handsfree.log import JobRecord, verify
from handsfree.plan import LoadedPlan, free_plan, load_plan
from handsfree.sound.echo import Canceller
from handsfree.sound.endpoint import silero
from handsfree.sound.recordings import Captured, recorded
from handsfree.words import Transcriber

#: The name of a device that is a phone with the page open.
PHONE = "phone"


def register(app: typer.Typer) -> None:
    """Add this command."""
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
    known = None if person is None else acquaintance(person)
    how = Verbosity.apprentice if apprentice else verbosity
    sounds = recorded(audio) if audio else None
    ears = None if typed else Transcriber(engine.value, model, apart=True)
    if ears is not None and known is not None:
        ears.enrolled = known.enrolled
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
    session = DictatedSession(
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
        known=known,
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
            if known is not None:
                events = JobRecord.read(session.folder).events
                keep_progress(known.person, loaded, events[session.began :])
                if ears is not None:
                    keep_acquaintance(known.after(events, session.began))
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
    session: DictatedSession,
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


def keep_progress(person: str, loaded: LoadedPlan, events: Sequence[Logged]) -> None:
    """Add the lessons of these events of a job to a person's progress."""
    progress = load_progress(person)
    progress.add(loaded.plan.title, (logged.event for logged in events))
    console.print(f"progress of {person}: {save_progress(progress)}")
