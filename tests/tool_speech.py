"""How long the tool speaks for each reading of a job.

    python tests/tool_speech.py JOB... [--voice piper]

Counts what was said from the first reading on, up to the verdict; the start and the verdict
are said once a job, however many readings it has.
"""

from __future__ import annotations

import sys
from pathlib import Path

from handsfree.events import Asked, ReadingTaken, Spoke, VerdictReached
from handsfree.log.record import JobRecord
from handsfree.sound.pieces import Pieces
from handsfree.sound.voice import open_voice


def said_for_readings(job: Path) -> tuple[list[str], int]:
    """What was said from the first reading to the verdict, and how many readings there were."""
    texts: list[str] = []
    readings = 0
    for logged in JobRecord.read(job).events:
        match logged.event:
            case VerdictReached():
                return texts, readings
            case ReadingTaken():
                readings += 1
            case Spoke(text=text) | Asked(text=text) if readings:
                texts.append(text)
    return texts, readings


def main(*args: str) -> None:
    """Print the mean of each job, in seconds a reading."""
    voice = args[args.index("--voice") + 1] if "--voice" in args else "auto"
    jobs = [Path(arg) for arg in args if arg not in ("--voice", voice)]
    pieces = Pieces(open_voice(voice, to_speaker=False))
    for job in jobs:
        texts, readings = said_for_readings(job)
        seconds = sum(len(s) / rate for text in texts for s, rate in pieces.say(text))
        print(f"{job}: {readings} readings, {seconds / readings:.1f} s of speech each")


if __name__ == "__main__":
    main(*sys.argv[1:])
