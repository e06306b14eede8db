"""The page in a real browser: legible, labelled, live, and closed to strangers."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from dataclasses import replace

import pytest
from display_browser import (
    LANDSCAPE,
    PHONE,
    PHONE_MM,
    SHORT,
    TABLET,
    TABLET_MM,
    Browser,
    address,
    chromium,
    give,
    open_unpaired,
)
from display_session import SAID, view, view_after

from handsfree.display import Glance
from handsfree.display.pairing import Pairing
from handsfree.display.phone import Phone
from handsfree.display.web import WebScreen

#: Seconds of arc that 20/20 vision resolves five times over in a letter: 5 minutes of arc.
#: ISO 9241-303 recommends 20 to 22 minutes for comfortable reading (from memory).
COMFORTABLE = 20
AWAY = 2000  # millimetres


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as started:
        yield started


@pytest.fixture(scope="module")
def screen() -> Iterator[WebScreen]:
    served = WebScreen(view(0), phone=Phone(), pairing=Pairing())
    yield served
    served.close()


def show(browser: Browser, served: WebScreen, glance: Glance) -> None:
    """Show a view and wait until it is there."""
    mark = next(_MARKS)
    served.show(replace(glance, title=mark))
    browser.wait(f"document.getElementById('title').textContent === {mark!r}")
    browser.settle()


_MARKS = (f"Flap actuator {n}" for n in itertools.count())

#: Views that look different.
LOOKS = ["twelve point six volts", "point six", "strike that", "four nine", "four volts", "pause"]


@pytest.fixture(params=["light", "dark"])
def light(request: pytest.FixtureRequest) -> str:
    return str(request.param)


def looks() -> list[Glance]:
    found = [view_after(said) for said in LOOKS]
    found += [view(SAID.index("repair done")), view(len(SAID))]
    marginal = replace(found[1].value, verdict="marginal", mark="marginal")  # type: ignore[type-var]
    lost = replace(found[1], value=marginal, sound="lost", level=0.4, turn="listening")
    return [*found, lost, replace(found[0], heard="um", understood=False)]


# What is shown ----------------------------------------------------------------------------------


def test_the_wire_the_value_and_its_verdict(browser: Browser, screen: WebScreen) -> None:
    browser.open(address(screen))
    show(browser, screen, view_after("point six"))
    assert browser.text("progress") == "Step 6 of 18"
    assert " ".join(browser.text("wires").split()) == "Blue with red stripe pin 1, hot drive"
    assert browser.text("condition") == "heating up"
    assert browser.text("expected") == "battery voltage"
    assert browser.text("caution") == "The flap moves now. Fingers out of the linkage."
    assert browser.text("whose") == "Last: white with green stripe"
    assert browser.text("fit").split() == ["0.6", "V"]
    assert browser.text("verdict").lower().split() == ["low", "by", "3.4", "v"]
    assert browser.text("heard") == "Heard “point six”"


def test_the_wire_is_shown_in_its_colours(browser: Browser, screen: WebScreen) -> None:
    browser.open(address(screen))
    wires = view_after("point six").wires
    show(browser, screen, view_after("point six"))
    colours = browser.run(
        "const look = document.querySelector('.wire .look');"
        "return [getComputedStyle(look), getComputedStyle(look, '::after')]"
        ".map((style) => style.backgroundColor)"
    )
    assert [_hexadecimal(colour) for colour in colours] == list(wires[0].look)


def _hexadecimal(colour: str) -> str:
    parts = colour.removeprefix("rgb(").removesuffix(")").split(", ")
    return "#" + "".join(f"{int(part):02x}" for part in parts)


def test_a_question_takes_the_screen(browser: Browser, screen: WebScreen) -> None:
    browser.open(address(screen))
    show(browser, screen, view_after("four nine"))
    assert browser.text("options").split() == ["first", "49", "kΩ", "second", "4.9", "kΩ"]
    assert not browser.run("return document.getElementById('last').checkVisibility()")
    show(browser, screen, view_after("the second"))
    assert browser.run("return document.getElementById('last').checkVisibility()")


def test_pause_lost_sound_and_the_end(browser: Browser, screen: WebScreen) -> None:
    browser.open(address(screen))
    show(browser, screen, view_after("pause"))
    assert browser.text("banner") == "Paused. Say “resume”."
    show(browser, screen, replace(view(3), sound="lost"))
    assert browser.text("banner") == "No microphone. The session waits for it."
    show(browser, screen, view(len(SAID)))
    assert browser.text("verdict").strip().lower() == "verified"
    assert "not sure" in browser.text("part").lower()


def test_values_that_are_old_say_so(browser: Browser) -> None:
    served = WebScreen(view_after("point six"))
    port = served.port
    browser.open(address(served))
    browser.wait("document.body.dataset.link === 'on'")
    served.close()
    browser.wait("document.getElementById('banner').checkVisibility()")
    assert browser.text("banner") == "No connection. What is shown is old."
    again = WebScreen(view_after("over limit"), port=port)
    browser.wait("document.body.dataset.link === 'on'", 20)
    browser.wait("document.getElementById('shown').textContent === 'over limit'")
    assert not browser.run("return document.getElementById('banner').checkVisibility()")
    again.close()


# Legible ----------------------------------------------------------------------------------------

#: The lowest contrast of any text that is seen, by the computed styles (WCAG 2.2, 1.4.6).
CONTRASTS = """
const channel = (c) => (c /= 255) <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4;
const parts = (colour) => colour.match(/[\\d.]+/g).map(Number);
const luminance = ([r, g, b]) =>
  0.2126 * channel(r) + 0.7152 * channel(g) + 0.0722 * channel(b);
