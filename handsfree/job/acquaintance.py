"""What is known of a person's voice from job to job: a small file a person, his alone.

It holds counts and words, and no sound: how many of his values were right and wrong in earlier
jobs, and what he was misheard in when he was enrolled.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from platformdirs import user_data_path
from pydantic import TypeAdapter

from handsfree.dialogue import Session
from handsfree.dialogue.enrolled import Enrolled, LineHeard, learnt
from handsfree.dialogue.voice_record import UNHEARD, VoiceRecord
from handsfree.errors import BadInput, HandsfreeError
from handsfree.events import Logged
from handsfree.job.progress import progress_file
from handsfree.log import JobRecord
from handsfree.log.folder import EVENTS, FOLDER_RIGHTS, write_file


@dataclass(frozen=True, slots=True)
class Acquaintance:
    """What is known of a voice.

    Attributes:
        person: whose it is.
        record: what became of his values in earlier jobs.
        engine: that heard his lines; empty before the first.
        lines: that he read when he was enrolled.
    """

    person: str
    record: VoiceRecord = UNHEARD
    engine: str = ""
    lines: tuple[LineHeard, ...] = ()

    @property
    def enrolled(self) -> Enrolled | None:
        """What his lines taught; None if he read none."""
        return learnt(self.engine, self.lines) if self.lines else None

    def after(self, job: Sequence[Logged], since: int) -> Acquaintance:
        """After what became of his values in the events of a job, from number `since` on."""
        events = [logged.event for logged in job]
        before, whole = (Session.of(some).speaker for some in (events[:since], events))
        return replace(self, record=self.record.faded + (whole - before))


def known_before(known: Acquaintance, engine: str, job: Path) -> VoiceRecord:
    """How a person was heard before a job: by values and, if it was this engine, by lines.

    A job that is gone on with tells by itself what became of its values.
    """
    enrolled = known.enrolled
    lines = enrolled.record if enrolled and enrolled.engine == engine else UNHEARD
    before = known.record.faded
    if (job / EVENTS).exists():
        with suppress(HandsfreeError):  # opening the log says what is wrong with it
            events = JobRecord.read(job).events
            before -= Session.of(logged.event for logged in events).speaker
    return before + lines


_FORM = TypeAdapter(Acquaintance)


def voices_folder() -> Path:
    """Where what is known of all voices is kept."""
    return user_data_path("handsfree") / "voices"


def voice_file(person: str) -> Path:
    """Where what is known of a person's voice is kept.

    Raises:
        BadInput: the name cannot be a file's.
    """
    return progress_file(person, voices_folder())


def acquaintance(person: str) -> Acquaintance:
    """What is known of a person's voice; nothing if there is no file.

    Raises:
        BadInput: the file is damaged.
    """
    path = voice_file(person)
    if not path.exists():
        return Acquaintance(person)
    try:
        kept: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
        return _FORM.validate_python({**kept, "person": person})
    except (ValueError, TypeError) as error:
        remedy = f"Delete it to begin anew: handsfree enrol {person} --delete."
        raise BadInput(
            "the file of the voice is damaged", where=str(path), remedy=remedy
        ) from error


def keep_acquaintance(known: Acquaintance) -> Path:
    """Keep it; the old file is replaced in one step."""
    path = voice_file(known.person)
    path.parent.mkdir(parents=True, exist_ok=True, mode=FOLDER_RIGHTS)
    new = path.with_suffix(".new")
    kept = {name: value for name, value in asdict(known).items() if name != "person"}
    write_file(new, json.dumps(kept, indent=1, ensure_ascii=False).encode())
    new.replace(path)
    return path


def forget(person: str) -> bool:
    """Delete what is known of a person's voice; False if nothing was."""
    path = voice_file(person)
    there = path.exists()
    path.unlink(missing_ok=True)
    return there
