"""`handsfree resume`: go on with a job where it stands."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from handsfree.cli.dictate import (
    Check,
    CutInOption,
    Device,
    Key,
    Person,
    Recordings,
    Route,
    Speaker,
    Speed,
    Volume,
    dictate,
)
from handsfree.cli.display import Https, Port, Screen, ScreenName, Share
from handsfree.cli.options import Engine, EngineName, Json, Model, Voice
from handsfree.display import PORT
from handsfree.live.verbosity import Verbosity
from handsfree.log import JobRecord
from handsfree.log.folder import PLAN


def register(app: typer.Typer) -> None:
    """Add this command."""
    app.command(epilog="Example: handsfree resume jobs/van")(resume)


def resume(
    job: Annotated[Path, typer.Argument(help="The job folder.")],
    audio: Recordings = None,
    engine: Engine = EngineName.auto,
    model: Model = None,
    voice: Voice = "auto",
    device: Device = None,
    speaker: Speaker = None,
    volume: Volume = None,
    speed: Speed = None,
    key: Key = False,
    cut_in: CutInOption = False,
    check: Check = True,
    person: Person = None,
    screen: Screen = ScreenName.off,
    port: Port = PORT,
    share: Share = False,
    https: Https = False,
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
        Verbosity(verbosity or Verbosity.normal),
        device=device,
        speaker=speaker,
        volume=volume,
        speed=speed,
        key=key,
        cut_in=cut_in,
        check=check,
        route=Route(route or Route.plan),
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
        as_json=as_json,
    )
