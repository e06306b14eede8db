"""Where PortAudio is loaded: only when sound is wanted, and with a remedy where it is not there."""

from __future__ import annotations

from typing import Any

from handsfree.errors import Missing


def portaudio() -> Any:
    """The sounddevice module.

    Raises:
        Missing: its PortAudio library is not there.
    """
    try:
        import sounddevice
    except OSError as error:
        raise Missing(
            "the PortAudio library is not installed",
            where="sound",
            remedy="Install it (Debian: apt-get install libportaudio2), or do without sound: "
            "--audio FILE and --voice off.",
        ) from error
    return sounddevice


def no_output(detail: object) -> Missing:
    """The error for an output that is not there or went away."""
    return Missing(
        f"there is no sound output ({detail})",
        where="sound output",
        remedy="Plug in or switch on a speaker or headset, or use --voice off.",
    )
