"""The hash chain of the evidence log: events to lines and back. No files, no clock.

A line is one event as compact JSON in UTF-8, ended by a newline:

    {"seq":2,"time":"…Z","event":"reading",…fields of the caller…,"prev":"…","sha":"…"}

- `seq` counts from 1, so it is also the line number.
- `prev` is the SHA-256 over the exact bytes of the line before, its newline included; for the
  first line it is the SHA-256 of nothing. `sed -n 4p events.jsonl | sha256sum` gives the `prev`
  of line 5.
- `sha` is the SHA-256 over the bytes of its own line that stand before `,"sha"`. It guards the
  last line, which no `prev` covers yet.

The hashes are over the bytes as written, so no canonical form is needed: the keys stay in the
order a person reads them.
"""

from __future__ import annotations

import io
import json
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from hashlib import sha256
from typing import Any

NOTHING = sha256(b"").hexdigest()
#: What a file is to the line that holds its hash.
ROLES = ("plan", "clip", "aside", "photo", "record")
#: Where either of two lines was put in place of another.
NO_FOLLOWER = "the line does not follow from the line before"
RESERVED = frozenset({"seq", "time", "event", "prev", "sha"})
#: Lists and objects within each other, digits of a whole number, bytes: more than any line has.
DEEPEST, MOST_DIGITS_LOGGED, LONGEST_LINE = 32, 300, 1 << 24
#: Damaged lines of a log that are told.
MOST_FLAWS = 10_000


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the log.

    Attributes:
        seq: line number, from 1.
        time: UTC, ISO 8601 with microseconds and a Z.
        kind: what happened: opened, resumed, heard, reading, asked, said, struck, finished …
        fields: what the writer gave with it.
        prev: SHA-256 over the line before, hexadecimal.
        digest: SHA-256 over this line, hexadecimal.
    """

    seq: int
    time: str
    kind: str
    fields: Mapping[str, Any]
    prev: str
    digest: str

    @property
    def files(self) -> tuple[tuple[str, str, str], ...]:
        """Role, name and SHA-256 of each file whose hash the line holds."""
        digests = ((role, self.fields.get(f"{role}_sha256")) for role in ROLES)
        return tuple((role, str(self.fields.get(role)), str(sha)) for role, sha in digests if sha)

    def as_dict(self) -> dict[str, Any]:
        """The event as it stands in its line, without the hashes."""
        return {"seq": self.seq, "time": self.time, "event": self.kind, **self.fields}


@dataclass(frozen=True, slots=True)
class Damage:
    """A line that is not as it was written."""

    line: int
    what: str


@dataclass(frozen=True, slots=True)
class Scan:
    """What the bytes of a log hold.

    Attributes:
        events: every line that can be read, also where the chain is broken.
        tail: the bytes after the last newline, or the last line if it is no event: what a kill
            or a power cut in the middle of a write leaves.
        flaws: where the chain does not hold.
    """

    events: tuple[Line, ...]
    tail: bytes
    flaws: tuple[Damage, ...]


def digest(data: bytes) -> str:
    """SHA-256 (FIPS 180-4), hexadecimal."""
    return sha256(data).hexdigest()


#: Hexadecimal digits of a fingerprint, 128 bits: two logs cannot be made to share one in fewer
#: than 2^64 trials. Earlier reports printed 64 bits, which are still compared.
FINGERPRINT_DIGITS, EARLIER_DIGITS = 32, 16


def fingerprint(event: Line) -> str:
    """The first 128 bits of an event's digest, in groups to be read aloud or copied by hand."""
    return " ".join(event.digest[i : i + 4] for i in range(0, FINGERPRINT_DIGITS, 4))


def fingerprint_digits(text: str) -> str:
    """The digits of a fingerprint as a person wrote it down.

    Raises:
        ValueError: that is none.
    """
    digits = re.sub(r"[\s:.\-]", "", text).lower()
    if not re.fullmatch(rf"[0-9a-f]{{{EARLIER_DIGITS},64}}", digits):
        raise ValueError(f"{text!r} is no fingerprint")
    return digits


