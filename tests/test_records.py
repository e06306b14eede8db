"""Excursions in the record of a clamp, a scope or a logging meter."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
from by_hand import by_hand

from handsfree.check.excursions import NoLevel, excursions
from handsfree.dialogue import Dialogue
from handsfree.errors import BadInput
from handsfree.events import RecordImported
from handsfree.grammar import Language
from handsfree.heard import Heard
from handsfree.job import Job
from handsfree.job.records import import_record, read_samples
from handsfree.log import JobRecord, open_job, recover, verify
from handsfree.report import report_file
from handsfree.units import parse_quantity

Array = npt.NDArray[np.float64]
#: When each injected excursion begins, how long it lasts, how far it goes: seconds and volts.
Injected = list[tuple[float, float, float]]
MINUTES = 10.0


def record(seed: int, rate: float, count: int) -> tuple[Array, Array, Injected]:
    """Ten minutes of a 5 V signal: drift, ripple, noise, a display of 10 mV, and excursions."""
    rng = np.random.default_rng(seed)
    times = np.arange(int(MINUTES * 60 * rate)) / rate
    values = 4.98 + 0.08 * np.sin(times / 40) + 0.03 * np.sin(71 * times)
    values += rng.normal(0, 0.02, len(times))
    begins = np.sort(rng.choice(np.arange(5, MINUTES * 60 - 5, 4.0), count, replace=False))
    injected = []
    for begin in begins + rng.uniform(0, 1, count):
        lasts = float(rng.choice([0.05, 0.05, 0.06, 0.08, 0.1, 0.25, 0.8, 2.0]))
        far = float(rng.uniform(0.5, 4.5) * rng.choice([1, -1], p=[0.3, 0.7]))
        values[(times >= begin) & (times < begin + lasts)] += far
        injected.append((float(begin), lasts, far))
    return times, np.round(values, 2), injected


@pytest.mark.parametrize("rate", [1000.0, 200.0])
@pytest.mark.parametrize("seed", range(3))
def test_twenty_of_twenty_are_found_and_none_is_invented(rate: float, seed: int) -> None:
    times, values, injected = record(seed, rate, 20)
    found = excursions(times, values).found
    assert len(found) == len(injected)
    for one, (begin, lasts, far) in zip(found, injected, strict=True):
        assert one.after == pytest.approx(begin, abs=2 / rate)
        assert one.lasted == pytest.approx(lasts, abs=3 / rate)
        assert one.extreme - 4.98 == pytest.approx(far, abs=0.25)
        assert one.side == ("high" if far > 0 else "low")


@pytest.mark.parametrize("rate", [1000.0, 200.0])
def test_of_a_quiet_record_none_is_found(rate: float) -> None:
    for seed in range(3):
        times, values, _ = record(seed, rate, 0)
        assert excursions(times, values).found == ()


def test_a_spike_of_one_sample_is_none_and_a_bounce_is_one() -> None:
    times, values, _ = record(1, 1000, 0)
    values[100_000] = 0.0
    values[200_000:200_060] = 0.0
    values[200_020:200_030] = 4.98
    (one,) = excursions(times, values).found
    assert (one.after, one.lasted) == (pytest.approx(200.0), pytest.approx(0.06))


def test_limits_find_what_the_noise_hides() -> None:
    rng = np.random.default_rng(0)
    times = np.arange(6000) / 10
    values = 5 + rng.normal(0, 0.2, 6000)
    values[3000:3100] = 4.0
    assert excursions(times, values).found == ()
    (one,) = excursions(
        times, np.where(values < 4.2, 4.0, np.clip(values, 4.3, 5.7)), limits=(4.2, 5.8)
    ).found
    assert one.after == pytest.approx(300, abs=0.2)


def test_what_is_always_wrong_is_no_excursion() -> None:
    times, values, _ = record(0, 200, 0)
    found = excursions(times, values, limits=(None, 4.5))
    assert found.found == ()
    assert found.limits == (None, None)


def test_what_has_no_level_is_not_judged() -> None:
    times = np.arange(10_000) / 1000
    values = np.where(np.arange(10_000) % 10 < 6, 12.0, 0.0)
    with pytest.raises(NoLevel):
        excursions(times, values, limits=(9.0, None))


# Files


SCOPE = "Source,CH1\nSecond,Volt\n" + "".join(f"{k / 100:.2f},{5.0}\n" for k in range(20))
EUROPEAN = "Zeit (ms);Spannung (mV)\n" + "".join(f"{k * 10};{5000 + k},5\n" for k in range(20))
METER = "Time,Value (V),Hold\n" + "".join(
    f"2026-11-28 10:00:{k:02d}.5,4.9{k % 2},no\n" for k in range(20)
)
BARE = "".join(f"{k / 10}\t{k}\n" for k in range(20))


@pytest.mark.parametrize(
    ("text", "unit", "lasts", "last"),
    [
        (SCOPE, "V", 0.19, 5.0),
        (EUROPEAN, "mV", 0.19, 5019.5),
        (METER, "V", 19.0, 4.91),
        (BARE, "", 1.9, 19.0),
    ],
)
def test_files_as_instruments_write_them(text: str, unit: str, lasts: float, last: float) -> None:
    samples = read_samples(text, "r.csv")
    assert samples.unit == unit
    assert samples.times[-1] - samples.times[0] == pytest.approx(lasts)
    assert samples.values[-1] == pytest.approx(last)


def test_a_column_is_named() -> None:
    text = "time (s),volts (V),amps (A)\n" + "".join(f"{k},12,{k}\n" for k in range(12))
    samples = read_samples(text, "r.csv", column="amps")
    assert (samples.unit, samples.values[-1]) == ("A", 11.0)
    with pytest.raises(BadInput, match="no column is headed"):
        read_samples(text, "r.csv", column="ohms")


TEN = "".join(f"{k},5\n" for k in range(10))


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "no line with a time"),
        ("time,value\nhello,world\n", "no line with a time"),
        (f"{TEN}10,x\n", "line 11"),
        (f"time (s),value (V)\n{TEN}9,5\n", "line 12: the time does not rise"),
        (f"{TEN}10,nan\n", "line 11"),
        (f"{TEN}10,1e300\n", "line 11"),
        ("0,1\n1,2\n", "too few"),
        (f"{TEN}10\n", "line 11"),
    ],
)
def test_a_faulty_record_is_named_with_its_line(text: str, message: str) -> None:
    with pytest.raises(BadInput) as error:
        read_samples(text, "r.csv")
    assert message in str(error.value)


# Jobs


def dictate(job: Path, english: Language, *said: str) -> None:
    loaded = by_hand("flap-actuator-5wire")
    with open_job(job, loaded.text.encode(), title=loaded.plan.title) as log:
        session = Job(Dialogue(loaded.plan, english), log, lambda _: None, lambda _: None)
        session.begin()
        for text in said:
            session.hear(Heard.of_text(text))


def csv_of(path: Path, seed: int = 4) -> Injected:
    times, values, injected = record(seed, 200, 20)
    np.savetxt(
        path,
        np.column_stack([times, values]),
        "%.3f",
        ",",
        header="time (s),value (V)",
        comments="",
    )
    return injected


def test_a_record_of_a_watch_is_in_the_job_with_its_file(tmp_path: Path, english: Language) -> None:
    job, file = tmp_path / "job", tmp_path / "scope.csv"
    dictate(
        job,
        english,
        "twelve six",
        "keep an eye on violet",
        "drops to two point one",
        "end of watch",
    )
    injected = csv_of(file)
    told = import_record(job, file)
    assert len(told.excursions) == len(injected)
    assert (job / told.record).read_bytes() == file.read_bytes()
    read = JobRecord.read(job)
    assert isinstance(read.events[-1].event, RecordImported)
    assert read.events[-1].event == told
    assert read.session.watches[0].records == (told,)
    assert verify(job).ok

    page = tmp_path / "report.html"
    report_file(job, page)
    text = page.read_text(encoding="utf-8")
    assert "20 excursions in 10:00.0" in text
    watched = text.split("<h2>Watches and records</h2>")[1].split("<h2>")[0]
    assert watched.count("<svg") == 2
    assert told.record_sha256 in text
    assert "drop, 2.1 V" in text

    (job / told.record).write_bytes(file.read_bytes() + b"1000,5\n")
    check = verify(job)
    assert [str(problem.what) for problem in check.problems] == [
        f"the record of event {read.events[-1].seq} was changed"
    ]


def test_a_recovered_job_has_its_records(tmp_path: Path, english: Language) -> None:
    job, file = tmp_path / "job", tmp_path / "scope.csv"
    dictate(job, english, "twelve six")
    csv_of(file)
    told = import_record(job, file, step="reference")
    dictate(job, english, "point oh two", "five volts")
    with (job / "events.jsonl").open("ab") as log:
        log.write(b'{"seq":1}\n')
    done = recover(job, tmp_path / "new")
    assert (done.folder / told.record).read_bytes() == file.read_bytes()
    assert verify(done.folder).ok


def test_a_record_needs_a_place_and_its_unit(tmp_path: Path, english: Language) -> None:
    job, file = tmp_path / "job", tmp_path / "scope.csv"
    dictate(job, english)
    file.write_text("time (s),clamp (A)\n" + TEN, encoding="utf-8")
    with pytest.raises(BadInput, match="the job has no watch"):
        import_record(job, file)
    with pytest.raises(BadInput, match="the step measures voltage"):
        import_record(job, file, step="reference")
    with pytest.raises(BadInput, match="no step 'nowhere'"):
        import_record(job, file, step="nowhere")
    with pytest.raises(BadInput, match="the band is not in mV"):
        import_record(job, file, step="reference", unit="mV", band=parse_quantity("1 A"))
