"""A session needs no network: it is dictated, reported and verified where there is none.

The commands run as processes of their own in a network namespace without any interface that is
up (network_namespaces(7)), so that nothing of theirs, libraries in C included, reaches anything.
Beside that Python's audit events (PEP 578) tell what was only tried.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

CLIPS = Path(__file__).parent.parent / "demo_audio" / "low-beam"
#: Runs `handsfree` with the arguments behind the first, which is the file that takes down each
#: look-up of a name, each connection, datagram and listening socket that Python is asked for.
WATCHED = """
import sys

tried = open(sys.argv.pop(1), "a", buffering=1)
KINDS = ("socket.connect", "socket.bind", "socket.send", "socket.get", "urllib.Request")

def watch(event, arguments):
    if event.startswith(KINDS) and event != "socket.gethostname":
        tried.write(f"{event} {arguments!r}\\n")

sys.addaudithook(watch)
"""
HANDSFREE = WATCHED + "from handsfree.cli import main\nmain()\n"
KNOCK = (
    WATCHED
    + """
import socket

print([name for _, name in socket.if_nameindex()])
try:
    socket.create_connection(("127.0.0.1", int(sys.argv[1])), timeout=5)
    print("reached")
except OSError as error:
    print(error)
"""
)


def alone() -> list[str] | None:
    """What runs a command in a network namespace of its own; None where the kernel forbids it."""
    if not sys.platform.startswith("linux") or shutil.which("unshare") is None:
        return None
    for how in (["unshare", "--net"], ["unshare", "--user", "--map-root-user", "--net"]):
        if subprocess.run([*how, "true"], capture_output=True, check=False).returncode == 0:
            return how
    return None


def run(script: str, tried: Path, *arguments: str, home: Path) -> subprocess.CompletedProcess[str]:
    """Run a script alone where that may be, with folders of its own for data and caches."""
    folders = {f"XDG_{kind}_HOME": str(home / kind) for kind in ("DATA", "CONFIG", "CACHE")}
    return subprocess.run(
        [*(alone() or []), sys.executable, "-c", script, str(tried), *arguments],
        env={**os.environ, "HOME": str(home), **folders},
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )


@dataclass(frozen=True)
class Session:
    """A session that was dictated, reported and verified.

    Attributes:
        home: of whoever dictates.
        job: its folder.
        outputs: of the three commands.
        tried: what of the network was asked for, a line each.
    """

    home: Path
    job: Path
    outputs: list[subprocess.CompletedProcess[str]]
    tried: str


@pytest.fixture(scope="module")
def session(tmp_path_factory: pytest.TempPathFactory) -> Session:
    home = tmp_path_factory.mktemp("home")
    job, tried = home / "job", home / "tried.txt"
    clips = [f"--audio={CLIPS / name}" for name in ("01-joe.flac", "02-slt.flac")]
    dictate = ["dictate", "headlamp-levelling", *clips, f"--job={job}", "--voice=off"]
    outputs = [
        run(HANDSFREE, tried, *command, home=home)
        for command in (
            [*dictate, "--engine=whisper+moonshine"],
            ["report", str(job)],
            ["verify", str(job)],
        )
    ]
    return Session(home, job, outputs, tried.read_text())


def test_a_session_is_dictated_reported_and_verified_without_a_network(session: Session) -> None:
    if alone() is None:
        pytest.skip("this system lets nobody have a network namespace")
    for output in session.outputs:
        assert output.returncode == 0, output.stdout + output.stderr
    assert "12.6 V" in session.outputs[0].stdout
    assert "12.1 V" in (session.job / "report.html").read_text(encoding="utf-8")
    assert "undamaged" in session.outputs[2].stdout


def test_nothing_of_the_network_is_even_asked_for(session: Session) -> None:
    assert session.tried == ""


def test_the_library_that_sends_statistics_is_told_not_to(session: Session) -> None:
    # onnxruntime/Privacy.md: with ORT_DISABLE_TELEMETRY=1 "the uploader, events, and persistent
    # device identifier" are not made; else they lie below the user's cache.
    assert list(session.home.rglob("*onnxruntime*")) == []


def test_what_is_written_is_where_privacy_says(session: Session) -> None:
    told = run(HANDSFREE, session.home / "later.txt", "privacy", "--json", home=session.home)
    places = [json.loads(line)["place"] for line in told.stdout.splitlines()]
    written = {path for path in session.home.rglob("*") if path.is_file()}
    known = {session.home / "tried.txt", session.home / "later.txt"}
    elsewhere = {
        path
        for path in written - known
        if not path.is_relative_to(session.job)  # it was named with --job
        and not any(path.is_relative_to(place) for place in places if place)
    }
    assert written > known
    assert elsewhere == set()


def test_what_is_asked_for_would_be_seen_and_would_reach_nothing(tmp_path: Path) -> None:
    import socket

    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
        knocked = run(KNOCK, tmp_path / "tried.txt", str(port), home=tmp_path)
    tried = (tmp_path / "tried.txt").read_text()
    assert "socket.getaddrinfo" in tried
    assert f"('127.0.0.1', {port})" in tried
    if alone() is None:
        pytest.skip("this system lets nobody have a network namespace")
    interfaces, reached = knocked.stdout.splitlines()
    assert interfaces == "['lo']"  # which is down: not even this machine itself is reached
    assert "unreachable" in reached
