"""Arguments and options that several commands share."""

from __future__ import annotations

from datetime import date
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from handsfree.errors import BadInput
from handsfree.plan import shipped


class EngineName(StrEnum):
    """Speech engines."""

    auto = "auto"
    vosk = "vosk"
    whisper_moonshine = "whisper+moonshine"
    whisper = "whisper"
    moonshine = "moonshine"
    pocketsphinx = "pocketsphinx"


def _plans(incomplete: str) -> list[str]:
    return [name for name in shipped() if name.startswith(incomplete)]


_PLAN = "A shipped plan's name, or a file."
PlanArgument = Annotated[str, typer.Argument(help=_PLAN, autocompletion=_plans)]
PlanOrNone = Annotated[str | None, typer.Argument(help=_PLAN, autocompletion=_plans)]
PlanOption = Annotated[str, typer.Option("--plan", help=_PLAN, autocompletion=_plans)]
StepOption = Annotated[str | None, typer.Option("--step", help="Id of the step it is said at.")]
EngineOption = Annotated[EngineName, typer.Option("--engine", help="Speech engine.")]
ModelOption = Annotated[Path | None, typer.Option("--model", help="Folder of the engine's model.")]
VoiceOption = Annotated[
    str, typer.Option("--voice", help="off, auto, or piper, espeak-ng, flite[:VOICE].")
]
Json = Annotated[bool, typer.Option("--json", help="JSON instead of text: an object a line.")]
KeyFiles = Annotated[
    list[Path] | None,
    typer.Option("--key", help="The shop's public key: no other counts. Needs no other file."),
]


def calendar_day(text: str) -> str:
    """A day of the calendar (ISO 8601).

    Raises:
        BadInput: it is none.
    """
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError:
        remedy = "Write it as year, month and day: 2026-03-31."
        raise BadInput(f"{text!r} is no day", where="--calibrated", remedy=remedy) from None
