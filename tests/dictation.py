"""A dictation in a process of its own, forked from one that has read what it needs."""

from __future__ import annotations

import os
import sys
from pathlib import Path

from handsfree.cli import main
from handsfree.dialogue import Dialogue
from handsfree.languages import data_folder, language_of
from handsfree.plan import load_plan

PLAN = "headlamp-levelling"
CLIPS = sorted((data_folder("demo_audio") / "low-beam").glob("*.flac"))

# Kept for the processes that are forked from this one, like the modules themselves.
_loaded = load_plan(PLAN)
_dialogue = Dialogue(_loaded.plan, language_of(_loaded))
for _step in _loaded.plan.steps:
    _dialogue.desk.spoken.automaton(_step)


def dictate(job: Path, told: Path) -> None:
    """Dictate into a job; what is printed goes to `told`."""
    os.dup2(os.open(told, os.O_WRONLY), 1)
    sys.argv = ["handsfree", "dictate", PLAN, "--json", "--job", str(job)]
    sys.argv += ["--voice", "off", "--engine", "whisper"]
    for clip in CLIPS:
        sys.argv += ["--audio", str(clip)]
    main()
