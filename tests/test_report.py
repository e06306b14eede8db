"""The report: self-contained, with the sound of every reading, telling what no longer counts."""

from __future__ import annotations

import base64
import re
import shutil
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
from by_hand import by_hand
from typer.testing import CliRunner

from handsfree.cli.app import app
from handsfree.dialogue import Dialogue
from handsfree.errors import BadInput, Damaged
from handsfree.grammar import Language
from handsfree.heard import Heard
from handsfree.job import Job
from handsfree.log import JobRecord, encode_flac, open_job, verify
from handsfree.report import render, report_file

GOLDEN = Path(__file__).parent / "data" / "golden"
SAID = ["twelve six", "point oh two", "correction point oh three", "five volts", "strike that"]
SAID += ["note the <seal> is torn", "four point nine volts", "finish", "yes"]


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory, english: Language) -> str:
    job = tmp_path_factory.mktemp("jobs") / "job"
    loaded = by_hand("flap-actuator-5wire")
    sound = encode_flac(np.zeros(1600, np.float32), 16_000)
    subject = {"vehicle": "Corvid 300", "order": "4711", "technician": "Ilya"}
    details = {"subject": subject, "follows": "0123 4567 89ab cdef"}
    with open_job(job, loaded.text.encode(), title=loaded.plan.title, details=details) as log:
        session = Job(Dialogue(loaded.plan, english), log, lambda event: None, lambda text: None)
        session.begin()
        for text in SAID:
            session.hear(Heard.of_text(text), sound)
    report_file(job, job / "report.html")
    return (job / "report.html").read_text(encoding="utf-8")


def test_it_needs_nothing_from_outside(page: str) -> None:
    assert not re.search(r"(src|href|action|poster)=[\"'](?!data:)", page)
    assert not re.search(r"url\(", page)
    assert "<script" not in page
    assert "@import" not in page


def test_every_reading_has_its_sound(page: str) -> None:
    table = page[page.index(">Readings</h2>") : page.index(">Connector, face-on</h2>")]
    sounds = re.findall(r"data:audio/flac;base64,([A-Za-z0-9+/=]+)", table)
    assert len(sounds) == 5
    assert all(base64.b64decode(sound).startswith(b"fLaC") for sound in sounds)


def test_what_no_longer_counts_is_shown(page: str) -> None:
    assert page.count("class=void") == 2
    assert "(superseded)" in page
    assert "(struck)" in page


def test_it_tells_state_fingerprint_and_what_is_missing(page: str) -> None:
    assert "Not verified." in page
    assert re.search(r"Fingerprint of the last event: <strong>([0-9a-f]{4} ){7}[0-9a-f]{4}", page)
    assert "0.3 V to 1 V" not in page  # a step that was not reached
    assert "4.8 V to 5.2 V" in page


def test_spoken_text_cannot_inject_markup(page: str) -> None:
    assert "<seal>" not in page


def test_it_is_well_formed(page: str) -> None:
    open_tags: list[str] = []

    class Checker(HTMLParser):
        def handle_starttag(self, tag: str, attrs: object) -> None:
            if tag not in ("meta", "br", "img"):
                open_tags.append(tag)

        def handle_startendtag(self, tag: str, attrs: object) -> None:
            """An element of a drawing that has no content."""

        def handle_endtag(self, tag: str) -> None:
            assert open_tags.pop() == tag

    Checker().feed(page)
    assert open_tags == []


def test_what_was_tested_is_what_the_job_was_opened_with(page: str) -> None:
    told = dict(re.findall(r"<dt>(.*?)</dt><dd>(.*?)</dd>", page))
    for name in ("Begun", "Finished"):
        assert re.fullmatch(r"\d+ \w+ 20\d\d, \d\d:\d\d UTC([+-]\d\d:\d\d)?", told.pop(name))
    assert told == {
        "Vehicle": "Corvid 300",
        "Repair order": "4711",
        "Technician": "Ilya",
        "Meter": by_hand("flap-actuator-5wire").plan.meter.name
        + ", serial number not given, calibration date not given",
        "Follows the job": "0123 4567 89ab cdef",
    }
    invented = [
        text for text in by_hand("flap-actuator-5wire").plan.subject.model_dump().values() if text
    ]
    assert invented
    assert not [text for text in invented if text in page]


@pytest.mark.parametrize("name", ["a.odt", "a.docx", "report"])
def test_another_format_than_html_and_pdf_is_refused(tmp_path: Path, name: str) -> None:
    loaded = by_hand("flap-actuator-5wire")
    open_job(tmp_path / "job", loaded.text.encode(), title="x").close()
    with pytest.raises(BadInput, match=r"(?s)written as HTML or PDF.*\.html"):
        report_file(tmp_path / "job", tmp_path / name)
    assert not (tmp_path / name).exists()


def test_a_withdrawn_verdict_is_not_reported(tmp_path: Path, english: Language) -> None:
    loaded = by_hand("flap-actuator-5wire")
    with open_job(tmp_path / "job", loaded.text.encode(), title="x") as log:
        session = Job(Dialogue(loaded.plan, english), log, lambda event: None, lambda text: None)
        session.begin()
        for text in ("nine volts", "strike that"):
            session.hear(Heard.of_text(text))
    report_file(tmp_path / "job", tmp_path / "report.html")
    told = (tmp_path / "report.html").read_text(encoding="utf-8")
    assert "<strong>Withdrawn</strong>" in told
    assert "<strong>battery</strong>" not in told


def test_a_place_that_cannot_be_written(tmp_path: Path, english: Language) -> None:
    loaded = by_hand("flap-actuator-5wire")
    with open_job(tmp_path / "job", loaded.text.encode(), title="x"):
        pass
    with pytest.raises(BadInput, match="cannot be written"):
        report_file(tmp_path / "job", tmp_path / "nowhere" / "report.html")


def test_the_report_of_a_damaged_log_says_so_first(tmp_path: Path) -> None:
    job = tmp_path / "job"
    shutil.copytree(GOLDEN / "whole-session", job)
    log = (job / "events.jsonl").read_text(encoding="utf-8")
    assert '"verified"' in log
    (job / "events.jsonl").write_text(log.replace("4.98", "4.89"), encoding="utf-8")
    told = CliRunner().invoke(app, ["report", str(job)])
    assert isinstance(told.exception, Damaged)
    body = (job / "report.html").read_text(encoding="utf-8").split("<main>")[1]
    first = re.sub(r"<[^>]+>", " ", body).split()
    assert first[0] == "Damaged:"
    assert body.index("Damaged") < body.index("<h1") < body.index("erified after the repair")
    assert "<strong>Verified after the repair" not in body
    assert "events.jsonl, line" in body[: body.index("<h1")]


def test_a_page_holds_as_much_sound_as_a_browser_bears(monkeypatch: pytest.MonkeyPatch) -> None:
    record = JobRecord.read(GOLDEN / "demo-open-winding")
    check = verify(GOLDEN / "demo-open-winding")
    sound = b"x" * 1000
    whole = render(record, check, lambda _: sound)
    assert "utterances is left out" not in whole
    monkeypatch.setattr("handsfree.report.sounds.MOST_SOUND", 3000)
    bounded = render(record, check, lambda _: sound)
    assert bounded.count("data:audio") == 3
    left_out = whole.count("data:audio") - 3
    assert f"The sound of {left_out} utterances is left out" in bounded
