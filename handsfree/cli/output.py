"""How the command line prints: JSON lines for programs, plain lines for people."""

from __future__ import annotations

import json
import sys
import threading
from collections.abc import Callable, Sequence
from typing import Any

from rich.console import Console
from rich.text import Text

#: Takes each event of a session.
Tell = Callable[[dict[str, Any]], None]

#: For people; wraps to the terminal and drops colours when it is no terminal.
console = Console(highlight=False, soft_wrap=True)

#: How each kind of event is marked on the screen.  Never by colour alone.
_MARKS = {
    "heard": ("you ", "bold"),
    "said": ("tool", "cyan"),
    "asked": ("ask?", "yellow"),
    "reading": ("log ", "green"),
    "struck": ("log ", "magenta"),
    "note": ("note", "magenta"),
    "verdict": ("verd", "bold green"),
    "finished": ("end ", "bold"),
    "microphone": ("mic ", "blue"),
}


def print_json_event(event: dict[str, Any]) -> None:
    """An event as JSON; levels, of which there are several a second, are left out."""
    if event["event"] != "level":
        print_json(event)


def fan_out(listeners: Sequence[Tell]) -> Tell:
    """One listener that tells all of these, one event at a time from whatever thread."""
    lock = threading.Lock()

    def tell(event: dict[str, Any]) -> None:
        with lock:
            for listener in listeners:
                listener(event)

    return tell


def print_json(value: object) -> None:
    """One JSON object on one line, flushed at once."""
    sys.stdout.write(json.dumps(value, ensure_ascii=False) + "\n")
    sys.stdout.flush()


def print_event(event: dict[str, Any]) -> None:
    """One line for a person; steps are left out because they are said."""
    kind = event["event"]
    if kind not in _MARKS:
        return
    mark, style = _MARKS[kind]
    console.print(Text(f"{mark}  ", style=style) + Text(_line(kind, event)))


def _line(kind: str, event: dict[str, Any]) -> str:
    match kind:
        case "reading":
            shown = "over limit" if event["over_limit"] else event["spoken"] or event["value"]
            unit = f" {event['unit']}" if event["unit"] else ""
            wire = event["wire"] or event["step"].replace("_", " ")
            pins = " to ".join(map(str, event["pins"]))
            wire += f" (pin {pins})" if pins else ""
            condition = event["condition"].replace("_", " ")
            parts = (wire, condition, f"{shown}{unit}", event["verdict"])
            return f"#{event['number']} {' · '.join(parts)}"
        case "struck":
            return f"the value at {event['step'].replace('_', ' ')} no longer counts"
        case "verdict":
            if event.get("withdrawn"):
                return "withdrawn: the tests are open again"
            return event["part"] or "no rule names a part"
        case "finished":
            return str(event["status"])
        case "heard":
            return event["meaning"]["text"] or event["text"] or "(not understood)"
    return str(event["text"])
