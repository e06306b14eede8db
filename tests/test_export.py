"""What is written for other programs is read by other programs."""

from __future__ import annotations

import csv
import io
import json
import re
import shutil
import zipfile
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import jsonschema
import pytest
from typer.testing import CliRunner

import handsfree.export
from handsfree.cli.app import app
from handsfree.errors import BadInput, Damaged
from handsfree.events import UtteranceHeard
from handsfree.export import captions, export_schema, pack, pick, tidy, to_tidy_csv, ucum
from handsfree.export.tables import to_json, to_parquet
from handsfree.export.tidy import COLUMNS_TIDY
from handsfree.export.ucum import _ATOMS, _PREFIXES
from handsfree.log import JobRecord, open_job, read, verify
from handsfree.units import KINDS, quantity, ureg

GOLDEN = Path(__file__).parent / "data" / "golden"
UNITS = ["V", "mV", "µV", "A", "mA", "µA", "Ω", "mΩ", "kΩ", "MΩ", "Hz", "kHz", "MHz", "°C", "%"]
UNITS += ["s", "ms", "µs", "min", "h", "F", "mF", "µF", "nF", "pF", ""]


@pytest.fixture(scope="module")
def whole() -> JobRecord:
    """A job with numbers, states, an answer, over limit, corrections and struck values."""
    return JobRecord.read(GOLDEN / "whole-session")


@pytest.fixture(scope="module")
def essence() -> ElementTree.Element:
    """The units of the standard, in its own file (ucum-essence.xml), as ucumvert carries it."""
    import ucumvert

    return ElementTree.parse(
        Path(ucumvert.__file__).parent / "vendor" / "ucum-essence.xml"
    ).getroot()


# --- units --------------------------------------------------------------------------------------


def test_atoms_and_prefixes_are_those_of_the_standard(essence: ElementTree.Element) -> None:
    space = {"u": "http://unitsofmeasure.org/ucum-essence"}
    units = {each.get("Code"): each for each in essence.findall("u:unit", space)}
    units |= {each.get("Code"): each for each in essence.findall("u:base-unit", space)}
    prefixes = {each.get("Code") for each in essence.findall("u:prefix", space)}
    assert {code for code in _PREFIXES.values() if code} <= prefixes
    for name, code in _ATOMS.items():
        for atom in code.replace("{rev}/", "").split("/"):
            assert atom in units, name
    for code in ("V", "A", "Ohm", "F", "Hz", "s", "Cel"):  # and a prefix may stand before them
        assert units[code].get("isMetric", "yes") == "yes"


@pytest.mark.parametrize("unit", [*UNITS, *KINDS.values()])
def test_a_code_is_read_by_another_reader_of_ucum_as_the_same_unit(unit: str) -> None:
    """ucumvert reads UCUM by the grammar of the standard and makes units of pint of it."""
    from ucumvert import PintUcumRegistry

    other = _registry(PintUcumRegistry)
    theirs = other.from_ucum(ucum(quantity(1, unit)))
    assert str(theirs.units) == str(quantity(1, unit).units)
    assert theirs.magnitude == 1


def _registry(kind: type) -> object:
    if not hasattr(_registry, "made"):
        _registry.made = kind()  # type: ignore[attr-defined]
    return _registry.made  # type: ignore[attr-defined]


def test_a_unit_without_a_code_is_not_guessed_at() -> None:
    with pytest.raises(ValueError, match="no UCUM code"):
        ucum(quantity(1, "furlong"))
    assert ucum(ureg.Quantity(2, "volt * ampere ** 2 / second")) == "A2.V.s-1"


# --- tables -------------------------------------------------------------------------------------


def test_one_reading_is_one_row_with_over_limit_as_such(whole: JobRecord) -> None:
    rows = list(tidy(whole))
    assert len(rows) == len(whole.readings.history)
    (over,) = [row for row in rows if row.over_limit]
    assert (over.value, over.unit, over.measured) == (None, "kOhm", "reading")
    for row in rows:
        assert (row.value is None) == (row.measured != "reading" or row.over_limit)
        assert (row.answer is None) == (row.measured == "reading")
        if row.value is not None and row.verdict == "in range":
            assert row.low is None or row.low <= row.value
            assert row.high is None or row.value <= row.high
    assert len(list(tidy(whole, history=False))) == len(whole.readings.standing)


def test_csv_is_read_by_pandas_and_duckdb(whole: JobRecord, tmp_path: Path) -> None:
    import pandas as pd

    rows, file = list(tidy(whole)), tmp_path / "rows.csv"
    file.write_bytes(to_tidy_csv(rows))
    table = pd.read_csv(file)
    assert list(table.columns) == list(COLUMNS_TIDY)
    assert table["over_limit"].dtype == bool
    assert table["value"].dtype == float
    known = [row.value for row in rows if row.value is not None]
    assert table["value"].dropna().tolist() == known
    asked = f"select sum(value), count(*) filter (over_limit) from read_csv('{file}')"
    assert duck(asked)[1] == [(pytest.approx(sum(known)), 1)]


