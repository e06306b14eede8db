"""Following a job: the events of its log, and those that another process adds meanwhile."""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from handsfree.display.opening import Event
from handsfree.errors import BadInput, Damaged
from handsfree.log.chain import decode
from handsfree.log.folder import EVENTS, PLAN, read_file, read_log
from handsfree.plan import Plan, parse_plan

PAUSE = 0.1
"""Seconds between two looks at the log."""


def plan_of(folder: Path) -> Plan:
    """The plan of a job, as used.

    Raises:
        BadInput: this is no job folder.
        Damaged: its plan is gone.
    """
    read_log(folder)
    text = read_file(folder, PLAN)
    if text is None:
        raise Damaged("the plan of the job is not there", where=str(folder / PLAN))
    return parse_plan(text.decode(errors="replace"), str(folder / PLAN))


def follow(folder: Path) -> Iterator[Event]:
    """Each event of a job, first those that are there, then the others as they come; no end.

    Lines that are no events are left out: whether the log is sound is for `verify` to say.

    Raises:
        BadInput: the log cannot be read, or is gone.
    """
    place, rest = 0, b""
    while True:
        try:
            with (folder / EVENTS).open("rb") as log:
                log.seek(place)
                data = log.read()
        except OSError as error:
            raise BadInput(
                f"the log cannot be read any more: {error.strerror}", where=str(folder / EVENTS)
            ) from error
        place += len(data)
        *lines, rest = (rest + data).split(b"\n")
        for line in lines:
            if event := _event(line):
                yield event
        time.sleep(PAUSE)


def _event(line: bytes) -> dict[str, Any] | None:
    try:
        return decode(line + b"\n").as_dict()
    except ValueError:
        return None
