"""`handsfree resume`: go on with a job where it stands."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated, TypeVar

import typer

from handsfree.cli.dictate import dictate
from handsfree.cli.dictation import (
    CheckOption,
    CutInOption,
    Device,
    KeepName,
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
from handsfree.cli.display import Https, Port, ScreenName, ScreenOption, ShareOption
from handsfree.cli.options import EngineName, EngineOption, Json, ModelOption, VoiceOption
from handsfree.display import PORT
from handsfree.live.verbosity import Verbosity
from handsfree.log import JobRecord
from handsfree.log.folder import PLAN

Name = TypeVar("Name", bound=StrEnum)


def register(app: typer.Typer) -> None:
    """Add this command."""
    app.command(epilog="Example: handsfree resume jobs/van")(resume)


def resume(
    job: Annotated[Path, typer.Argument(help="The job folder.")],
    audio: Recordings = None,
    engine: EngineOption = EngineName.auto,
    model: ModelOption = None,
    voice: VoiceOption = "auto",
    device: Device = None,
    speaker: SpeakerOption = None,
    volume: Volume = None,
    speed: Speed = None,
    key: Key = False,
    cut_in: CutInOption = False,
    check: CheckOption = True,
    technician: Annotated[
        str | None, typer.Option("--technician", help="Who tests from now on, if another one.")
    ] = None,
    person: Person = None,
    screen: ScreenOption = ScreenName.off,
    port: Port = PORT,
    share: ShareOption = False,
    https: Https = False,
    seal: SealOption = False,
    typed: TypedOption = False,
    as_json: Json = False,
) -> None:
    """Go on with a job exactly where it stands, dictated as before."""
    record = JobRecord.read(job)
    route, verbosity = record.manner
    dictate(
        str(job / PLAN),
        audio,
        job,
        engine,
        model,
        voice,
        _known(Verbosity, verbosity, Verbosity.normal),
        device=device,
        speaker=speaker,
        volume=volume,
        speed=speed,
        key=key,
        cut_in=cut_in,
        check=check,
        route=_known(Route, route, Route.plan),
        after=None,
        vehicle=None,
        registration=None,
        odometer=None,
        order=None,
        technician=None,
        complaint=None,
        person=person,
        screen=screen,
        port=port,
        share=share,
        https=https,
        seal=seal,
        typed=typed,
        keep=KeepName(record.keep),
        customer=None,
        taken_up_by=technician,
        as_json=as_json,
    )


def _known(names: type[Name], told: str, usual: Name) -> Name:
    """What a log tells, which may be of another version, or of a stranger."""
    return names(told) if told in set(names) else usual
