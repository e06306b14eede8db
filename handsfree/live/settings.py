"""What is remembered from one session to the next: devices, volume and speed."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated, Self

import platformdirs
from pydantic import Field, TypeAdapter

SOFTEST, LOUDEST = 10, 100
SLOWEST, FASTEST = 60, 200
STEP = 15


@dataclass(frozen=True, slots=True)
class Settings:
    """How a technician listens and is spoken to.

    Attributes:
        device: microphone, by name or a part of it; None for the default.
        speaker: likewise.
        volume: of the voice and the tones, `SOFTEST` to `LOUDEST` percent.
        speed: of the voice, `SLOWEST` to `FASTEST` percent of its own.
    """

    device: str | None = None
    speaker: str | None = None
    volume: Annotated[int, Field(ge=SOFTEST, le=LOUDEST)] = 85
    speed: Annotated[int, Field(ge=SLOWEST, le=FASTEST)] = 100

    def changed(self, command: str) -> Self:
        """After louder, softer, faster or slower; the same for any other command."""
        volume, speed = self.volume, self.speed
        match command:
            case "louder":
                volume = min(volume + STEP, LOUDEST)
            case "softer":
                volume = max(volume - STEP, SOFTEST)
            case "faster":
                speed = min(speed + STEP, FASTEST)
            case "slower":
                speed = max(speed - STEP, SLOWEST)
        return replace(self, volume=volume, speed=speed)

    @property
    def gain(self) -> float:
        """Factor for samples: 100 percent is full scale, each 15 percent less are 6 dB."""
        return float(2 ** ((self.volume - LOUDEST) / STEP))


def settings_file() -> Path:
    """Where settings are remembered: the folder that the system has for it."""
    return platformdirs.user_config_path("handsfree") / "live.json"


_FORM = TypeAdapter(Settings)


def remembered() -> Settings:
    """The settings of the last session; the usual ones where none can be read."""
    try:
        return _FORM.validate_json(settings_file().read_bytes())
    except (OSError, ValueError):
        return Settings()


def remember(settings: Settings) -> None:
    """Keep settings for the next session; where that cannot be, they are forgotten."""
    path = settings_file()
    with suppress(OSError):
        path.parent.mkdir(parents=True, exist_ok=True)
        ready = path.with_suffix(".new")
        ready.write_bytes(_FORM.dump_json(settings, indent=1))
        ready.replace(path)
