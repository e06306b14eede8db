"""What `handsfree privacy` tells is what the code does."""

from __future__ import annotations

import ast
import json
from pathlib import Path

from typer.testing import CliRunner

import handsfree
from handsfree.cli.app import app
from handsfree.cli.privacy import HEADINGS, Fact, facts
from handsfree.display.certificate import local_certificate
from handsfree.display.web_display import certificate_folder
from handsfree.job.acquaintance import Acquaintance, keep_acquaintance
from handsfree.job.progress import Progress, save_progress
from handsfree.live.settings import Settings, remember
from handsfree.log import open_job
from handsfree.seal import make_key, seal_job

SOURCES = sorted(Path(handsfree.__file__).parent.rglob("*.py"))


def kept() -> dict[str, Fact]:
    return {fact.name: fact for fact in facts() if fact.topic == "kept"}


def test_what_is_kept_is_where_it_says_and_for_whom(home: Path) -> None:
    assert not any(fact.there for name, fact in kept().items() if name != "definitions of units")
    remember(Settings())
    save_progress(Progress("Idris"))
    keep_acquaintance(Acquaintance("Idris"))
    local_certificate(certificate_folder(), {"localhost"})
    with open_job(Path("jobs") / "van", b"title: x\n", title="x"):
        pass
    seal_job(Path("jobs") / "van", make_key("A shop", "copper kettle seven lanes"))
    there = {name: Path(fact.place) for name, fact in kept().items() if fact.there}
    assert {"jobs", "progress", "settings", "certificate and its key"} <= set(there)
    for path in home.rglob("*"):
        if path.is_file():
            assert any(path.is_relative_to(place) for place in there.values()), path
    for name in (
        "jobs",
        "progress",
        "voices",
        "certificate and its key",
        "key of the shop, and the list of what it sealed",
    ):  # "Its owner's alone"
        files = [path for path in there[name].rglob("*") if path.is_file()]
        assert files
        assert all(path.stat().st_mode & 0o077 == 0 for path in files)


def test_it_is_told_to_people_and_to_programs(home: Path) -> None:
    told = CliRunner().invoke(app, ["privacy"])
    assert told.exit_code == 0
    assert all(heading in told.output for heading in HEADINGS.values())
    lines = CliRunner().invoke(app, ["privacy", "--json"]).output.splitlines()
    assert {json.loads(line)["topic"] for line in lines} == set(HEADINGS)


def uses(of: set[str]) -> set[str]:
    """Modules in which one of these names is imported or called."""
    found = set()
    for source in SOURCES:
        for node in ast.walk(ast.parse(source.read_text(encoding="utf-8"))):
            names: set[str] = set()
            match node:
                case ast.Import(names=imported):
                    names = {alias.name for alias in imported}
                case ast.ImportFrom(module=module, names=imported):
                    names = {str(module), *(alias.name for alias in imported)}
                case ast.Attribute(attr=attribute):
                    names = {attribute}
            if names & of:
                found.add(source.relative_to(Path(handsfree.__file__).parent).as_posix())
    return found


def test_no_other_module_opens_a_connection_or_has_a_place_of_its_own() -> None:
    """Whoever adds one tells it in `handsfree privacy` first, and then here."""
    assert uses({"urlopen", "http.client", "requests", "httpx", "huggingface_hub"}) == {
        "seal/stamp.py",  # seal sign --stamp, seal stamp
        "words/fetch.py",  # model get, model list
    }
    assert uses({"socket", "websockets", "websockets.asyncio.server", "asyncio.streams"}) == {
        "display/door.py",  # the page
        "display/pages.py",  # the name of this machine
        "display/web.py",
        "display/web_display.py",
        "review/serving.py",  # the name of this machine
    }
    places = {"platformdirs", "user_data_path", "user_config_path", "user_cache_path", "home"}
    assert uses(places) == {
        "display/web_display.py",
        "job/acquaintance.py",
        "job/progress.py",
        "live/settings.py",
        "seal/keys.py",
        "review/places.py",
        "words/fetch.py",
        "words/vosk_engine.py",
    }
