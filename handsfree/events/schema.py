"""The published format of a job's log, as JSON Schema (draft 2020-12)."""

from __future__ import annotations

from typing import Any

from pydantic import TypeAdapter

from handsfree.events.codec import OWN, SAME
from handsfree.events.kinds import SoundLevel

#: In every line, besides the fields of its kind; see `handsfree.log.chain`.
_LINE: dict[str, Any] = {
    "seq": {"type": "integer", "minimum": 1, "description": "line number"},
    "time": {"type": "string", "format": "date-time", "description": "UTC"},
    "prev": {"type": "string", "description": "SHA-256 over the line before"},
    "sha": {"type": "string", "description": "SHA-256 over this line, up to here"},
}
_SOUND: dict[str, Any] = {
    "heard": {"type": "integer", "description": "seq of the utterance that it came of"},
    "clip": {"type": ["string", "null"], "description": "file with the sound of the utterance"},
    "clip_sha256": {"type": "string", "description": "SHA-256 over that file"},
}


def log_schema() -> dict[str, Any]:
    """The schema of one line of `events.jsonl`; a line of another kind is allowed."""
    definitions: dict[str, Any] = {}
    kinds = {k: event for k, event in {**SAME, **OWN}.items() if event is not SoundLevel}
    for kind, event in sorted(kinds.items()):
        one = TypeAdapter(event).json_schema(ref_template="#/$defs/{model}")
        definitions |= one.pop("$defs", {})
        one["properties"] = {"event": {"const": kind}, **one.get("properties", {}), **_SOUND}
        one.pop("title", None)
        definitions[kind] = one
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "One line of the log of a job",
        "type": "object",
        "properties": {**_LINE, "event": {"type": "string"}},
        "required": ["seq", "time", "event", "prev", "sha"],
        "allOf": [
            {
                "if": {"properties": {"event": {"const": kind}}},
                "then": {"$ref": f"#/$defs/{kind}"},
            }
            for kind in sorted(kinds)
        ],
        "$defs": dict(sorted(definitions.items())),
    }