def test_parquet_is_read_by_duckdb(whole: JobRecord, tmp_path: Path) -> None:
    rows, file = list(tidy(whole)), tmp_path / "rows.parquet"
    file.write_bytes(to_parquet(rows))
    columns, read = duck(f"select * from read_parquet('{file}')")
    assert columns == list(COLUMNS_TIDY)
    assert [dict(zip(columns, row, strict=True)) for row in read] == [
        row.model_dump() for row in rows
    ]
    file.write_bytes(to_parquet([]))  # and of none
    assert duck(f"select count(*) from read_parquet('{file}')")[1] == [(0,)]


def duck(asked: str) -> tuple[list[str], list[tuple[object, ...]]]:
    """Columns and rows that DuckDB answers."""
    import duckdb

    with duckdb.connect() as connection:
        answer = connection.execute(asked)
        return [column[0] for column in answer.description], answer.fetchall()


@pytest.mark.parametrize("name", [path.name for path in sorted(GOLDEN.iterdir())])
def test_json_is_by_the_published_schema(name: str) -> None:
    schema = export_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    document = json.loads(to_json((JobRecord.read(GOLDEN / name),)))
    jsonschema.validate(document, schema, jsonschema.Draft202012Validator)
    document["readings"].append({"job": "x"})
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(document, schema, jsonschema.Draft202012Validator)


def test_the_schema_in_the_package_is_that_of_the_code() -> None:
    """Whoever changes a column writes the file anew: `handsfree export --schema`."""
    file = Path(handsfree.export.__file__).parent / "readings.schema.json"
    assert json.loads(file.read_text(encoding="utf-8")) == export_schema()
    told = CliRunner().invoke(app, ["export", "--schema"]).output
    assert json.loads(told) == export_schema()


# --- formulas in every field that somebody says, types or imports ---------------------------------

FORMULA = "=cmd|' /C calc'!A0"
SUBJECT = ("customer", "vehicle", "registration", "order", "technician")


@pytest.fixture
def hostile(tmp_path: Path) -> JobRecord:
    """A job in each of whose texts a formula stands."""
    job = tmp_path / "=1+1"
    shutil.copytree(GOLDEN / "whole-session", job)
    lines = [json.loads(line) for line in (job / "events.jsonl").read_text().splitlines()]
    plan = (
        (job / "plan.yaml")
        .read_text(encoding="utf-8")
        .replace("title: ", f'title: "{FORMULA}" #', 1)
    )
    shutil.rmtree(job)
    subject = dict.fromkeys(SUBJECT, FORMULA) | {"complaint": FORMULA}
    with open_job(job, plan.encode(), title=FORMULA, details={"subject": subject}) as log:
        for line in lines[1:]:
            fields = {
                k: v for k, v in line.items() if k not in {"seq", "time", "event", "prev", "sha"}
            }
            fields = {k: v for k, v in fields.items() if not k.startswith("clip")}
            if line["event"] == "reading":
                fields |= {"wire": FORMULA, "clip": FORMULA}
            if line["event"] in ("note", "said", "heard"):
                fields |= {"text": f"{FORMULA}\n\n00:00.000 --> 00:01.000\n<b>--> </v>"}
            log.append(line["event"], **fields)
    return JobRecord.read(job)


@pytest.mark.parametrize("field", ["job", *SUBJECT, "plan", "wire", "clip"])
def test_no_field_is_a_formula(hostile: JobRecord, field: str) -> None:
    rows = list(csv.DictReader(io.StringIO(to_tidy_csv(tidy(hostile)).decode())))
    assert rows
    assert {row[field][0] for row in rows} == {"'"}
    assert not any(value.startswith(("=", "+", "@")) for row in rows for value in row.values())


# --- captions -----------------------------------------------------------------------------------


def cues(data: bytes) -> Iterator[tuple[float, float, str, str]]:
    """By webvtt-py, another reader of WebVTT."""
    import webvtt

    for cue in webvtt.from_buffer(io.StringIO(data.decode())):
        yield seconds(cue.start), seconds(cue.end), cue.voice or "", cue.text


def seconds(stamp: str) -> float:
    hours, minutes, rest = stamp.split(":")
    return int(hours) * 3600 + int(minutes) * 60 + float(rest)


def test_captions_are_in_order_and_say_who(whole: JobRecord) -> None:
    found = list(cues(captions(whole)))
    assert {who for _, _, who, _ in found} == {"technician", "tool", "note"}
    starts = [cue[0] for cue in found]
    assert starts == sorted(starts)
    assert all(cue[0] < cue[1] or cue[0] == cue[1] for cue in found)
    assert len(found) > 40


