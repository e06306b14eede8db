"""How the command line prints: JSON lines for programs, plain lines for people."""

from __future__ import annotations

import json
import sys
import threading
from collections.abc import Sequence

from rich.text import Text

from handsfree.display.consoles import ShowingConsole
from handsfree.events import (
    Asked,
    DifferenceTold,
    Event,
    ExcursionSeen,
    ExcursionStruck,
    JobFinished,
    JobRecovered,
    JobReviewed,
    LeadMoved,
    Logged,
    MeterChecked,
    MicrophoneChanged,
    Noted,
    NoteWorded,
    PlanAmended,
    ReadingCorrected,
    ReadingStruck,
    ReadingTaken,
    RecordImported,
    SoundLevel,
    Spoke,
    Tell,
    UtteranceHeard,
    VerdictReached,
    VerdictWithdrawn,
    WatchBegun,
    WatchEnded,
)
from handsfree.events.watches import clock
from handsfree.plan import changed
from handsfree.showable import escaped

#: For people; wraps to the terminal and drops colours when it is no terminal.
console = ShowingConsole(highlight=False, soft_wrap=True)


def print_json_event(logged: Logged) -> None:
    """An event as JSON; levels, of which there are several a second, are left out."""
    if not isinstance(logged.event, SoundLevel):
        print_json(logged.as_dict())


def fan_out(listeners: Sequence[Tell]) -> Tell:
    """One listener that tells all of these, one event at a time from whatever thread."""
    lock = threading.Lock()

    def tell(logged: Logged) -> None:
        with lock:
            for listener in listeners:
                listener(logged)

    return tell


def print_json(value: object) -> None:
    """One JSON object on one line, flushed at once."""
    sys.stdout.write(escaped(json.dumps(value, ensure_ascii=False)) + "\n")
    sys.stdout.flush()


def print_event(logged: Logged) -> None:
    """One line for a person; steps are left out because they are said."""
    if line := _line(logged.event):
        mark, style, text = line
        console.print(Text(f"{mark:4}  ", style=style) + Text(text))


def _line(event: Event) -> tuple[str, str, str] | None:
    """How an event is marked, never by colour alone; the colour; and what it says."""
    match event:
        case UtteranceHeard(text=text, understood=understood):
            return "you", "bold", understood.text or text or "(not understood)"
        case Spoke(text=text):
            return "tool", "cyan", text
        case Asked(text=text):
            return "ask?", "yellow", text
        case ReadingTaken(entry=entry, wire=wire, pins=pins):
            where = wire or entry.step.replace("_", " ")
            where += f" (pin {' to '.join(pins)})" if pins else ""
            condition = entry.condition.replace("_", " ")
            parts = (where, condition, entry.figures, entry.verdict.result)
            return "log", "green", f"#{entry.number} {' · '.join(parts)}"
        case ReadingCorrected(taken=taken, by=by, reason=reason):
            what = f"#{taken.entry.supersedes} is {taken.entry.figures}"
            return "rev", "magenta", f"{what}, says {by}: {reason}"
        case NoteWorded(text=text, by=by):
            return "rev", "magenta", f"the note says “{text}”, by {by}"
        case JobReviewed(by=by, remark=remark):
            return "rev", "magenta", ": ".join(filter(None, (f"looked through by {by}", remark)))
        case ReadingStruck(step=step):
            return "log", "magenta", f"the value at {step.replace('_', ' ')} no longer counts"
        case PlanAmended(change=change):
            return ("log", "magenta", told) if (told := changed(change)) else None
        case DifferenceTold(wires=(one, other), condition=condition):
            what = f"drop from {one} to {other}" if event.drop else f"{one} less {other}"
            said = f"{what} · {condition.replace('_', ' ')} · {event.figures}"
            return "log", "green", said
        case LeadMoved(jack=jack):
            return "log", "magenta", f"the red lead counts as in the {jack} jack"
        case MeterChecked(part=part, passed=passed, value=value, unit=unit):
            shown = "over limit" if value is None else f"{value:g} {unit}"
            return "log", "green", f"meter, {part}: {shown}, {'right' if passed else 'wrong'}"
        case WatchBegun(number=number, wire=wire):
            return "log", "magenta", f"watch {number} of {wire} begins"
        case ExcursionSeen():
            return "log", "green", f"watch {event.watch}, {clock(event.after)}: {event.figures}"
        case ExcursionStruck(watch=watch, number=number):
            return "log", "magenta", f"watch {watch}: number {number} no longer counts"
        case WatchEnded():
            ended = f"watch {event.watch} ended after {clock(event.lasted)}"
            reach = f", {event.reach}" if event.reach else ""
            return "log", "green", f"{ended}: excursions {event.excursions}{reach}"
        case RecordImported(source=source, excursions=found, lasted=lasted):
            return "log", "green", f"record {source}, {clock(lasted)}: excursions {len(found)}"
        case Noted(text=text):
            return "note", "magenta", text
        case VerdictReached(finding=finding):
            return "verd", "bold green", finding.part if finding else "no rule names a part"
        case VerdictWithdrawn():
            return "verd", "bold green", "withdrawn: the tests are open again"
        case JobFinished(status=status):
            return "end", "bold", status
        case JobRecovered(source=source, kept=kept, missing=missing):
            lost = "".join(f"\n      missing: {one}" for one in missing)
            return "log", "magenta", f"recovered from {source}: {kept} events{lost}"
        case MicrophoneChanged(text=text):
            return "mic", "blue", text
    return None
