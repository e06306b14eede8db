"""`explain` and `simulate` from outside, on jobs dictated in text."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
import yaml
from command_line import run

from handsfree.dialogue import Dialogue
from handsfree.grammar import Language
from handsfree.heard import Heard
from handsfree.job import Job
from handsfree.languages import data_folder
from handsfree.log import open_job
from handsfree.plan import load_plan


def dictated(session: str, job: Path, english: Language) -> Path:
    """A job with the lines of a demo session, typed."""
    script = data_folder("demo_audio") / session / "script.yaml"
    lines = yaml.safe_load(script.read_text(encoding="utf-8"))["lines"]
    loaded = load_plan("headlamp-levelling")
    with open_job(job, loaded.text.encode(), title=loaded.plan.title) as log:
        talk = Job(Dialogue(loaded.plan, english), log, lambda event: None, lambda text: None)
        talk.begin()
        for line in lines:
            talk.hear(Heard.of_text(line["text"]))
    return job


@pytest.mark.parametrize(
    ("session", "part", "fault"),
    [
        ("low-beam", "levelling drive", "motor_open"),
        ("module-dead", "levelling module", "module_bridge_supply_open"),
    ],
)
def test_the_demo_sessions_name_the_part(
    tmp_path: Path, english: Language, session: str, part: str, fault: str
) -> None:
    job = dictated(session, tmp_path / "job", english)
    found = json.loads(run("explain", job, "--json").stdout)
    first = found["ranking"][0]
    assert first["faults"] == [fault]
    assert part in first["parts"]
    assert found["odds"] > 20
    assert {e["step"] for e in first["evidence"]} >= {
        "five_volt_reference_low_beam_on",
        "pin_2_to_4",
    }
    assert "after_position_signal_half_way" not in {
        e["step"] for e in first["evidence"]
    }  # after the repair
    assert part.split()[-1] in run("explain", job).stdout


def lines(text: str) -> list[dict[str, Any]]:
    return [json.loads(line) for line in text.splitlines()]


def test_simulate_is_seeded() -> None:
    command = ["simulate", "flap-actuator-5wire", "--fault", "motor_open", "--json"]
    first = run(*command, "--seed", 3).stdout
    assert first == run(*command, "--seed", 3).stdout
    assert first != run(*command, "--seed", 4).stdout
    winding = next(line for line in lines(first) if line["step"] == "pin_1_to_2")
    assert winding["shown"]["over_limit"]


def test_a_fault_that_is_not_there() -> None:
    done = run("simulate", "flap-actuator-5wire", "--fault", "gremlins")
    assert done.returncode == 2
    assert "motor_open" in done.stderr