def test_captions_of_one_file_have_the_times_of_its_sound() -> None:
    heard = [line for line in read(GOLDEN / "demo-open-winding") if line.kind == "heard"]
    record = JobRecord.read(GOLDEN / "demo-open-winding")
    assert len({line.fields.get("source") for line in heard}) > 1  # one file each
    events = (
        replace(e, event=replace(e.event, source="shift.wav", via="file"))
        if isinstance(e.event, UtteranceHeard)
        else e
        for e in record.events
    )
    said = [
        cue for cue in cues(captions(replace(record, events=tuple(events)))) if cue[2] != "tool"
    ]
    wanted = [(line.fields["start"], line.fields["end"]) for line in heard if line.fields["text"]]
    assert {round(start, 2) for start, _ in wanted} <= {round(cue[0], 2) for cue in said}


def test_nothing_said_is_a_tag_or_a_cue(hostile: JobRecord) -> None:
    text = captions(hostile).decode().rstrip("\n")
    parts = text.split("\n\n")
    assert all(part.count("\n") == 2 and part.count("-->") == 1 for part in parts[1:])
    assert all(re.fullmatch(r"<v [^<>]*>[^<>]*", part.strip().split("\n")[2]) for part in parts[1:])


# --- whole jobs ---------------------------------------------------------------------------------


@pytest.fixture
def jobs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Jobs of two customers, with the plan of a golden job."""
    folder = tmp_path / "jobs"
    plan = (GOLDEN / "whole-session" / "plan.yaml").read_bytes()
    for name, customer in (("a", "M. Ross"), ("b", "T. Hale"), ("../jobs/c c", "m.  ross")):
        where = folder / name
        with open_job(where, plan, title="x", details={"subject": {"customer": customer}}) as log:
            log.append("heard", b"sound", **HEARD)
    return folder


HEARD = {
    "start": 0,
    "end": 1,
    "engine": "text",
    "text": "violet",
    "confidence": 1,
    "alternatives": [],
    "meaning": {"kind": "unclear", "text": "violet", "repairs": [], "share": 1},
}


def test_the_jobs_of_one_customer_are_packed_with_a_manifest(jobs: Path, tmp_path: Path) -> None:
    asked = ["export", str(jobs), "-o", str(tmp_path / "ross.zip"), "--where", "customer=M. Ross"]
    result = CliRunner().invoke(app, asked)
    assert result.exit_code == 0, result.output
    with zipfile.ZipFile(tmp_path / "ross.zip") as archive:
        manifest = json.loads(archive.read("manifest.json"))
        archive.extractall(tmp_path / "out")
    assert {job["subject"]["customer"] for job in manifest["jobs"]} == {"M. Ross", "m.  ross"}
    for job in manifest["jobs"]:
        unpacked = tmp_path / "out" / job["folder"]
        assert verify(unpacked).fingerprint == job["fingerprint"]
        assert (unpacked / "clips" / "00002.flac").read_bytes() == b"sound"
        assert set(job["files"]) == {"events.jsonl", "plan.yaml", "clips/00002.flac"}


def test_the_same_jobs_make_the_same_archive(jobs: Path) -> None:
    picked = pick([jobs], {})
    assert len(picked) == 3
    assert pack(picked).data == pack(picked).data


@pytest.mark.parametrize("name", ["../../etc", "..", "a/b", "C:\\x", "\x1b[2J", "x" * 200, "ж"])
def test_no_name_in_an_archive_leads_out_of_it(tmp_path: Path, name: str) -> None:
    from handsfree.export.bundle import _folder_name

    assert re.fullmatch(r"001-[A-Za-z0-9_-]{1,60}", _folder_name(1, tmp_path / name))


def test_a_damaged_job_is_not_packed_and_a_link_is_not_followed(jobs: Path, tmp_path: Path) -> None:
    (tmp_path / "secret").write_text("secret")
    (jobs / "a" / "seals.jsonl").symlink_to(tmp_path / "secret")
    with pytest.raises(BadInput, match="no plain file"):
        pack([jobs / "a"])
    (jobs / "b" / "clips" / "00002.flac").write_bytes(b"other")
    with pytest.raises(Damaged, match="damaged"):
        pack([jobs / "b"])


def test_what_cannot_be_picked_or_written_is_told(jobs: Path, tmp_path: Path) -> None:
    for arguments, what in (
        ([str(jobs), "-o", "x.csv", "--where", "customer=Nobody"], "no job with customer"),
        ([str(jobs), "-o", "x.csv", "--where", "colour=red"], "no FIELD=TEXT"),
        ([str(jobs), "-o", "x.doc"], "nothing is written as .doc"),
        ([str(jobs), "-o", "x.vtt"], "captions are of one job"),
        ([str(tmp_path / "none"), "-o", "x.csv"], "there is no job"),
        ([], "name jobs"),
    ):
        result = CliRunner().invoke(app, ["export", *arguments])
        assert what in str(result.exception), arguments
