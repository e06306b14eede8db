"""A dictation in a process of its own, forked from one in which `made_ready` was imported."""

from __future__ import annotations

import os
import sys
from pathlib import Path

from handsfree.cli import main
from handsfree.languages import data_folder

PLAN = "headlamp-levelling"
CLIPS = sorted((data_folder("demo_audio") / "low-beam").glob("*.flac"))


def dictate(job: Path, told: Path) -> None:
    """Dictate into a job; what is printed goes to `told`."""
    os.dup2(os.open(told, os.O_WRONLY), 1)
    sys.argv = ["handsfree", "dictate", PLAN, "--json", "--job", str(job)]
    sys.argv += ["--voice", "off", "--engine", "whisper"]
    for clip in CLIPS:
        sys.argv += ["--audio", str(clip)]
    main()
