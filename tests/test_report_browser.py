"""The report in a browser: who can read it, and that its policy lets in what belongs to it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from display_browser import PHONE, Browser, chromium

from handsfree.log import JobRecord, Verification, encode_flac
from handsfree.report import render

GOLDEN = Path(__file__).parent / "data" / "golden"


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as started:
        yield started


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> str:
    record = JobRecord.read(GOLDEN / "low-beam")
    sound = encode_flac(np.zeros(1600, np.float32), 16_000)
    path = tmp_path_factory.mktemp("report") / "report.html"
    check = Verification("finished", 3, "0123", (), ())
    path.write_text(render(record, check, lambda _: sound), encoding="utf-8")
    return path.as_uri()


def test_axe_finds_nothing(browser: Browser, address: str) -> None:
    """axe-core by Deque: the rules of WCAG 2.1 to level AA, and its best practices."""
    axe = pytest.importorskip("axe_core_python.selenium", reason="axe-core-python is missing").Axe()
    browser.open(address)
    tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "best-practice"]
    result = axe.run(browser.driver, options={"runOnly": tags})
    assert result["passes"]
    assert [(v["id"], v["nodes"][0]["html"]) for v in result["violations"]] == []


def test_its_policy_lets_in_its_style_and_sound_and_nothing_complains(
    browser: Browser, address: str
) -> None:
    browser.complaints()
    browser.open(address)
    assert browser.run("return getComputedStyle(document.querySelector('h2')).borderBottomStyle")
    assert browser.run("return document.styleSheets.length") == 1
    sound = "document.querySelector('audio')"
    browser.run(f"{sound}.load()")
    browser.run(f"{sound}.preload = 'auto'")
    assert browser.wait(f"{sound}.duration > 0")
    assert browser.complaints() == []


def test_it_does_not_run_out_of_a_phone(browser: Browser, address: str) -> None:
    browser.open(address, PHONE)
    assert browser.run("return document.documentElement.scrollWidth") <= PHONE[0]
