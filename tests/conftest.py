from __future__ import annotations

import gc
from pathlib import Path

import pytest
from by_hand import by_hand
from plan_sample import sample

from handsfree.grammar import Language, SpokenPlan
from handsfree.languages import load_language
from handsfree.plan import Plan, load_plan, shipped

# Grammars are made of hundreds of thousands of objects that stay: to look for garbage among them
# as often as usual takes a fifth of the time.
gc.set_threshold(50_000, 20, 50)

#: Sound flows in real time here, and they need the machine for themselves.
REAL_TIME = ("test_display_headset.py", "test_live_sound_server.py")
#: They wait for a browser or a connection until something is there, but not for ever.
WAITING = (
    "test_display_page.py",
    "test_display_web.py",
    "test_export_browser.py",
    "test_report_browser.py",
    "test_review_browser.py",
)


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    """Asked for those in real time alone, read no others: that takes a while."""
    name = collection_path.name
    alone = config.option.markexpr == "real_time" and name.startswith("test_")
    return True if alone and name not in REAL_TIME else None


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if item.path.name in REAL_TIME:
            item.add_marker(pytest.mark.real_time)
        if item.path.name in REAL_TIME + WAITING:  # the machine may be busy for a second
            item.add_marker(pytest.mark.flaky(reruns=2))


@pytest.fixture(scope="session")
def english() -> Language:
    return load_language("en")


@pytest.fixture(scope="session")
def flap() -> Plan:
    return by_hand("flap-actuator-5wire").plan


@pytest.fixture(scope="session")
def spoken_flap(english: Language, flap: Plan) -> SpokenPlan:
    return SpokenPlan(english, flap)


@pytest.fixture(scope="session")
def spoken_plans(english: Language) -> list[SpokenPlan]:
    """Every shipped plan."""
    return [SpokenPlan(english, load_plan(name).plan) for name in shipped()]


@pytest.fixture(scope="session")
def some_spoken_plans(english: Language) -> list[SpokenPlan]:
    """Some of the shipped plans: the grammars of all of them take long to make."""
    return [SpokenPlan(english, load_plan(name).plan) for name in sample()]


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty folder to work in, with what a person keeps in it too."""
    for kind in ("DATA", "CONFIG", "CACHE"):
        monkeypatch.setenv(f"XDG_{kind}_HOME", str(tmp_path / kind))
    monkeypatch.chdir(tmp_path)
    return tmp_path
