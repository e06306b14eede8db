"""A clip, whole or a part of it, as an audio element asks for it (RFC 9110, section 14)."""

from __future__ import annotations

import re

from starlette.responses import Response

_RANGE = re.compile(r"bytes=(\d{0,12})-(\d{0,12})")


def clip_response(sound: bytes, wanted: str | None) -> Response:
    """The answer to a request for a clip.

    Args:
        sound: FLAC.
        wanted: the header Range; one that is not understood is passed over, as is several.
    """
    headers = {"Accept-Ranges": "bytes"}
    size, match = len(sound), _RANGE.fullmatch(wanted or "")
    if match is None or match[0] == "bytes=-":
        return Response(sound, media_type="audio/flac", headers=headers)
    if not match[1]:  # the last so many bytes
        begin, end = max(size - int(match[2]), 0), size - 1
    else:
        begin = int(match[1])
        end = min(int(match[2]) if match[2] else size - 1, size - 1)
        if match[2] and int(match[2]) < begin:  # no range at all
            return Response(sound, media_type="audio/flac", headers=headers)
    if begin > end:
        return Response(status_code=416, headers=headers | {"Content-Range": f"bytes */{size}"})
    headers["Content-Range"] = f"bytes {begin}-{end}/{size}"
    return Response(sound[begin : end + 1], 206, media_type="audio/flac", headers=headers)
