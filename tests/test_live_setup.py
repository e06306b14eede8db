"""`handsfree check-setup`: each part is found or its remedy is said."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
from pathlib import Path
from typing import Any

import pytest
from sound_server import SoundServer, missing

from handsfree.languages import data_folder


def check(*args: object, environment: dict[str, str] | None = None) -> tuple[dict[str, Any], int]:
    done = subprocess.run(
        [sys.executable, "-m", "handsfree", "check-setup", "--json", *map(str, args)],
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
        env=environment or dict(os.environ),
    )
    assert "Traceback" not in done.stderr
    findings = [json.loads(line) for line in done.stdout.splitlines()]
    assert [f["part"] for f in findings] == ["engine", "voice", "microphone", "speaker", "disk"]
    assert all(f["remedy"] for f in findings if f["state"] != "ok")
    return {f["part"]: f for f in findings}, done.returncode


def test_what_is_missing_is_told_with_a_remedy(tmp_path: Path) -> None:
    device = ["--device", "no such microphone"]
    found, status = check("--voice", "off", *device, "--jobs", tmp_path)
    assert status == 4
    assert found["engine"]["state"] in ("ok", "slow")
    assert "red with white stripe four point nine seven volts" in found["engine"]["found"]
    assert "handsfree[voice]" in found["voice"]["remedy"]
    assert found["microphone"]["state"] == found["speaker"]["state"] == "fails"
    assert found["disk"]["state"] in ("ok", "slow")
    assert list(tmp_path.iterdir()) == []  # nothing is left behind


def test_what_cannot_be_written_or_loaded_is_told(tmp_path: Path) -> None:
    engine = ["--engine", "vosk", "--model", tmp_path]
    found, status = check(*engine, "--jobs", tmp_path / "nowhere", "--device", "none such")
    assert status == 4
    assert found["engine"]["state"] == found["disk"]["state"] == "fails"
    assert "nowhere" in found["disk"]["remedy"]


@pytest.mark.skipif(bool(missing()), reason=missing())
def test_a_sound_server_is_found_and_heard(tmp_path: Path) -> None:
    server = SoundServer(tmp_path)
    server.start()
    talking = threading.Event()

    def talk() -> None:
        while not talking.is_set():
            server.play(data_folder("demo_audio") / "low-beam" / "03-joe.flac")

    thread = threading.Thread(target=talk)
    thread.start()
    try:
        how = ["--engine", "pocketsphinx", "--voice", "espeak-ng", "--jobs", tmp_path]
        found, _ = check(*how, environment=server.environment)
    finally:
        talking.set()
        thread.join()
        server.kill()
    assert found["microphone"]["state"] == "ok"
    assert "dBFS" in found["microphone"]["found"]
    assert found["speaker"]["state"] == "ok"
