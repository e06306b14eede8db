"""Photos in a job: known by their content, hashed into the chain, shown without their place."""

from __future__ import annotations

import base64
import re
from io import BytesIO
from pathlib import Path

import pytest
from PIL import Image
from typer.testing import CliRunner

from handsfree.cli.app import app
from handsfree.errors import BadInput
from handsfree.job.photos import attach_photos
from handsfree.log import JobRecord, compare, open_job, read, recover, verify
from handsfree.log.photo import NoPhoto, look_at
from handsfree.report import render

GOLDEN = Path(__file__).parent / "data" / "golden"
GPS, LATITUDE = 0x8825, 2  # Exif 2.3, 4.6.3 and 4.6.6


def picture(
    kind: str = "JPEG", size: tuple[int, int] = (60, 40), *, located: bool = False
) -> bytes:
    made, exif = BytesIO(), Image.Exif()
    if located:
        exif.get_ifd(GPS)[LATITUDE] = (48.0, 12.0, 34.0)
    Image.new("RGB", size, "red").save(made, kind, exif=exif)
    return made.getvalue()


@pytest.fixture
def open_one(tmp_path: Path) -> Path:
    plan = (GOLDEN / "low-beam" / "plan.yaml").read_bytes()
    open_job(tmp_path / "open", plan, title="Headlamp levelling drive, five wires").close()
    return tmp_path / "open"


@pytest.fixture
def job(open_one: Path) -> Path:
    """A finished one."""
    record = JobRecord.read(open_one)
    with open_job(open_one, record.plan_text.encode(), title=record.plan.title) as log:
        log.append("finished", status="not verified", missing=["repair"])
    return open_one


def test_a_photo_becomes_part_of_the_chain_byte_for_byte(open_one: Path, tmp_path: Path) -> None:
    data = picture()
    (tmp_path / "plug.jpg").write_bytes(data)
    told = CliRunner().invoke(app, ["attach", str(open_one), str(tmp_path / "plug.jpg")])
    assert told.exit_code == 0, told.output
    line = read(open_one)[-1]
    assert line.kind == "photo"
    assert (open_one / line.fields["photo"]).read_bytes() == data
    assert verify(open_one).ok
    (open_one / line.fields["photo"]).write_bytes(picture(size=(61, 40)))
    problems = " ".join(map(str, verify(open_one).problems))
    assert "the photo of event" in problems
    assert "was changed" in problems


def test_a_finished_job_takes_a_photo_and_stays_finished(job: Path, tmp_path: Path) -> None:
    """What was kept of it, its fingerprint, still proves it."""
    before = verify(job)
    (tmp_path / "plug.png").write_bytes(picture("PNG"))
    attach_photos(job, [tmp_path / "plug.png"])
    after = verify(job)
    assert (before.state, after.state, after.problems) == ("finished", "finished", ())
    assert [line.kind for line in read(job)][-2:] == ["finished", "photo"]
    assert read(job)[-1].fields["photo"].endswith(".png")
    remark = compare(job, before.fingerprint)
    assert remark is not None
    assert "1 came after it" in remark.what
    record = JobRecord.read(job)
    assert record.ending is not None
    assert record.session.phase == "finished"


def test_a_finished_job_takes_nothing_else(job: Path) -> None:
    record = JobRecord.read(job)
    with pytest.raises(BadInput, match="finished"):
        open_job(job, record.plan_text.encode(), title=record.plan.title)


def test_a_photo_that_was_cut_off_the_end_is_missed(open_one: Path, tmp_path: Path) -> None:
    (tmp_path / "a.jpg").write_bytes(picture())
    attach_photos(open_one, [tmp_path / "a.jpg", tmp_path / "a.jpg"])
    log = (open_one / "events.jsonl").read_bytes().splitlines(keepends=True)
    (open_one / "events.jsonl").write_bytes(b"".join(log[:-2]))
    assert "the log was longer" in " ".join(map(str, verify(open_one).problems))


def test_a_recovered_job_has_its_photos(open_one: Path, tmp_path: Path) -> None:
    (tmp_path / "a.jpg").write_bytes(picture())
    attach_photos(open_one, [tmp_path / "a.jpg"])
    log = (open_one / "events.jsonl").read_bytes()
    (open_one / "events.jsonl").write_bytes(log + b'{"seq":9}\n{"seq":10}\n')
    recover(open_one, tmp_path / "whole")
    (photo,) = (tmp_path / "whole" / "photos").iterdir()
    assert photo.read_bytes() == picture()
    assert verify(tmp_path / "whole").ok


def test_where_it_was_taken_is_said_and_is_in_no_report(open_one: Path, tmp_path: Path) -> None:
    (tmp_path / "a.jpg").write_bytes(picture(size=(3000, 100), located=True))
    told = CliRunner().invoke(app, ["attach", str(open_one), str(tmp_path / "a.jpg")])
    assert "says where it was taken" in told.output
    record = JobRecord.read(open_one)
    page = render(record, verify(open_one), record.clip)
    assert "this report does not" in page
    (data,) = re.findall(r'src="data:image/jpeg;base64,([^"]+)"', page)
    shown = Image.open(BytesIO(base64.b64decode(data)))
    assert not shown.getexif()
    assert max(shown.size) == 1400


BROKEN = {
    "a page": b"<html><script>alert(1)</script></html>",
    "a drawing with script": b"<svg xmlns='http://www.w3.org/2000/svg'><script/></svg>",
    "a GIF": picture("GIF"),
    "a PDF": b"%PDF-1.7\n",
    "nothing": b"",
    "half a JPEG": picture()[:200],
    "a PNG that begins well": picture("PNG")[:60],
}


@pytest.mark.parametrize("what", BROKEN)
def test_what_is_no_photo_is_refused_whatever_its_name(
    open_one: Path, tmp_path: Path, what: str
) -> None:
    (tmp_path / "good.jpg").write_bytes(picture())
    (tmp_path / "bad.jpg").write_bytes(BROKEN[what])
    before = (open_one / "events.jsonl").read_bytes()
    with pytest.raises(BadInput, match=r"(?s)bad\.jpg.*no photo"):
        attach_photos(open_one, [tmp_path / "good.jpg", tmp_path / "bad.jpg"])
    assert (open_one / "events.jsonl").read_bytes() == before, "all or none"


def test_a_picture_that_would_fill_the_memory_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    data = picture("PNG", (300, 300))
    monkeypatch.setattr("handsfree.log.photo.MOST_POINTS", 300 * 299)
    with pytest.raises(NoPhoto, match="300 × 300"):
        look_at(data)
    monkeypatch.setattr("handsfree.log.photo.MOST_OF_A_PHOTO", len(data) - 1)
    with pytest.raises(NoPhoto, match="megabytes"):
        look_at(data)


def test_a_photo_that_is_gone_is_said_to_be(open_one: Path, tmp_path: Path) -> None:
    (tmp_path / "a.jpg").write_bytes(picture())
    attach_photos(open_one, [tmp_path / "a.jpg"])
    page = render(JobRecord.read(open_one), verify(open_one), lambda _: None)
    assert "This photo is gone" in page
