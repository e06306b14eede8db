"""How soon an event is on the page, and what telling it costs.  `pytest --benchmark-only`.

The limit is 200 ms from the event to its value in the page.  Both ends are on this machine and
read the same clock.  Figures are given as shares of that limit.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest
from by_hand import by_hand
from display_browser import Browser, chromium
from display_session import events, view_after
from pytest_benchmark.fixture import BenchmarkFixture

from handsfree.display import Site, WebDisplay, open_display
from handsfree.display.screen import screen
from handsfree.events import ReadingTaken, SoundLevel
from handsfree.events import told as told_only
from handsfree.meaning import Reading
from handsfree.units import quantity

LIMIT = 200.0  # milliseconds
UPDATES = 200

#: Notes when a value has come into the page, and when it has been painted.
WATCH = """
window.changed = {}; window.painted = {};
const shown = document.getElementById("shown");
new MutationObserver(() => {
  const value = shown.textContent;
  window.changed[value] = Date.now();
  requestAnimationFrame(() => setTimeout(() => { window.painted[value] = Date.now(); }, 0));
}).observe(shown, { childList: true, characterData: true, subtree: true });
"""


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as started:
        yield started


@pytest.fixture
def display() -> Iterator[WebDisplay]:
    plan = by_hand("flap-actuator-5wire").plan
    opened = open_display("web", plan, site=Site(port=0), announce=lambda _: None)
    assert isinstance(opened, WebDisplay)
    for event in events()[:20]:
        opened.tell(event)
    yield opened
    opened.close()


def test_an_event_is_in_the_page_within_the_limit(
    benchmark: BenchmarkFixture, browser: Browser, display: WebDisplay
) -> None:
    """While the level is told thirty times a second, as in a session."""
    browser.open(display.address)
    browser.wait("document.body.dataset.link === 'on'")
    browser.run(WATCH)
    reading = next(e for e in events() if isinstance(e.event, ReadingTaken))
    taken = reading.event
    assert isinstance(taken, ReadingTaken)
    told: dict[str, float] = {}

    def tell(number: int) -> None:
        told[str(number)] = time.time() * 1000
        take = Reading(quantity(number, "V"), number=Decimal(number))
        display.tell(replace(reading, event=replace(taken, entry=replace(taken.entry, take=take))))

    rng = np.random.default_rng(5)
    numbers = iter(range(1000, 1000 + UPDATES))

    def between() -> tuple[tuple[int], dict[str, object]]:
        for _ in range(3):
            display.tell(told_only(SoundLevel(rng.random(), turn="listening")))
            time.sleep(0.033)
        return (next(numbers),), {}

    benchmark.pedantic(tell, setup=between, rounds=UPDATES)
    last = str(999 + UPDATES)
    browser.wait(f"window.painted[{last!r}]")
    for name in ("changed", "painted"):
        there = browser.run(f"return window.{name}")
        late = np.array([there[value] - at for value, at in told.items()])
        p50, p95 = np.percentile(late, [50, 95])
        benchmark.extra_info[name] = {
            "p50_ms": round(p50, 1),
            "p95_ms": round(p95, 1),
            "worst_ms": round(late.max(), 1),
            "p95_of_limit": round(p95 / LIMIT, 3),
        }
        assert p95 < LIMIT


def test_a_terminal_is_drawn(benchmark: BenchmarkFixture) -> None:
    glance = replace(view_after("point six"), level=0.5)
    benchmark(screen, glance, 80, 24)