const ground = (element) => {
  for (let at = element; at; at = at.parentElement) {
    const colour = parts(getComputedStyle(at).backgroundColor);
    if (colour.length === 3 || colour[3] > 0) return colour;
  }
};
const found = [];
const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
while (walker.nextNode()) {
  const { parentElement: element, textContent } = walker.currentNode;
  if (!textContent.trim() || !element.checkVisibility()) continue;
  const [low, high] = [parts(getComputedStyle(element).color), ground(element)]
    .map(luminance).sort((a, b) => a - b);
  found.push([(high + 0.05) / (low + 0.05), element.id || element.className, textContent]);
}
return found;
"""


def test_every_text_has_a_contrast_of_seven_to_one(
    browser: Browser, screen: WebScreen, light: str
) -> None:
    browser.open(address(screen), light=light)
    for glance in looks():
        show(browser, screen, glance)
        found = browser.run(CONTRASTS)
        assert len(found) > 4
        assert min(found)[0] >= 7, min(found)


@pytest.mark.parametrize(
    ("size", "mm"), [(PHONE, PHONE_MM), (LANDSCAPE, PHONE_MM), (TABLET, TABLET_MM)], ids=str
)
def test_a_value_is_read_in_comfort_from_two_metres(
    browser: Browser, screen: WebScreen, size: tuple[int, int], mm: float
) -> None:
    """The height of the digits in minutes of arc; 0.7 em in this typeface (its OS/2 table)."""
    browser.open(address(screen), size)
    for said in ("twelve point six volts", "violet four point nine eight", "one point two k"):
        show(browser, screen, view_after(said))
        browser.run("return document.fonts.ready")
        em = browser.run(
            "return parseFloat(getComputedStyle(document.getElementById('shown')).fontSize)"
        )
        minutes = math.degrees(math.atan(0.7 * em * mm / AWAY)) * 60
        assert minutes >= COMFORTABLE, (said, minutes)


@pytest.mark.parametrize("size", [PHONE, LANDSCAPE, SHORT, TABLET, TABLET[::-1]], ids=str)
def test_everything_is_on_one_screen(
    browser: Browser, screen: WebScreen, size: tuple[int, int]
) -> None:
    browser.open(address(screen), size)
    width, height = size
    for glance in looks():
        show(browser, screen, replace(glance, level=0.5))
        whole = browser.run(
            "const {scrollWidth, scrollHeight} = document.documentElement;"
            "return [scrollWidth, scrollHeight]"
        )
        assert whole[0] <= width
        assert whole[1] <= height, (whole, glance)
        inside = browser.run(
            "const box = document.getElementById('value').getBoundingClientRect();"
            "const fit = document.getElementById('fit').getBoundingClientRect();"
            "return fit.width <= box.width + 1 && fit.height <= box.height * 1.1 + 1"
        )
        assert inside, glance.value


def test_the_typeface_is_the_pages_own(browser: Browser, screen: WebScreen) -> None:
    browser.open(address(screen))
    show(browser, screen, view_after("one point two k"))
    browser.wait("document.fonts.status === 'loaded'")
    assert browser.run("return document.fonts.check('700 40px Barlow', '4.98 kΩ')")


def test_nothing_moves_where_motion_is_unwanted(browser: Browser, screen: WebScreen) -> None:
    browser.open(address(screen))
    show(browser, screen, view_after("point six"))
    moving = (
        "return [getComputedStyle(document.querySelector('#level span')).transitionDuration,"
        "getComputedStyle(document.getElementById('fit')).animationName]"
    )
    assert browser.run(moving) == ["0.12s", "arrive"]
    browser.media({"prefers-reduced-motion": "reduce"})
    assert browser.run(moving) == ["0s", "none"]


# Labelled ---------------------------------------------------------------------------------------


def test_axe_finds_nothing(browser: Browser, screen: WebScreen, light: str) -> None:
    """axe-core by Deque: the rules of WCAG to level AAA, contrast of 7:1 among them."""
    axe = pytest.importorskip("axe_core_python.selenium", reason="axe-core-python is missing").Axe()
    browser.open(address(screen), light=light)
    tags = ["wcag2a", "wcag2aa", "wcag2aaa", "wcag21a", "wcag21aa", "best-practice"]
    for glance in looks():
        show(browser, screen, glance)
        result = axe.run(browser.driver, options={"runOnly": tags})
        assert result["passes"]
        assert [(v["id"], v["nodes"][0]["html"]) for v in result["violations"]] == []


def _tree(browser: Browser) -> list[tuple[str, str]]:
    """Role and name of every part that a screen reader finds."""
    nodes = browser.driver.execute_cdp_cmd("Accessibility.getFullAXTree", {})["nodes"]
    return [
        (node["role"]["value"], node.get("name", {}).get("value", ""))
        for node in nodes
        if not node["ignored"]
    ]


def test_a_screen_reader_finds_the_parts_by_name(browser: Browser, screen: WebScreen) -> None:
    browser.open(address(screen))
    show(browser, screen, replace(view_after("point six"), level=0.4))
    tree = _tree(browser)
    for part in [
        ("meter", "Sound level"),
        ("region", "To do now"),
        ("status", "Last value"),
        ("button", "Use as headset"),
        ("button", "Dark screen"),
    ]:
        assert part in tree
    live = browser.run(
        "const last = document.getElementById('last');"
        "return [last.getAttribute('aria-live'), last.getAttribute('aria-atomic')]"
    )
    assert live == ["polite", "true"]
    level = browser.run("return document.getElementById('level').getAttribute('aria-valuenow')")
    assert level == "40"


def test_the_keyboard_reaches_every_button(browser: Browser, screen: WebScreen) -> None:
    from selenium.webdriver import ActionChains, Keys

    browser.open(address(screen))
    show(browser, screen, view_after("point six"))
    reached = []
    for _ in range(2):
        ActionChains(browser.driver).send_keys(Keys.TAB).perform()
        reached.append(browser.run("return document.activeElement.id"))
        outline = browser.run("return getComputedStyle(document.activeElement).outlineWidth")
        assert float(outline.removesuffix("px")) >= 3
    assert reached == ["microphone", "light"]
    ActionChains(browser.driver).send_keys(Keys.ENTER).perform()
    assert browser.run("return document.documentElement.dataset.light") == "dark"
    assert browser.text("light") == "Bright screen"
    browser.driver.refresh()
    browser.wait("document.documentElement.dataset.light === 'dark'")
    browser.run("localStorage.clear()")


def test_the_browser_does_not_complain(browser: Browser, screen: WebScreen) -> None:
    browser.complaints()
    browser.open(address(screen))
    for glance in looks():
        show(browser, screen, glance)
    assert browser.complaints() == []


# Closed to strangers ----------------------------------------------------------------------------


@pytest.fixture
def pairing() -> Pairing:
    return Pairing()


@pytest.fixture
def shared(pairing: Pairing, monkeypatch: pytest.MonkeyPatch) -> Iterator[WebScreen]:
    """A page that takes this machine for another one."""
    monkeypatch.setattr("handsfree.display.web._from_here", lambda _: False)
    served = WebScreen(view_after("point six"), pairing=pairing, phone=Phone())
    yield served
    served.close()


def test_the_page_is_empty_until_the_code_is_given(
    browser: Browser, shared: WebScreen, pairing: Pairing
) -> None:
    open_unpaired(browser, shared)
    browser.wait("document.getElementById('pair').checkVisibility()")
    assert "0.6" not in browser.run("return document.documentElement.textContent")
    assert min(browser.run(CONTRASTS))[0] >= 7
    give(browser, "12")
    browser.wait("document.getElementById('pair-answer').textContent !== ''")
    assert browser.text("pair-answer") == "That code is not taken."
    assert not browser.run("return document.getElementById('glance').checkVisibility()")
    give(browser, f"{pairing.code[:4]} {pairing.code[4:].lower()}")
    browser.wait("document.getElementById('shown').textContent === '0.6'")
    browser.driver.refresh()
    browser.wait("document.getElementById('shown').textContent === '0.6'")
    browser.run("sessionStorage.clear()")


def test_a_scanned_code_opens_the_page_and_leaves_the_address(
    browser: Browser, shared: WebScreen, pairing: Pairing
) -> None:
    browser.open(f"{address(shared)}#code={pairing.code}")
    browser.wait("document.getElementById('shown').textContent === '0.6'")
    assert pairing.code not in browser.driver.current_url
    browser.run("sessionStorage.clear()")