def encode(seq: int, time: str, kind: str, fields: Mapping[str, object], prev: str) -> bytes:
    """The line of an event, newline included.

    Raises:
        ValueError, TypeError: a field has a reserved name or is not JSON (NaN is not).
    """
    if taken := RESERVED & fields.keys():
        raise ValueError(f"reserved names cannot be fields of an event: {sorted(taken)}")
    record = {"seq": seq, "time": time, "event": kind, **fields, "prev": prev}
    text = json.dumps(record, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    body = text[:-1].encode()
    return body + _seal(body)


def decode(line: bytes) -> Line:
    """The event of a line; whether it is sound is for `scan` to say.

    Raises:
        ValueError: the line is no event.
    """
    record = _record(line)
    match record:
        case {"seq": int(seq), "time": str(time), "event": str(kind), "prev": str(prev)}:
            if not isinstance(seq, bool):
                fields = {key: value for key, value in record.items() if key not in RESERVED}
                return Line(seq, time, kind, fields, prev, digest(line))
    raise ValueError("not an event")


def scan(data: bytes) -> Scan:
    """Read a whole log and check its chain.

    A line is blamed once: the line after a changed one is not blamed for the `prev` that no
    longer fits.
    """
    whole = data.rfind(b"\n") + 1
    tail, last = data[whole:], data.count(b"\n")
    events: list[Line] = []
    flaws: list[Damage] = []
    prev, seq, sound = NOTHING, 1, True
    for number, line in enumerate(io.BytesIO(data[:whole]), 1):
        if len(flaws) == MOST_FLAWS:
            flaws.append(Damage(number, f"after {MOST_FLAWS} damaged lines no more was looked at"))
            break
        before, prev = prev, digest(line)
        try:
            event = decode(line)
        except ValueError:
            if number == last and not tail:
                tail = line
            else:
                flaws.append(Damage(number, "the line cannot be read"))
                seq, sound = seq + 1, False
            continue
        events.append(event)
        changed = not _sealed(line)
        if changed:
            flaws.append(Damage(number, "the line was changed after it was written"))
        elif event.seq != seq:
            flaws.append(Damage(number, f"event {event.seq} stands where event {seq} belongs"))
        elif sound and event.prev != before:
            flaws.append(Damage(number, NO_FOLLOWER))
        seq, sound = event.seq + 1, not changed
    return Scan(tuple(events), tail, tuple(flaws))


def holds_whole_event(tail: bytes) -> bool:
    """Whether a tail is more than the beginning of one line, so that no cut write explains it."""
    if tail.endswith(b"\n") or len(tail) > LONGEST_LINE:
        return True
    text = tail.decode(errors="replace")
    try:
        _, end = json.JSONDecoder().raw_decode(text)
    except (ValueError, RecursionError):
        return False
    return end < len(text)


def _record(line: bytes) -> Any:
    """The JSON of a line, none of whose parts is beyond what anybody could work with.

    Raises:
        ValueError: it is no JSON, or too deep, or has numbers or signs that JSON cannot write.
    """
    if len(line) > LONGEST_LINE:
        raise ValueError("longer than any line")
    text = line.decode()
    if text.count("[") + text.count("{") > DEEPEST and _deepest(text) > DEEPEST:
        raise ValueError("nested too deeply")
    record = _JSON.decode(text)
    if "\\u" in text:  # half of a sign is none, and could not be shown
        json.dumps(record, ensure_ascii=False).encode()
    return record


def _deepest(text: str) -> int:
    """How deep brackets stand in each other, those within strings left out."""
    depth = deepest = 0
    for bracket in _BRACKETS.findall(text):
        if bracket in "[{":
            depth += 1
            deepest = max(deepest, depth)
        elif bracket in "]}":
            depth -= 1
    return deepest


#: A string, which may lack its end, or a bracket; what was once matched is not looked at again.
_BRACKETS = re.compile(r'"(?:[^"\\]|\\.)*+(?:"|\\?\Z)|[][{}]', re.DOTALL)


def _whole(text: str) -> int:
    if len(text.lstrip("-")) > MOST_DIGITS_LOGGED:
        raise ValueError("a number is too long")
    return int(text)


def _broken(text: str) -> float:
    number = float(text)
    if math.isinf(number):
        raise ValueError("a number is too large")
    return number


def _refuse(text: str) -> float:
    raise ValueError(f"{text} is no number of JSON")


_JSON = json.JSONDecoder(parse_int=_whole, parse_float=_broken, parse_constant=_refuse)


def _seal(body: bytes) -> bytes:
    return f',"sha":"{digest(body)}"}}\n'.encode()


_SEAL_LENGTH = len(_seal(b""))


def _sealed(line: bytes) -> bool:
    body = line[:-_SEAL_LENGTH]
    return line[-_SEAL_LENGTH:] == _seal(body)
