"""What was said in a job as captions: WebVTT (W3C Candidate Recommendation, 4 April 2019).

Times are those of the one file that was listened to, so that the captions fit its sound.  Where it
was a microphone, or several files, they count from the beginning of the job: an utterance is logged
when it has ended, so it begins its length before.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from handsfree.events import Asked, Logged, Noted, Spoke, UtteranceHeard
from handsfree.log import JobRecord
from handsfree.showable import showable

#: Letters a second of what the tool says, to guess its length; common practice of subtitling, no
#: published source.
PACE, SHORTEST_CUE = 15.0, 1.0


@dataclass(frozen=True, slots=True)
class Cue:
    """A caption: seconds, who says it, and what."""

    start: float
    end: float
    who: str
    text: str


def captions(record: JobRecord) -> bytes:
    """The captions of a job, in UTF-8."""
    parts = ["WEBVTT"]
    for number, cue in enumerate(sorted(_cues(record), key=lambda cue: cue.start), 1):
        times = f"{_stamp(cue.start)} --> {_stamp(cue.end)}"
        parts.append(f"{number}\n{times}\n<v {_escaped(cue.who)}>{_escaped(cue.text)}")
    return ("\n\n".join(parts) + "\n").encode()


def _cues(record: JobRecord) -> Iterator[Cue]:
    one_file = _one_file(record)
    began, now = _seconds(record.began), 0.0
    technician = record.subject.get("technician") or "technician"
    for logged in record.events:
        if not one_file:
            now = max(now, _seconds(logged.time) - began)
        match logged.event:
            case UtteranceHeard(start=start, end=end, text=text) if text:
                if one_file:
                    now = end
                else:
                    start = max(0.0, now - (end - start))
                yield Cue(start, max(now, start + SHORTEST_CUE), _who(logged, technician), text)
            case Spoke(text=text) | Asked(text=text) if text:
                yield Cue(now, now + max(SHORTEST_CUE, len(text) / PACE), "tool", text)
            case Noted(text=text) if text:
                yield Cue(now, now + SHORTEST_CUE, "note", text)


def _who(logged: Logged, technician: str) -> str:
    by = logged.fields.get("by")
    return by if isinstance(by, str) and by else technician


def _one_file(record: JobRecord) -> bool:
    """Whether all of it was heard in one file."""
    heard = [e.event for e in record.events if isinstance(e.event, UtteranceHeard)]
    return len({event.source for event in heard}) == 1 and all(e.via == "file" for e in heard)


def _seconds(time: str) -> float:
    try:
        return datetime.fromisoformat(time).timestamp()
    except ValueError:
        return 0.0


def _stamp(seconds: float) -> str:
    milliseconds = round(seconds * 1000)
    minutes, rest = divmod(milliseconds, 60_000)
    hours, minutes = divmod(minutes, 60)
    return f"{hours:02}:{minutes:02}:{rest // 1000:02}.{rest % 1000:03}"


def _escaped(text: str) -> str:
    """Text of a cue: one line, no tag, no arrow."""
    line = " ".join(showable(text).split())
    return line.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
