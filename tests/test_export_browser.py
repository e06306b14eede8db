"""Captions in a browser: a track of a video, as whoever shows a job to others would use them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from threading import Thread

import pytest
from display_browser import Browser, chromium

from handsfree.events import UtteranceHeard
from handsfree.export import captions
from handsfree.log import JobRecord

GOLDEN = Path(__file__).parent / "data" / "golden"
PAGE = """<!doctype html><title>captions</title>
<video><track kind="captions" srclang="en" src="captions.vtt" default></video>"""
#: What the browser made of the file: of each cue its times, its text and the names of its tags.
READ = """
return [...document.querySelector('track').track.cues].map((cue) => {
  const shown = cue.getCueAsHTML();
  return [cue.startTime, cue.endTime, shown.textContent,
          [...shown.querySelectorAll('*')].map((node) => node.title || node.nodeName)];
});
"""


class _Quiet(SimpleHTTPRequestHandler):
    def log_message(self, *_: object) -> None:
        """Nothing."""


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as started:
        yield started


@pytest.fixture
def address(tmp_path: Path) -> Iterator[str]:
    """Of a page with `captions.vtt` of that folder; browsers give no track to a page of a file."""
    (tmp_path / "index.html").write_text(PAGE)
    server = ThreadingHTTPServer(("127.0.0.1", 0), partial(_Quiet, directory=str(tmp_path)))
    Thread(target=server.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{server.server_port}/"
    server.shutdown()
    server.server_close()


def test_a_track_has_every_cue_with_its_times_its_speaker_and_its_text(
    browser: Browser, address: str, tmp_path: Path
) -> None:
    record = JobRecord.read(GOLDEN / "whole-session")
    said = "<b>over</b> & out --> &lt;\n\n2\n00:00.000 --> 00:01.000\n\u202eturned"
    events = list(record.events)
    at, heard = next((n, e) for n, e in enumerate(events) if isinstance(e.event, UtteranceHeard))
    events[at] = replace(heard, event=replace(heard.event, text=said))
    made = captions(replace(record, events=tuple(events)))
    (tmp_path / "captions.vtt").write_bytes(made)
    browser.open(address)
    browser.run("document.querySelector('track').track.mode = 'showing'")
    browser.wait(
        "document.querySelector('track').readyState === 2"
    )  # LOADED (HTML Living Standard)
    cues = browser.run(READ)
    assert len(cues) == made.count(b" --> ") > 40
    assert all(start < end for start, end, _, _ in cues)
    assert {name for *_, names in cues for name in names} <= {"technician", "tool", "note"}
    texts = [text for _, _, text, _ in cues]
    shown = "<b>over</b> & out --> &lt; 2 00:00.000 --> 00:01.000"
    assert any(text.startswith(shown) for text in texts)
    assert not any("\u202e" in text for text in texts)
    for logged in record.events:
        if isinstance(logged.event, UtteranceHeard) and logged is not heard and logged.event.text:
            assert logged.event.text in texts
