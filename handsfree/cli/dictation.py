"""Options of a dictation, which `dictate` and `resume` share."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from handsfree.live.settings import FASTEST, LOUDEST, SLOWEST, SOFTEST


class KeepName(StrEnum):
    """Of which utterances the sound is kept."""

    never = "never"
    readings = "readings"
    all = "all"


class Route(StrEnum):
    """Which test comes next."""

    plan = "plan"
    informed = "informed"


Recordings = Annotated[
    list[Path] | None, typer.Option("--audio", help="Recorded speech; without, the microphone.")
]
Device = Annotated[
    str | None, typer.Option("--device", help="Microphone by name, or phone with --screen web.")
]
SpeakerOption = Annotated[
    str | None, typer.Option("--speaker", help="Speaker or headset, likewise.")
]
Volume = Annotated[
    int | None, typer.Option("--volume", min=SOFTEST, max=LOUDEST, help="Percent; remembered.")
]
Speed = Annotated[
    int | None, typer.Option("--speed", min=SLOWEST, max=FASTEST, help="Percent; remembered.")
]
Key = Annotated[
    bool,
    typer.Option("--key", help="Listen only after any key, or a foot switch that types one."),
]
CutInOption = Annotated[
    bool,
    typer.Option("--cut-in/--no-cut-in", help="Speaking over the voice stops it, or is not heard."),
]
CheckOption = Annotated[
    bool, typer.Option("--check/--no-check", help="Begin with a check of the microphone.")
]
Person = Annotated[
    str | None,
    typer.Option("--person", help="Who speaks: what is known of voice and progress is kept."),
]
TypedOption = Annotated[
    bool,
    typer.Option("--type", help="From the keyboard, a line an utterance; nothing is heard."),
]
KeepOption = Annotated[
    KeepName,
    typer.Option(
        "--keep",
        envvar="HANDSFREE_KEEP",
        help="Of which utterances the sound is kept: none, those of readings and notes, or all.",
    ),
]
FreeOption = Annotated[
    bool,
    typer.Option("--free", help="Without a plan: wires and conditions are named on the way."),
]
#: Signs of a line that is typed, at most; the rest is not taken.
LONGEST_TYPED = 500
SealOption = Annotated[
    bool,
    typer.Option("--seal", help="Seal the job at the end; the passphrase is asked at the start."),
]
