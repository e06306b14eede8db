"""`handsfree plan new`: your vehicle's plan by options, or asked for wire by wire."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from handsfree.cli import new_plan
from handsfree.cli.app import app
from handsfree.errors import BadInput
from handsfree.plan import load_plan
from handsfree.plan.document import read_document


@pytest.fixture(autouse=True)
def _here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def new(*args: str, said: str | None = None) -> Result:
    return CliRunner().invoke(app, ["plan", "new", *args], input=said)


def refusal(made: Result) -> str:
    """What is said when a plan is refused."""
    assert isinstance(made.exception, BadInput)
    return str(made.exception)


def test_a_plan_by_options() -> None:
    made = new(
        "position-sensor-3wire", "--wire", "signal=lilac/green pin A2", "--wire",
        "reference=red with black stripe, pin 85", "--colour", "lilac=light mauve",
        "--reference", "8V", "--supply", "24V", "--vehicle", "van 12", "-o", "own.yaml",
    )  # fmt: skip
    assert made.exit_code == 0, made.output
    assert "own.yaml: fine, " in made.output
    assert "Next: handsfree dictate own.yaml" in made.output
    assert read_document(Path("own.yaml").read_text(encoding="utf-8")).data == {
        "like": "position-sensor-3wire", "vehicle": "van 12", "reference": "8V", "supply": "24V",
        "colours": {"lilac": ["light mauve"]},
        "wires": {"signal": "lilac/green pin A2",
                  "reference": "red with black stripe, pin 85"},
    }  # fmt: skip
    plan = load_plan("own.yaml").plan
    assert [(pin.number, pin.wire, pin.function) for pin in plan.connector.pins] == [
        ("3", "brown/black", "sensor ground"), ("85", "red/black", "eight volt reference"),
        ("A2", "lilac/green", "height signal"),
    ]  # fmt: skip
    assert (plan.subject.vehicle, plan.supply.m_as("V")) == ("van 12", 24)


def test_it_asks_wire_by_wire_and_enter_keeps(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(new_plan, "at_terminal", lambda: True)
    said = "van 12\n\npin B-2\npink/white pin B2\n\n8\n8 V\n\n"
    made = new("position-sensor-3wire", said=said)
    assert made.exit_code == 0, made.output
    assert "height signal [gray/white pin 2]: " in made.output
    assert "'pin B-2' is no wire" in made.output
    assert "'8' is not in V" in made.output
    text = Path("my-position-sensor-3wire.yaml").read_text(encoding="utf-8")
    assert read_document(text).data == {
        "like": "position-sensor-3wire", "vehicle": "van 12",
        "wires": {"height signal": "pink/white pin B2"}, "reference": "8 V",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (["--wire", "signal=pin 3"], '--wire "signal=pin 3": pin 3 of the sensor connector is'),
        (["--wire", "signals=pin 9"], "has no wire 'signals'; it has: five volt reference, height"),
        (["--wire", "signal=lilac"], "--wire \"signal=lilac\": the grammar has no colour 'lilac'"),
        (["--wire", "signal"], "--wire: 'signal' names no wire"),
        (["--reference", "8"], "--reference: '8' is not in V"),
        (["--supply", "24"], "--supply: '24' has no unit"),
        ([], "nothing is given that differs"),
    ],
)
def test_what_is_wrong_is_told_by_its_option_and_nothing_is_written(
    options: list[str], told: str
) -> None:
    made = new("position-sensor-3wire", *options, "-o", "own.yaml")
    assert told in refusal(made)
    assert not Path("own.yaml").exists()


def test_a_file_is_not_written_over_and_a_written_out_plan_is_not_adapted() -> None:
    Path("own.yaml").write_text("mine", encoding="utf-8")
    made = new("relay-4pin", "--supply", "24V", "-o", "own.yaml")
    assert "own.yaml: there is such a file" in refusal(made)
    assert Path("own.yaml").read_text(encoding="utf-8") == "mine"
    assert "written out step by step" in refusal(new("airbag-supply", "--supply", "24V"))
