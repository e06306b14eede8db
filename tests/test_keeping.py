"""What comes into a job besides a dictation, and what goes: a table, another log, its sound."""

from __future__ import annotations

import io
import json
import shutil
from datetime import timedelta
from pathlib import Path

import pytest
from small_jobs import BEGAN, PLAN, SAID, a_plan, small_job
from test_log_attacks import rechained, told
from typer.testing import CliRunner

from handsfree.cli.app import app
from handsfree.errors import BadInput, Damaged, HandsfreeError
from handsfree.events import JobMerged, ReadingsImported, ReadingTaken, UtteranceHeard
from handsfree.export import tidy
from handsfree.job.tables import import_readings, read_readings
from handsfree.log import JobRecord, compare, open_job, read, recover, verify
from handsfree.log.folder import finish_mark
from handsfree.log.merge import came_from, merge
from handsfree.log.removal import Rule, delete, purge, to_purge
from handsfree.seal import make_key, seal_job, seal_status

FIRST = ("twelve point six volts", "twelve point four volts", "note the seal is torn")
SECOND = (
    "twelve point five volts",
    "correction twelve point three",
    "strike that",
    "finish",
    "yes",
)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A finished job, and two of one vehicle by two technicians at the same time."""
    folder = tmp_path_factory.mktemp("made")
    small_job(folder / "done", subject={"customer": "M. Ross", "technician": "Ilya"})
    small_job(folder / "first", FIRST, subject={"technician": "Ilya"}, step=2)
    later = BEGAN + timedelta(seconds=1)
    small_job(folder / "second", SECOND, subject={"technician": "Idris"}, began=later, step=2.5)
    return folder


@pytest.fixture
def jobs(made: Path, tmp_path: Path) -> Path:
    """Copies of them."""
    shutil.copytree(made, tmp_path / "jobs")
    return tmp_path / "jobs"


def clips(job: Path) -> list[str]:
    return sorted(path.name for path in (job / "clips").iterdir())


# --- typed --------------------------------------------------------------------------------------


def test_what_is_typed_goes_through_the_same_dialogue(tmp_path: Path) -> None:
    plan = Path(__file__).parent / "data" / "plans" / "by-hand" / f"{PLAN}.yaml"
    asked = ["dictate", str(plan), "--type", "--voice", "off", "--job", str(tmp_path / "job")]
    lines = "12.6 volts\n\n" + "x" * 5000 + "\nstrike that\n12.4 volts"
    result = CliRunner().invoke(app, asked, input=lines)
    assert result.exit_code == 0, result.output
    record = JobRecord.read(tmp_path / "job")
    heard = [e.event for e in record.events if isinstance(e.event, UtteranceHeard)]
    assert {event.via for event in heard} == {"keyboard"}
    assert [event.text[:5] for event in heard] == ["12.6 ", "xxxxx", "strik", "12.4 "]
    assert max(len(event.text) for event in heard) == 500
    assert [(row.value, row.stands) for row in tidy(record)] == [(12.6, False), (12.4, True)]


# --- of which utterances the sound is kept ---


@pytest.mark.parametrize(
    ("keep", "texts"),
    [
        ("all", set(SAID)),
        ("readings", {"twelve point six volts", "note the seal is torn"}),
        ("never", set()),
    ],
)
def test_only_the_sound_that_is_to_be_kept_is_kept(
    tmp_path: Path, keep: str, texts: set[str]
) -> None:
    job = small_job(tmp_path / "job", keep=keep)
    record = JobRecord.read(job)
    heard = [e for e in record.events if isinstance(e.event, UtteranceHeard)]
    assert {e.event.text for e in heard if e.clip} == texts  # type: ignore[union-attr]
    assert len(clips(job)) == len(texts)
    assert record.keep == keep
    assert verify(job).ok


# --- purge ----------------------------------------------------------------------------------------


def test_a_purge_leaves_the_chain_whole_and_says_what_went(jobs: Path) -> None:
    job = jobs / "done"
    before, kept = verify(job).fingerprint, clips(job)
    assert purge(job, Rule("readings"), "Idris") == len(kept) - 2
    result = verify(job)
    assert result.state == "finished"
    (remark,) = result.remarks
    assert "3 recordings were removed" in str(remark)
    assert "by Idris" in str(remark)
    assert "only recordings of readings" in str(remark)
    assert len(clips(job)) == 2
    assert "came after it" in str(compare(job, before))  # a fingerprint of before still holds
    assert purge(job, Rule("readings"), "Idris") == 0  # nothing more, and no event for nothing
    assert purge(job, Rule("never"), "Idris") == 2
    assert verify(job).ok
    assert clips(job) == []
    assert JobRecord.read(job).ending


def test_a_purge_that_was_cut_short_is_finished_by_the_next(
    jobs: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = jobs / "done"
    with monkeypatch.context() as patch:
        patch.setattr("handsfree.log.removal._unlink", lambda *_: 0)
        purge(job, Rule("never"), "Idris")
    assert verify(job).ok
    assert purge(job, Rule("never"), "Idris") == 5
    assert clips(job) == []


def test_only_older_jobs_are_purged(jobs: Path) -> None:
    record, month = JobRecord.read(jobs / "done"), timedelta(days=30)
    assert to_purge(record, Rule("never", month), BEGAN + timedelta(days=29)) == ()
    assert len(to_purge(record, Rule("never", month), BEGAN + timedelta(days=31))) == 5
    assert "older than 30 days" in str(Rule("never", month))


def test_a_clip_that_went_without_a_rule_or_was_changed_is_damage(jobs: Path) -> None:
    job = jobs / "done"
    one = job / "clips" / clips(job)[0]
    sound = one.read_bytes()
    one.unlink()
    assert verify(job).state == "damaged"
    one.write_bytes(sound)
    purge(job, Rule("never"), "Idris")
    one.write_bytes(sound)  # put back: it is what it was
    assert verify(job).ok
    one.write_bytes(b"another")
    assert "was changed" in str(verify(job).problems[0])


def test_a_removal_that_no_recording_belongs_to_is_found(jobs: Path) -> None:
    job = jobs / "done"
    gone = [{"name": "clips/00001.flac", "sha256": "0" * 64}]
    lines = [*told(job), ("purged", {"rule": "x", "by": "y", "clips": gone})]
    times = [line.time for line in read(job)]
    (job / "events.jsonl").write_bytes(rechained(lines, [*times, times[-1]]))
    assert "no event holds" in str(verify(job).problems[0])


def test_a_purge_after_the_seal_is_told_and_can_be_sealed(
    jobs: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    job, key = jobs / "done", make_key("Harbour Road", "copper kettle seven lanes")
    seal_job(job, key)
    purge(job, Rule("never"), "Idris")
    status = seal_status(job)
    assert status.state == "sealed"
    assert status.remarks == ("1 event came after it, not sealed: purged",)
    seal_job(job, key)
    assert seal_status(job).remarks == ()


def test_a_purged_job_is_recovered_without_what_went(jobs: Path, tmp_path: Path) -> None:
    job = jobs / "first"
    purge(job, Rule("never"), "Idris")
    with (job / "events.jsonl").open("ab") as log:
        log.write(b'{"spoilt":1}\n{"spoilt":2}\n')
    assert not any("gone" in missing for missing in recover(job, tmp_path / "new").missing)


def test_nothing_goes_from_a_damaged_job_or_one_that_is_written(jobs: Path) -> None:
    (jobs / "done" / "plan.yaml").write_bytes(b"other")
    with pytest.raises(Damaged, match="nothing is removed"):
        purge(jobs / "done", Rule("never"), "Idris")
    plan = a_plan()
    opened = open_job(jobs / "first", plan.text.encode(), title=plan.plan.title)
    with opened, pytest.raises(BadInput):
        purge(jobs / "first", Rule("never"), "Idris")
    with pytest.raises(BadInput, match="who"):
        purge(jobs / "second", Rule("never"), " ")
    assert len(clips(jobs / "first")) == 3


def test_the_command_tells_first_and_does_it_when_told(jobs: Path) -> None:
    asked = ["purge", str(jobs), "--keep", "readings", "--by", "Idris", "--older-than", "1d"]
    dry = CliRunner().invoke(app, asked)
    assert "3 recordings would be removed" in dry.output
    assert len(clips(jobs / "done")) == 5
    done = CliRunner().invoke(app, [*asked, "--yes"])
    assert "3 recordings removed" in done.output
    assert len(clips(jobs / "done")) == 2
    bad = CliRunner().invoke(app, [*asked[:-1], "soon"])
    assert "no age" in str(bad.exception)


# --- deletion -------------------------------------------------------------------------------------


def test_a_deleted_job_leaves_a_tombstone_and_nothing_of_what_it_held(jobs: Path) -> None:
    job = jobs / "done"
    (job / "report.html").write_text("12.6 V of M. Ross")
    (job / "my notes.txt").write_text("mine")
    mark = verify(job).fingerprint
    asked = ["delete", str(job), "--by", "Idris", "--reason", "asked by the customer"]
    assert "M. Ross" in CliRunner().invoke(app, asked).output
    assert (job / "events.jsonl").exists()  # it was only told
    result = CliRunner().invoke(app, [*asked, "--yes"])
    assert "my notes.txt" in result.output
    assert sorted(path.name for path in job.iterdir()) == ["deleted.json", "my notes.txt"]
    stone = (job / "deleted.json").read_text(encoding="utf-8")
    assert json.loads(stone)["fingerprint"] == mark
    assert "Ross" not in stone
    for read_it in (verify, JobRecord.read):
        with pytest.raises(BadInput, match=r"deleted on .* by Idris: asked by the customer"):
            read_it(job)
    with pytest.raises(BadInput, match="deleted"):
        delete(job, "Idris", "again")


def test_deleting_follows_no_link(jobs: Path, tmp_path: Path) -> None:
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "keep").write_text("mine")
    (jobs / "done" / "report.html").symlink_to(tmp_path / "mine" / "keep")
    shutil.rmtree(jobs / "first" / "clips")
    (jobs / "first" / "clips").symlink_to(tmp_path / "mine")
    delete(jobs / "done", "Idris", "reason")
    with pytest.raises(HandsfreeError):
        delete(jobs / "first", "Idris", "reason")
    assert (tmp_path / "mine" / "keep").read_text() == "mine"


def test_a_job_is_not_deleted_for_no_reason_by_nobody(jobs: Path) -> None:
    for by, reason in (("", "x"), ("Idris", " ")):
        with pytest.raises(BadInput, match="why"):
            delete(jobs / "done", by, reason)
    assert verify(jobs / "done").ok


# --- two logs as one ------------------------------------------------------------------------------


def test_two_logs_are_one_by_time_with_who_said_what(jobs: Path) -> None:
    taken = merge(jobs / "first", jobs / "second", jobs / "both")
    result = verify(jobs / "both")
    assert (result.state, result.problems) == ("finished", ())
    assert [r.what.split(",")[0] for r in result.remarks] == [
        "put together from first",
        "put together from second",
    ]
    lines = [line for line in read(jobs / "both") if "of" in line.fields]
    assert len(lines) == taken
    assert [line.time for line in lines] == sorted(line.time for line in lines)
    assert {line.fields["by"] for line in lines} == {"Ilya", "Idris"}
    record = JobRecord.read(jobs / "both")
    assert record.subject["technician"] == "Ilya and Idris"
    rows = list(tidy(record))
    assert [(r.technician, r.value, r.stands) for r in sorted(rows, key=lambda r: r.seq)] == [
        ("Ilya", 12.6, True),
        ("Idris", 12.5, False),
        ("Ilya", 12.4, True),
        ("Idris", 12.3, False),
    ]
    assert record.began == JobRecord.read(jobs / "first").began
    assert record.ending
    assert record.ending.missing[0] == "first was not finished"
    assert [e.event for e in record.events if isinstance(e.event, JobMerged)]


def test_each_sound_stays_behind_its_reading(jobs: Path) -> None:
    merge(jobs / "first", jobs / "second", jobs / "both")
    for of, name in enumerate(("first", "second")):
        theirs = {line.seq: line for line in read(jobs / name)}
        for line in read(jobs / "both"):
            if line.kind == "reading" and line.fields["of"] == of:
                old = theirs[line.fields["of_seq"]].fields["clip"]
                one = (jobs / "both" / str(line.fields["clip"])).read_bytes()
                assert one == (jobs / name / str(old)).read_bytes()


def test_a_source_is_held_against_what_was_made_of_it(jobs: Path) -> None:
    merge(jobs / "first", jobs / "second", jobs / "both")
    assert "every event" in str(came_from(jobs / "both", jobs / "first"))
    asked = ["verify", str(jobs / "both"), "--source", str(jobs / "first")]
    result = CliRunner().invoke(app, [*asked, "--source", str(jobs / "second")])
    assert result.output.count("every event of") == 2
    with pytest.raises(Damaged, match="not made of this one"):
        came_from(jobs / "both", jobs / "done")
    forged = [
        (kind, {**fields, **({"value": 11.0} if kind == "reading" else {})})
        for kind, fields in told(jobs / "both")
    ]
    times = [line.time for line in read(jobs / "both")]
    (jobs / "both" / "events.jsonl").write_bytes(rechained(forged, times))
    (jobs / "both" / "finished.json").write_bytes(finish_mark(read(jobs / "both")[-1]))
    assert verify(jobs / "both").ok
    with pytest.raises(Damaged, match="says otherwise"):
        came_from(jobs / "both", jobs / "first")


def test_events_of_a_source_without_the_telling_are_found(jobs: Path) -> None:
    merge(jobs / "first", jobs / "second", jobs / "both")
    lines = [(kind, fields) for kind, fields in told(jobs / "both") if kind != "merged"]
    (jobs / "both" / "events.jsonl").write_bytes(rechained(lines))
    assert "another job, of which this one was not made" in str(verify(jobs / "both").problems)


def test_what_does_not_belong_together_is_not_put_together(jobs: Path, tmp_path: Path) -> None:
    with open_job(tmp_path / "other", b"title: x\n", title="x"):
        pass
    with pytest.raises(BadInput, match="two plans"):
        merge(jobs / "first", tmp_path / "other", jobs / "both")
    with pytest.raises(BadInput, match="one and the same"):
        merge(jobs / "first", jobs / "first", jobs / "both")
    with pytest.raises(BadInput, match="something already"):
        merge(jobs / "first", jobs / "second", jobs / "done")
    purge(jobs / "done", Rule("never"), "Idris")
    with pytest.raises(BadInput, match="removed"):
        merge(jobs / "done", jobs / "second", jobs / "both")
    (jobs / "second" / "clips" / clips(jobs / "second")[0]).write_bytes(b"other")
    with pytest.raises(Damaged, match="damaged"):
        merge(jobs / "first", jobs / "second", jobs / "both")
    assert not (jobs / "both").exists()


# --- a table of readings --------------------------------------------------------------------------

TABLE = """step,value,unit
battery_loaded,12.6,V
lamp_voltage,12.4,
feed_drop,80,mV
ground_drop,0.1,V
lamp_current,4.0,A
"""


def imported(folder: Path, text: str | bytes, name: str = "van.csv") -> JobRecord:
    file = folder / name
    file.write_bytes(text if isinstance(text, bytes) else text.encode())
    subject = {"technician": "Ilya"}
    import_readings(folder / "job", a_plan(), file, details={"subject": subject}, by="Ilya")
    return JobRecord.read(folder / "job")


def test_readings_of_a_table_are_checked_logged_and_lead_to_a_verdict(tmp_path: Path) -> None:
    record = imported(tmp_path, b"\xef\xbb\xbf" + TABLE.encode())
    rows = list(tidy(record))
    assert [(row.value, row.unit) for row in rows] == [
        (12.6, "V"), (12.4, "V"), (80.0, "mV"), (0.1, "V"), (4.0, "A"),
    ]  # fmt: skip
    assert {row.verdict for row in rows} <= {"in range", "marginal"}
    assert {row.clip for row in rows} == {None}
    assert record.verdict is not None
    (event,) = [e for e in record.events if isinstance(e.event, ReadingsImported)]
    taken = [e for e in record.events if isinstance(e.event, ReadingTaken)]
    assert [e.fields["row"] for e in taken] == [2, 3, 4, 5, 6]
    assert {e.fields["imported"] for e in taken} == {event.seq}
    assert verify(record.folder).ok


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("step;value\n", "columns"),
        ("step,value,value\nbattery_loaded,1,2\n", "columns"),
        ("step,value\nbattery_loaded,=12.6\n", "no number"),
        ("step,value\nbattery_loaded,1_0\n", "no number"),
        ("step,value\nbattery_loaded,nan\n", "no number"),
        ("step,value\n=cmd|' /C calc'!A0,12.6\n", "no step"),
        ("step,value\n../../etc/passwd,12.6\n", "no step"),
        ("step,value\nbattery_loaded,12.6\nlamp_voltage,900\n", "line 3: 900 V is beyond"),
        ("step,value,unit\nbattery_loaded,12.6,Ohm\n", "not what is measured"),
        ("step,value,unit\nbattery_loaded,12.6,=V\n", "unknown unit"),
        ("step,value,condition\nbattery_loaded,12.6,../x\n", "not tested under"),
        ('step,value\n"battery_loaded,12.6\n', "no CSV"),
        (b"step,value\n\xff\xfe,12.6\n", "cannot be read"),
        ("step,value\n" + "x" * 1_000_001, "larger than a megabyte"),
    ],
)
def test_a_row_that_cannot_be_used_is_named_and_nothing_is_taken(
    tmp_path: Path, text: str | bytes, what: str
) -> None:
    with pytest.raises(BadInput, match=what):
        imported(tmp_path, text)
    assert not (tmp_path / "job").exists()


def test_over_limit_states_and_answers_are_read_as_such() -> None:
    from by_hand import by_hand

    plan = by_hand("flap-actuator-5wire").plan
    step = next(s for s in plan.steps if s.measure.quantity == "resistance")
    state = next(s for s in plan.steps if s.measure.states)
    answer = next(s for s in plan.steps if s.measure.options)
    option = answer.measure.options[0].value  # type: ignore[index]
    word = state.measure.states[0]  # type: ignore[index]
    text = f"step,value\n{step.id},OL\n{state.id},{word.upper()}\n{answer.id},{option}\n"
    takes = [row.take for row in read_readings(text, "x.csv", plan)]
    assert [getattr(takes[0], "value", 0), takes[1].state, takes[2].answer] == [None, word, option]  # type: ignore[union-attr]


def test_what_is_exported_is_imported_again(tmp_path: Path) -> None:
    """The columns of `handsfree export` are more, and their units are of UCUM."""
    from handsfree.export import to_tidy_csv

    record = imported(tmp_path, TABLE)
    (tmp_path / "again").mkdir()
    again = imported(tmp_path / "again", to_tidy_csv(tidy(record)))
    assert [row.value for row in tidy(again)] == [row.value for row in tidy(record)]


def test_a_name_of_a_file_commands_no_terminal_and_no_spreadsheet(tmp_path: Path) -> None:
    file = tmp_path / "=1+1\x1b[2J.csv"
    file.write_text(TABLE)
    plan = Path(__file__).parent / "data" / "plans" / "by-hand" / f"{PLAN}.yaml"
    asked = ["import", str(tmp_path / "job"), str(file), "--plan", str(plan)]
    result = CliRunner().invoke(app, [*asked, "--technician", "=2+2"])
    assert result.exit_code == 0, result.exception
    assert "\x1b" not in result.output
    told = CliRunner().invoke(app, ["log", str(tmp_path / "job")])
    assert "\x1b" not in told.output
    record = JobRecord.read(tmp_path / "job")
    from handsfree.export import to_tidy_csv

    lines = io.StringIO(to_tidy_csv(tidy(record)).decode())
    assert not any(cell.startswith("=") for line in lines for cell in line.split(","))
