"""A sweep imported from CSV, and the closing of a job by it."""

from __future__ import annotations

from pathlib import Path

import pytest
from by_hand import by_hand

from handsfree.check import judge_sweep, limits_of
from handsfree.dialogue import Dialogue
from handsfree.errors import BadInput
from handsfree.grammar import Language
from handsfree.heard import Heard
from handsfree.job import Job
from handsfree.job.sweeps import import_sweep, read_points
from handsfree.log import open_job, read, verify

GOOD = "command,feedback\n0,0.6\n25,1.5\n50,2.5\n75,3.5\n100,4.4\n50,2.6\n0,0.6\n"
DEAD = "Command, Feedback\n0,0.6\n25,1.5\n50,1.5\n75,3.5\n100,4.4\n"
TESTS = ["twelve six", "point oh two", "five volts", "point six", "point six", "battery voltage"]
TESTS += ["ground", "ground", "battery voltage", "over limit", "five k", "one k", "it turns", "yes"]
AFTER = ["repair done", "point six", "two point five", "four point four", "yes", "yes"]


def dictate(job: Path, english: Language, said: list[str]) -> Job:
    loaded = by_hand("flap-actuator-5wire")
    with open_job(job, loaded.text.encode(), title=loaded.plan.title) as log:
        session = Job(Dialogue(loaded.plan, english), log, lambda event: None, lambda text: None)
        session.begin()
        for text in said:
            session.hear(Heard.of_text(text))
    return session


@pytest.mark.parametrize(("csv", "status"), [(GOOD, "verified"), (DEAD, "not verified")])
def test_the_job_closes_by_its_sweep(
    tmp_path: Path, english: Language, csv: str, status: str
) -> None:
    job, file = tmp_path / "job", tmp_path / "sweep.csv"
    file.write_text(csv, encoding="utf-8")
    dictate(job, english, TESTS + AFTER)
    _, flaws = import_sweep(job, file)
    assert bool(flaws) == (status == "not verified")
    dictate(job, english, ["no"])
    assert read(job)[-1].fields["status"] == status
    assert verify(job).state == "finished"


def test_a_dictated_sweep_counts_too(tmp_path: Path, english: Language) -> None:
    """Within its step's limits, yet the middle is where the cold end should be."""
    after = [*AFTER[:2], "two point two", *AFTER[3:], "no"]
    dictate(tmp_path / "job", english, TESTS + after)
    assert read(tmp_path / "job")[-1].fields["status"] == "verified"


def test_a_finished_job_takes_no_sweep(tmp_path: Path, english: Language) -> None:
    job, file = tmp_path / "job", tmp_path / "sweep.csv"
    file.write_text(GOOD, encoding="utf-8")
    dictate(job, english, ["finish", "yes"])
    with pytest.raises(BadInput, match="finished"):
        import_sweep(job, file)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("a,b\n1,2\n", "line 1"),
        ("command,feedback\n0,x\n", "line 2"),
        ("", "line 1"),
        ("command,feedback\n0,1\nnan,1\n", "line 3"),
        ("command,feedback\n0,inf\n", "line 2"),
        ("command,feedback\n1e999,1\n", "line 2"),
        ("command,feedback,command\n1,2,3\n", "line 1"),
        ("command,feedback\n" + "1" * 200_000 + ",1\n", "line 2"),
        ("command,feedback\n1\0,2\n", "line 2"),
        ("command,feedback\n1\n", "line 2"),
        ("command,feedback\n50,1e308\n", "line 2"),
        ("command,feedback\n50,1_0\n", "line 2"),  # ten to Python, and to nobody else
        ('command,feedback\n50,"0.6"25\n', "line 2"),  # 0.625, which stands nowhere
    ],
)
def test_a_faulty_file_is_named_with_its_line(text: str, message: str) -> None:
    with pytest.raises(BadInput) as error:
        read_points(text, "s.csv", "V")
    assert message in str(error.value)


def test_a_step_of_nearly_nothing_is_a_jump() -> None:
    points = read_points("command,feedback\n0,0.6\n1e-320,1.5\n50,2.5\n100,4.4\n", "s.csv", "V")
    limits = limits_of(by_hand("flap-actuator-5wire").plan)
    assert limits
    assert "jump" in [fault.flaw for fault in judge_sweep(points, limits)]


def test_a_file_without_end_is_not_read(tmp_path: Path, english: Language) -> None:
    dictate(tmp_path / "job", english, [])
    with (tmp_path / "sweep.csv").open("wb") as file:
        file.truncate(1 << 33)
    with pytest.raises(BadInput, match="larger than a megabyte"):
        import_sweep(tmp_path / "job", tmp_path / "sweep.csv")
