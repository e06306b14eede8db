"""All jobs of a shop in an index: found, counted, corrected; the same on SQLite and PostgreSQL."""

from __future__ import annotations

import itertools
import os
import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from review_jobs import SAID, TITLE, workshop, write
from review_server import postgresql
from sqlalchemy import create_engine, make_url, text

from handsfree.errors import BadInput, Damaged
from handsfree.log import JobRecord, compare, read, verify
from handsfree.log.chain import encode, fingerprint
from handsfree.review.correction import Signed, correct_reading, mark_reviewed, word_note
from handsfree.review.index import JobIndex, JobPlace, Wanted
from handsfree.review.jobs import Shop, publish
from handsfree.review.statistics import usual_values
from handsfree.review.summary import CountedValue, Summary
from handsfree.review.tables import local_engine, shared_engine

WHO = Signed("Ada", "listened again")


@pytest.fixture(scope="module")
def dictated(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return workshop(tmp_path_factory.mktemp("dictated"))


@pytest.fixture(scope="module")
def server() -> Iterator[str]:
    with postgresql() as url:
        yield url


def fresh(server: str) -> str:
    """The address of another database, with nothing in it."""
    name = f"shop_{next(_NUMBERS)}"
    url = make_url(server).set(drivername="postgresql+psycopg")
    engine = create_engine(url, isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.execute(text(f"CREATE DATABASE {name}"))
    engine.dispose()
    return server.replace("/postgres?", f"/{name}?")


_NUMBERS = itertools.count()


def opened(kind: str, request: pytest.FixtureRequest, dictated: Path, folder: Path) -> Shop:
    """The workshop with its own index, or with one that it publishes to."""
    jobs = Path(shutil.copytree(dictated, folder / "jobs"))
    if kind == "sqlite":
        made = Shop(jobs, JobIndex(local_engine(folder / "cache" / "index.sqlite")), clock=_Ticks())
        made.look()
        return made
    index = JobIndex(shared_engine(fresh(request.getfixturevalue("server"))))
    for job in sorted(jobs.iterdir()):
        assert publish(job, index, "north")
    return Shop(jobs, index, shared=True)


@pytest.fixture(scope="module", params=["sqlite", "postgresql"])
def listed(
    request: pytest.FixtureRequest, dictated: Path, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Shop]:
    """A shop to which nothing is added."""
    made = opened(request.param, request, dictated, tmp_path_factory.mktemp("listed"))
    yield made
    made.index.close()


@pytest.fixture(params=["sqlite", "postgresql"])
def shop(request: pytest.FixtureRequest, dictated: Path, tmp_path: Path) -> Iterator[Shop]:
    """A shop of which a test may do what it likes."""
    made = opened(request.param, request, dictated, tmp_path)
    yield made
    made.index.close()


class _Ticks:
    """A clock that goes on by an hour each time that it is looked at."""

    def __init__(self) -> None:
        self._now = 0.0

    def __call__(self) -> float:
        self._now += 3600
        return self._now


def folders(shop: Shop, **wanted: object) -> list[str]:
    return [row.folder for row in shop.index.find(Wanted(**wanted)).jobs]  # type: ignore[arg-type]


def id_of(shop: Shop, folder: str) -> str:
    return next(row.id for row in shop.index.find(Wanted()).jobs if row.folder == folder)


def again(shop: Shop, folder: str) -> None:
    job = shop.open(id_of(shop, folder))
    assert job is not None
    shop.again(job)


# Found ------------------------------------------------------------------------------------------


def test_jobs_are_listed_the_latest_first(listed: Shop) -> None:
    assert folders(listed) == ["three", "two", "one"]


@pytest.mark.parametrize(
    ("words", "found"),
    [
        ("rust", ["one"]),  # a note
        ("RUST", ["one"]),
        ("fleet 12", ["one"]),  # a vehicle
        ("omer", ["two"]),  # without its accent
        ("Ömer", ["two"]),
        ("A-18", ["two"]),
        ("idr", ["one"]),  # the beginning of a name
        ('"over limit"', ["one"]),  # words in a row
        ('"limit over"', []),
        ("violet", ["two", "one"]),  # a wire
        ("4.98", ["two", "one"]),  # a value
        ("flap actuator", ["three", "two", "one"]),  # the plan
        ("rust omer", []),
        ("nowhere", []),
    ],
)
def test_words_of_all_that_a_job_tells_are_found(
    listed: Shop, words: str, found: list[str]
) -> None:
    assert folders(listed, words=words) == found


def test_what_was_found_is_shown(listed: Shop) -> None:
    found = listed.index.find(Wanted(words="rust"))
    (lines,) = found.lines.values()
    assert "note: rust at the connector" in lines


#: What the languages of FTS5, tsquery, SQL and LIKE would take for their own.
TYPED = [
    '"', '""', "*", "rust*", "rust OR", "NEAR(", "NOT rust", "AND", "rust AND", "(rust", "rust)",
    "text:rust", "-rust", "^rust", "rust'; DROP TABLE job; --", "' OR 1=1 --", "rust & ! |",
    "rust:*", "'rust':A", "\\", "\x00rust", "%", "_", "{}", "rust <-> the", "<script>", "😀",
    "ñ" * 300,    '"rust at" "the', "a " * 300, "\u202erust", "½", "4.98 kΩ", "\ud7ff", "ǆ",
]  # fmt: skip


@pytest.mark.parametrize("typed", TYPED, ids=range(len(TYPED)))
def test_whatever_is_typed_is_only_looked_for(listed: Shop, typed: str) -> None:
    for name in ("words", "plan", "verdict", "status", "technician", "vehicle", "since", "until"):
        listed.index.find(Wanted(**{name: typed}))  # type: ignore[arg-type]
    listed.index.job(typed.replace("\x00", ""))
    assert listed.open(typed) is None
    assert folders(listed) == ["three", "two", "one"]


SQL = "x'); DROP TABLE job; -- :n :words %(n)s ? $1 \\' \" \x00"


def test_no_text_of_a_job_is_taken_for_the_language_of_the_database(shop: Shop) -> None:
    """Each field that somebody says, types or imports comes back as it was, but for the zero."""
    kept = SQL.replace("\x00", "")
    value = CountedValue(1, *(f"{n} {SQL}" for n in ("step", "condition", "wire")), 4.9, "V",
                         f"figures {SQL}", f"result {SQL}", True, True)  # fmt: skip
    summary = Summary(
        "f" * 32,
        plan=f"plan {SQL}",
        subject={name: f"{name} {SQL}" for name in ("vehicle", "registration", "technician")},
        verdict=f"verdict {SQL}",
        reviewed=f"reviewed {SQL}",
        damage="",
        lines=(f"note {SQL}",),
        values=(value,),
        lessons=((f"lesson {SQL}", True),),
    )
    shop.index.put([(summary, JobPlace(f"folder {SQL}", workshop=f"workshop {SQL}"))])
    row = shop.index.job("f" * 32)
    for field in ("plan", "technician", "verdict", "reviewed", "folder", "workshop"):
        assert getattr(row, field) == f"{field} {kept}", field
    assert row.vehicle == f"vehicle {kept} · registration {kept}"
    (counted,) = shop.index.values("f" * 32)
    for field in ("step", "condition", "wire", "figures"):
        assert getattr(counted, field) == f"{field} {kept}", field
    assert counted.verdict == f"result {kept}"
    (lesson,) = shop.index.lessons_of(f"technician {kept}")
    assert lesson.step == f"lesson {kept}"
    found = shop.index.find(Wanted(plan=f"plan {SQL}", technician=f"technician {SQL}"))
    assert [one.id for one in found.jobs] == ["f" * 32]
    assert shop.index.find(Wanted(words=f"note {kept}")).lines["f" * 32] == [f"note {kept}"]
    assert shop.index.find(Wanted()).total == 4


def test_jobs_are_filtered(listed: Shop) -> None:
    assert folders(listed, technician="Marit") == ["two"]
    assert folders(listed, vehicle="fleet") == ["one"]
    assert folders(listed, vehicle="%") == []
    assert folders(listed, plan=TITLE) == ["three", "two", "one"]
    assert folders(listed, plan="another") == []
    assert folders(listed, since="2026-03-02", until="2026-03-03") == ["two"]
    assert folders(listed, status="open") == ["three", "two", "one"]
    row = next(row for row in listed.index.find(Wanted()).jobs if row.folder == "one")
    assert row.verdict
    assert folders(listed, verdict=row.verdict) == ["one"]
    assert listed.index.choices() == {
        "plan": [TITLE],
        "verdict": [row.verdict],
        "technician": ["Idris", "Marit", "Noor"],
    }


# Counted ----------------------------------------------------------------------------------------


def test_what_is_usual_is_of_all_jobs_with_one_marked(listed: Shop) -> None:
    usual = usual_values(listed.index.values_of_plan(TITLE), id_of(listed, "two"))
    signal = next(one for one in usual if 4.98 in one.passed)
    assert (list(signal.passed), list(signal.failed)) == ([4.98, 4.98], [])
    assert (signal.unit, signal.marked, signal.marked_value) == ("V", "4.98 V", 4.98)
    over = [one for one in usual if one.words["over limit"]]
    assert over
    assert not over[0].marked


def test_a_person_has_a_record(listed: Shop) -> None:
    (plan,) = listed.index.record_of("Idris")
    assert (plan.plan, plan.jobs) == (TITLE, 1)
    assert plan.asked >= 1  # "four nine" is 49 or 4.9
    lessons = listed.index.lessons_of("Noor")
    assert [(one.asked, one.right) for one in lessons] == [(1, 1), (1, 1)] or lessons
    assert sum(one.asked for one in lessons) == 2
    assert listed.index.record_of("nobody") == []


# Added to ---------------------------------------------------------------------------------------


def test_a_value_is_put_right_beside_the_one_that_was_heard(shop: Shop) -> None:
    folder = shop.jobs / "two"
    before = (folder / "events.jsonl").read_bytes()
    number = JobRecord.read(folder).readings.standing[2].entry.number
    correct_reading(folder, number, "4.89 V", WHO)
    assert (folder / "events.jsonl").read_bytes().startswith(before)
    assert verify(folder).ok
    history = JobRecord.read(folder).readings.history
    assert [(one.entry.figures, one.stands, one.by) for one in history[2 :: len(history) - 3]] == [
        ("4.98 V", False, ""),
        ("4.89 V", True, "Ada"),
    ]
    assert history[-1].clip == history[2].clip
    again(shop, "two")
    assert folders(shop, words="4.89") == ["two"]
    assert next(row.corrected for row in shop.index.find(Wanted()).jobs if row.folder == "two") == 1


def test_a_corrected_value_can_be_corrected_again(shop: Shop) -> None:
    folder = shop.jobs / "two"
    number = JobRecord.read(folder).readings.standing[2].entry.number
    correct_reading(folder, number, "4.89", WHO)
    with pytest.raises(BadInput, match="no reading"):
        correct_reading(folder, number, "4.88", WHO)
    last = JobRecord.read(folder).readings.history[-1].entry.number
    correct_reading(folder, last, "4,91 V", WHO)
    assert [one.entry.figures for one in JobRecord.read(folder).readings.history[-2:]] == [
        "4.89 V",
        "4.91 V",
    ]
    assert verify(folder).ok


@pytest.mark.parametrize("value", ["", "five", "4.9 kΩ", "1e5", "nan", "9999999 V", "ground"])
def test_what_cannot_be_read_there_is_not_taken(shop: Shop, value: str) -> None:
    folder = shop.jobs / "two"
    before = (folder / "events.jsonl").read_bytes()
    number = JobRecord.read(folder).readings.standing[2].entry.number
    with pytest.raises(BadInput):
        correct_reading(folder, number, value, WHO)
    assert (folder / "events.jsonl").read_bytes() == before


@pytest.mark.parametrize("who", [("", "why"), ("Ada", ""), ("Ada", " "), ("x" * 81, "why")])
def test_nothing_is_added_without_a_name_and_a_reason(who: tuple[str, str]) -> None:
    with pytest.raises(BadInput):
        Signed(*who)


def test_a_note_is_typed_and_a_job_marked_as_reviewed(shop: Shop) -> None:
    folder = shop.jobs / "one"
    seq = next(line.seq for line in read(folder) if line.kind == "note")
    word_note(folder, seq, "rust at\nthe \x1bconnector C12", WHO)
    mark_reviewed(folder, "Ada", "fine")
    assert verify(folder).ok
    again(shop, "one")
    assert folders(shop, words="C12") == ["one"]
    row = next(row for row in shop.index.find(Wanted()).jobs if row.folder == "one")
    assert row.reviewed == "Ada"
    with pytest.raises(BadInput, match="no note"):
        word_note(folder, seq + 1, "something", WHO)


def test_a_finished_job_takes_a_review_and_stays_finished(tmp_path: Path) -> None:
    """Its end, its mark and its fingerprint hold; whatever else came after it is still found."""
    folder = write(tmp_path / "job", [*SAID[:4], "finish", "yes"])
    assert verify(folder).state == "finished"
    kept = fingerprint(read(folder)[-1])
    correct_reading(folder, 3, "4.89 V", WHO)
    mark_reviewed(folder, "Ada", "")
    found = verify(folder)
    assert (found.state, found.problems) == ("finished", ())
    remark = compare(folder, kept)
    assert remark is not None
    assert "2 came after it" in remark.what
    lines = read(folder)
    note = encode(len(lines) + 1, lines[-1].time, "note", {"text": "forged"}, lines[-1].digest)
    with (folder / "events.jsonl").open("ab") as log:
        log.write(note)
    assert verify(folder).state == "open"
    with pytest.raises(Damaged):
        compare(folder, kept)


def test_a_damaged_job_takes_no_review(shop: Shop) -> None:
    folder = shop.jobs / "two"
    log = folder / "events.jsonl"
    log.write_bytes(log.read_bytes().replace(b"4.98", b"4.97", 1))
    with pytest.raises(Damaged):
        mark_reviewed(folder, "Ada", "")


# The jobs are the truth -------------------------------------------------------------------------


def test_the_index_follows_the_folder(dictated: Path, tmp_path: Path) -> None:
    jobs = Path(shutil.copytree(dictated, tmp_path / "jobs"))
    shop = Shop(jobs, JobIndex(local_engine(tmp_path / "index.sqlite")), clock=_Ticks())
    shop.look()
    shutil.rmtree(jobs / "one")
    shutil.copytree(jobs / "two", jobs / "copy")
    (jobs / "no job").mkdir()
    (jobs / "link").symlink_to(jobs / "two")
    (jobs / "broken").mkdir()
    (jobs / "broken" / "events.jsonl").write_text("{}\n")
    mark_reviewed(jobs / "three", "Ada", "brilliant")
    shop.look()
    assert sorted(folders(shop)) == ["broken", "copy", "three", "two"]
    assert folders(shop, words="rust") == []
    assert folders(shop, words="brilliant") == ["three"]
    damage = {row.folder: row.damage for row in shop.index.find(Wanted()).jobs}
    assert damage.pop("broken")
    assert set(damage.values()) == {""}
    shop.index.close()


def test_an_old_log_that_was_changed_is_seen_at_the_next_look_at_all(
    dictated: Path, tmp_path: Path
) -> None:
    jobs = Path(shutil.copytree(dictated, tmp_path / "jobs"))
    now = [0.0]
    shop = Shop(jobs, JobIndex(local_engine(tmp_path / "index.sqlite")), clock=lambda: now[0])
    for log in jobs.glob("*/events.jsonl"):
        os.utime(log, (1, 1))  # 1970
    shop.look()
    mark_reviewed(jobs / "three", "Ada", "brilliant")
    os.utime(jobs / "three" / "events.jsonl", (2, 2))
    shutil.rmtree(jobs / "one")
    now[0] += 2
    shop.look()
    assert sorted(folders(shop)) == ["three", "two"], "what is gone is seen at once"
    assert folders(shop, words="brilliant") == []
    now[0] += 60
    shop.look()
    assert folders(shop, words="brilliant") == ["three"]
    shop.index.close()


@pytest.mark.parametrize("harm", ["gone", "no database", "another version"])
def test_the_index_can_be_thrown_away(dictated: Path, tmp_path: Path, harm: str) -> None:
    file = tmp_path / "index.sqlite"
    first = Shop(dictated, JobIndex(local_engine(file)))
    first.look()
    assert file.stat().st_mode & 0o077 == 0
    first.index.close()
    match harm:
        case "gone":
            file.unlink()
        case "no database":
            file.write_bytes(b"x" * 10_000)
        case _:
            with (engine := create_engine(f"sqlite:///{file}")).begin() as connection:
                connection.execute(text("PRAGMA user_version = 999"))
            engine.dispose()
    second = Shop(dictated, JobIndex(local_engine(file)))
    second.look()
    assert folders(second, words="rust") == ["one"]
    second.index.close()


# A chain of workshops ---------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["sqlite", "postgresql"])
def test_a_job_is_published_once(
    request: pytest.FixtureRequest, dictated: Path, tmp_path: Path, kind: str
) -> None:
    url = f"sqlite:///{tmp_path}/shared.sqlite"
    if kind == "postgresql":
        url = fresh(request.getfixturevalue("server"))
    index = JobIndex(shared_engine(url))
    folder = Path(shutil.copytree(dictated / "one", tmp_path / "here" / "one"))
    earlier = Path(shutil.copytree(folder, tmp_path / "earlier"))
    other = Path(shutil.copytree(folder, tmp_path / "other"))
    assert publish(folder, index, "north")
    assert not publish(folder, index, "north")
    mark_reviewed(folder, "Ada", "")
    mark_reviewed(other, "Eve", "")
    assert publish(folder, index, "north")
    assert index.find(Wanted()).total == 1
    with pytest.raises(BadInput, match="later state"):
        publish(earlier, index, "south")
    with pytest.raises(Damaged, match="another course"):
        publish(other, index, "south")
    away = Shop(tmp_path / "nothing", index, shared=True)
    job = away.open(index.find(Wanted()).jobs[0].id)
    assert job is not None
    assert job.folder is None
    assert job.record.events == JobRecord.read(folder).events
    assert replace(job.record, folder=folder) == JobRecord.read(folder)
    index.close()


def test_an_address_that_is_none_is_told(tmp_path: Path) -> None:
    for url in ("", "jobs.sqlite", "mysql://x/y", "sqlite://", "postgresql://x@127.0.0.1:1/y"):
        with pytest.raises(BadInput):
            shared_engine(url)
