"""The locked set is one that the project asks for, whole, and each file has its hash."""

from __future__ import annotations

import re
import tomllib
from importlib import metadata
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from packaging.version import Version

ROOT = Path(__file__).parent.parent
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
#: A line of a requirements file in pip's hash-checking mode.
PIN = re.compile(r"(?P<name>[\w.-]+)==(?P<version>\S+) --hash=sha256:(?P<sha256>[0-9a-f]{64})")


def pins() -> dict[str, Version]:
    lines = (ROOT / "requirements.lock").read_text(encoding="utf-8").splitlines()
    matches = [PIN.fullmatch(line) for line in lines if not line.startswith("#")]
    assert all(matches)
    found = {canonicalize_name(m["name"]): Version(m["version"]) for m in matches if m}
    assert len(found) == len(matches)
    return found


def asked() -> list[Requirement]:
    extras = PROJECT["optional-dependencies"]
    wanted = ("dev", "pdf", "review", "voice")  # as `make test` installs
    texts = [*PROJECT["dependencies"], *(text for extra in wanted for text in extras[extra])]
    return [Requirement(text) for text in texts]


def test_the_locked_set_is_one_that_the_project_asks_for() -> None:
    locked = pins()
    for requirement in asked():
        assert locked[canonicalize_name(requirement.name)] in requirement.specifier, requirement


def test_nothing_that_is_needed_is_left_out_and_nothing_else_is_in() -> None:
    """With `--no-deps` pip looks for no more, so the set has to be closed."""
    locked = pins()
    installed = {canonicalize_name(each.name): each.version for each in metadata.distributions()}
    if not all(installed.get(name) == str(version) for name, version in locked.items()):
        pytest.skip("another set than the locked one is installed, with other needs")
    waiting, reached = asked(), set[tuple[str, str]]()
    while waiting:
        requirement = waiting.pop()
        name = canonicalize_name(requirement.name)
        assert locked[name] in requirement.specifier, requirement
        for extra in ("", *requirement.extras):
            if (name, extra) in reached:
                continue
            reached.add((name, extra))
            for text in metadata.distribution(name).requires or ():
                needed = Requirement(text)
                if needed.marker is None or needed.marker.evaluate({"extra": extra}):
                    waiting.append(needed)
    assert {name for name, _ in reached} == set(locked)
