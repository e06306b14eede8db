"""What each apprentice knows: a small file a person, added to at the end of a session."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path

from platformdirs import user_data_path

from handsfree.errors import BadInput
from handsfree.events import Event, Guessed
from handsfree.log.folder import FOLDER_RIGHTS, write_file


@dataclass(slots=True)
class Progress:
    """How often each step was asked about and known.

    Attributes:
        person: whose it is.
        asked, known: by "plan: step".
    """

    person: str
    asked: dict[str, int] = field(default_factory=dict)
    known: dict[str, int] = field(default_factory=dict)

    def add(self, plan: str, events: Iterable[Event]) -> None:
        """Count the lessons among the events of a session."""
        for event in events:
            if isinstance(event, Guessed):
                key = f"{plan}: {event.guess.step.replace('_', ' ')}"
                self.asked[key] = self.asked.get(key, 0) + 1
                self.known[key] = self.known.get(key, 0) + event.guess.right

    def to_practise(self) -> list[tuple[str, int, int]]:
        """Step, known and asked, least known first; what is always known is left out."""
        rows = [(key, self.known[key], asked) for key, asked in self.asked.items()]
        return sorted((r for r in rows if r[1] < r[2]), key=lambda r: (r[1] / r[2], r[0]))


def progress_folder() -> Path:
    """Where the progress of all persons is kept."""
    return user_data_path("handsfree") / "progress"


def progress_file(person: str, folder: Path | None = None) -> Path:
    """Where a person's progress is kept.

    Raises:
        BadInput: the name cannot be a file's.
    """
    if not person.strip() or person != Path(person).name or person.startswith("."):
        raise BadInput(f"{person!r} cannot be used as a name", remedy="Use letters and digits.")
    return (folder or progress_folder()) / f"{person}.json"


def load_progress(person: str, folder: Path | None = None) -> Progress:
    """A person's progress so far; empty if there is none.

    Raises:
        BadInput: the file is damaged.
    """
    path = progress_file(person, folder)
    if not path.exists():
        return Progress(person)
    try:
        kept = json.loads(path.read_text(encoding="utf-8"))
        return Progress(person, dict(kept["asked"]), dict(kept["known"]))
    except (ValueError, KeyError, TypeError) as error:
        remedy = "Delete it to begin anew."
        raise BadInput("the progress file is damaged", where=str(path), remedy=remedy) from error


def save_progress(progress: Progress, folder: Path | None = None) -> Path:
    """Keep it; the old file is replaced in one step."""
    path = progress_file(progress.person, folder)
    path.parent.mkdir(parents=True, exist_ok=True, mode=FOLDER_RIGHTS)
    new = path.with_suffix(".new")
    kept = {"asked": progress.asked, "known": progress.known}
    write_file(new, json.dumps(kept, indent=1, ensure_ascii=False).encode())
    new.replace(path)
    return path
