"""The command line from outside: what it prints, how it ends.

Most of it is called in this process, some as the process that a shell starts.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
import soundfile
import typer
from by_hand import FOLDER
from command_line import COLUMNS, run
from typer.main import get_group

from handsfree.cli.commands import COMMANDS, load_command
from handsfree.plan import load_plan, shipped
from handsfree.plan.document import read_document

FLAP = str(FOLDER / "flap-actuator-5wire.yaml")


def process(*args: object) -> subprocess.CompletedProcess[str]:
    """It, started as a shell does."""
    return subprocess.run(
        [sys.executable, "-m", "handsfree", *map(str, args)],
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
        env={**os.environ, "COLUMNS": COLUMNS},
    )


def lines(text: str) -> list[dict[str, Any]]:
    return [json.loads(line) for line in text.splitlines()]


@pytest.fixture(scope="module")
def silence(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("sound") / "silence.wav"
    soundfile.write(path, np.zeros(32_000, np.float32), 16_000)
    return path


@pytest.mark.parametrize(
    "command",
    [[], ["demo"], ["dictate"], ["hear"], ["parse"], ["log"], ["report"], ["verify"], ["plan"]]
    + [["plan", name] for name in ("list", "show", "check", "schema", "new")],
    ids=" ".join,
)
def test_help_gives_an_example(command: list[str]) -> None:
    done = run(*command, "--help")
    assert done.returncode == 0
    assert "Example" in done.stdout or command in ([], ["plan"])


def test_parse_json_has_every_field() -> None:
    done = run("parse", "violet 4.98 V", "--plan", FLAP, "--step", "reference", "--json")
    (found,) = lines(done.stdout)
    assert found["kind"] == "reading"
    assert (found["wire"], found["pin"], found["value"], found["unit"]) == ("violet", 5, 4.98, "V")


def test_parse_for_people() -> None:
    assert run("parse", "skip", "--plan", FLAP).stdout == "command skip\n"
    done = run("parse", "four nine", "--plan", FLAP, "--step", "track")
    assert done.stdout.startswith("ambiguous: reading 49.0 kΩ or reading 4.9 kΩ")


def test_plans() -> None:
    listed = {p["name"]: p["title"] for p in lines(run("plan", "list", "--json").stdout)}
    plans = {name: load_plan(name) for name in shipped()}
    assert listed == {name: loaded.plan.title for name, loaded in plans.items()}
    assert "pin 5: violet, five volt reference" in run("plan", "show", FLAP).stdout
    assert run("plan", "check", FLAP).returncode == 0
    schema = json.loads(run("plan", "schema").stdout)
    validator = jsonschema.validators.validator_for(schema)
    validator.check_schema(schema)
    for loaded in plans.values():
        validator(schema).validate(read_document(loaded.text).data)


def test_a_broken_plan_names_file_line_and_field(tmp_path: Path) -> None:
    path = tmp_path / "broken.yaml"
    path.write_text(load_plan(FLAP).text.replace("low: 4.8 V", "low: 4.8", 1), encoding="utf-8")
    done = run("plan", "check", path)
    assert done.returncode == 2
    assert "broken.yaml, line" in done.stderr
    assert "expect.low" in done.stderr
    assert "Traceback" not in done.stderr


def test_hear_silence(silence: Path) -> None:
    done = run("hear", silence, "--plan", FLAP, "--engine", "pocketsphinx", "--json")
    assert (done.returncode, done.stdout) == (0, "")


def test_dictate_silence_leaves_an_open_job(silence: Path, tmp_path: Path) -> None:
    job = tmp_path / "job"
    args = ["--audio", silence, "--job", job, "--engine", "pocketsphinx", "--voice", "off"]
    done = process("dictate", FLAP, *args, "--json")
    assert done.returncode == 0
    assert [e["event"] for e in lines(done.stdout)] == ["step", "said"]
    assert "open" in process("verify", job).stdout
    assert process("log", job, "--csv").stdout.startswith("seq,time,step,wire,")


#: With an engine that opens fast.
QUICK = [FLAP, "--audio", "{silence}", "--engine", "pocketsphinx"]
BAD = [
    (["dictate", FLAP, "--audio", "nowhere.wav"], 2, "nowhere.wav"),
    (["dictate", FLAP, "--audio", "{text}"], 2, "not a sound file"),
    (["dictate", FLAP, "--audio", "{empty}"], 2, "empty"),
    (["dictate", FLAP, "--audio", "{folder}"], 2, "{folder}"),
    (["dictate", "no-such-plan", "--audio", "{silence}"], 2, "no-such-plan"),
    (["dictate", "flap-actuator-5wires", "--audio", "{silence}"], 2, "flap-actuator-5wire"),
    (["dictate", FLAP, "--audio", "{silence}", "--engine", "ears"], 2, "ears"),
    (["dictate", FLAP, "--audio", "{silence}", "--engine", "vosk"], 4, "Vosk model"),
    (
        ["dictate", FLAP, "--audio", "{silence}", "--model", "{folder}", "--engine", "whisper"],
        4,
        "",
    ),
    (["dictate", *QUICK, "--voice", "choir"], 2, "choir"),
    (["dictate", *QUICK, "--job", "{text}/job"], 2, "{text}"),
    (["hear", "{silence}", "--plan", FLAP, "--step", "nothing"], 2, "sensor_ground"),
    (["parse", "ground", "--plan", "{text}"], 2, "line 1"),
    (["log", "{folder}"], 2, "{folder}"),
    (["verify", "nowhere"], 2, "nowhere"),
    (["report", "nowhere"], 2, "nowhere"),
    (["log", "nowhere", "--csv", "--json"], 2, "one of"),
    (["demo", "--session", "opera"], 2, "low-beam"),
    (["fly"], 2, "fly"),
]


@pytest.mark.parametrize(("args", "code", "message"), BAD, ids=lambda v: str(v)[:60])
def test_bad_input(args: list[str], code: int, message: str, tmp_path: Path, silence: Path) -> None:
    text, empty = tmp_path / "words.txt", tmp_path / "empty.wav"
    text.write_text("no sound, no plan", encoding="utf-8")
    empty.touch()
    places = {"text": text, "empty": empty, "folder": tmp_path, "silence": silence}
    if args[0] == "dictate" and "--job" not in args:
        args = [*args, "--job", str(tmp_path / "job")]
    done = run(*(arg.format(**places) for arg in args), cwd=tmp_path)
    assert done.returncode == code, done.stderr
    assert message.format(**places) in done.stderr
    assert "Traceback" not in done.stderr


def test_a_job_of_another_plan_is_refused(silence: Path, tmp_path: Path) -> None:
    job = tmp_path / "job"
    args = ["--audio", silence, "--job", job, "--engine", "pocketsphinx", "--voice", "off"]
    assert run("dictate", FLAP, *args).returncode == 0
    done = run("dictate", "relay-4pin", *args)
    assert done.returncode == 2
    assert "Flap actuator, five wires" in done.stderr


def test_damage_is_found_with_exit_code_3(silence: Path, tmp_path: Path) -> None:
    job = tmp_path / "job"
    args = ["--audio", silence, "--job", job, "--engine", "pocketsphinx", "--voice", "off"]
    assert run("dictate", FLAP, *args).returncode == 0
    log = job / "events.jsonl"
    log.write_bytes(log.read_bytes().replace(b"at_rest", b"at_best", 1))
    done = run("verify", job)
    assert done.returncode == 3
    assert "line" in done.stderr


#: Libraries that take longer to import than all the rest of a command that needs none of them.
HEAVY = ("cryptography", "numpy", "pint", "pydantic", "scipy", "sounddevice", "vosk", "yaml")


@pytest.mark.parametrize("command", ["--version", "--help"])
def test_a_start_imports_no_command(command: str) -> None:
    code = (
        "import sys, handsfree.cli\n"
        f"sys.argv = ['handsfree', {command!r}]\n"
        "try: handsfree.cli.main()\n"
        "except SystemExit: pass\n"
        "print(*sys.modules, file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    imported = {name.split(".")[0] for name in done.stderr.split()}
    assert done.stdout
    assert "typer" in imported
    assert imported.isdisjoint(HEAVY)


@pytest.mark.parametrize("name", COMMANDS)
def test_the_list_of_commands_says_what_each_says_of_itself(name: str) -> None:
    own = (load_command(name).help or "").strip().split("\n\n")[0]
    assert COMMANDS[name].help == " ".join(own.split())


def test_each_command_of_a_module_is_listed() -> None:
    for module in {offered.module for offered in COMMANDS.values()}:
        holder = typer.Typer()
        import_module(f"handsfree.cli.{module}").register(holder)
        listed = {name for name, offered in COMMANDS.items() if offered.module == module}
        assert set(get_group(holder).commands) == listed


@pytest.mark.parametrize("how", [run, process])
def test_an_error_is_told_and_ends_with_its_code(how: Callable[..., Any], tmp_path: Path) -> None:
    done = how("report", tmp_path / "nowhere")
    assert (done.returncode, done.stdout) == (2, "")
    assert "nowhere" in done.stderr
    assert "Traceback" not in done.stderr


def test_a_slip_in_a_command_is_told_with_its_neighbour() -> None:
    done = process("verfy")
    assert done.returncode == 2
    assert "Did you mean 'verify'" in done.stderr
