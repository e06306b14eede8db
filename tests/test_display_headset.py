"""The page in a real browser as the headset: its microphone is heard here, the voice there.

Sound flows in real time, and nothing of it may be lost.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from display_browser import Browser, address, chromium, give, open_unpaired
from display_session import view

from handsfree.display.certificate import local_certificate
from handsfree.display.pairing import Pairing
from handsfree.display.phone import Phone
from handsfree.display.web import WebScreen
from handsfree.display.web_display import own_address
from handsfree.errors import BadInput
from handsfree.sound.blocks import Block
from handsfree.sound.card import Opened, Said

#: What a headset's page gives.
HEADSET = Pairing()


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as started:
        yield started


@pytest.fixture(scope="module")
def phone() -> Phone:
    return Phone()


@pytest.fixture(scope="module")
def screen(phone: Phone) -> Iterator[WebScreen]:
    served = WebScreen(view(0), phone=phone, pairing=HEADSET)
    yield served
    served.close()


def listen(browser: Browser, phone: Phone) -> Opened:
    browser.wait("document.getElementById('microphone').checkVisibility()")
    browser.driver.find_element("id", "microphone").click()
    browser.wait("document.getElementById('microphone').ariaPressed === 'true'")
    opened = next(m for m in phone.messages() if isinstance(m, Opened))
    assert opened.microphone == "phone"
    return opened


def heard(phone: Phone, blocks: int) -> np.ndarray[Any, Any]:
    found: list[Block] = []
    for message in phone.messages():
        if isinstance(message, Block):
            found.append(message)
        if len(found) == blocks:
            break
    assert not any(block.lost for block in found)
    return np.concatenate([block.samples for block in found])


def frequency(sound: np.ndarray[Any, Any]) -> float:
    spectrum = np.abs(np.fft.rfft(sound * np.hanning(len(sound))))
    return float(np.argmax(spectrum) * 16_000 / len(sound))


def test_a_page_on_this_machine_must_give_the_code_to_be_the_headset(
    browser: Browser, screen: WebScreen, phone: Phone
) -> None:
    open_unpaired(browser, screen)
    browser.wait("document.getElementById('microphone').checkVisibility()")
    browser.driver.find_element("id", "microphone").click()
    browser.wait("document.getElementById('pair').checkVisibility()")
    assert browser.text("hint") == "Give the code that the terminal shows, then press again."
    give(browser, HEADSET.code)
    browser.wait("!document.getElementById('pair').checkVisibility()")
    listen(browser, phone)
    browser.driver.find_element("id", "microphone").click()
    browser.wait("document.getElementById('microphone').ariaPressed === 'false'")
    browser.run("sessionStorage.clear()")


def test_the_microphone_of_the_page_is_heard_here(
    browser: Browser, screen: WebScreen, phone: Phone
) -> None:
    """The browser's fake microphone plays a sine of 1 kHz."""
    browser.open(f"{address(screen)}#code={HEADSET.code}")
    opened = listen(browser, phone)
    assert opened.rate == 16_000
    sound = heard(phone, 64)
    assert sound.dtype == np.float32
    assert frequency(sound[8192:]) == pytest.approx(1000, abs=4)
    assert 0.1 < np.sqrt(np.mean(sound[8192:] ** 2)) < 0.6
    browser.driver.find_element("id", "microphone").click()
    browser.wait("document.getElementById('microphone').ariaPressed === 'false'")


def test_the_voice_is_heard_there_and_marks_what_is_heard_meanwhile(
    browser: Browser, screen: WebScreen, phone: Phone
) -> None:
    browser.open(f"{address(screen)}#code={HEADSET.code}")
    listen(browser, phone)
    heard(phone, 2)
    for _ in range(2):
        phone.play(3, np.zeros(11_025, np.float32), 22_050)  # a second in two pieces
    phone.end(3)
    marked = 0
    for message in phone.messages():
        if isinstance(message, Block):
            marked += message.speaking
        if message == Said(3):
            break
    assert 20 <= marked <= 45  # a second is 31 blocks
    phone.play(4, np.zeros(220_500, np.float32), 22_050)
    phone.stop(4)
    following = (m for m in phone.messages() if not isinstance(m, Block))
    assert next(following) == Said(4)
    phone.restart()
    assert isinstance(next(m for m in phone.messages() if isinstance(m, Opened)), Opened)
    assert frequency(heard(phone, 48)[8192:]) == pytest.approx(1000, abs=4)


def test_a_page_that_is_not_secure_says_how_to_get_the_microphone(browser: Browser) -> None:
    host = _network()
    served = WebScreen(view(0), host="0.0.0.0", phone=Phone(), pairing=(pairing := Pairing()))
    browser.open(f"{address(served, host=host)}#code={pairing.code}")
    browser.wait("document.getElementById('microphone').checkVisibility()")
    assert browser.run("return document.getElementById('microphone').ariaDisabled") == "true"
    browser.driver.find_element("id", "microphone").click()
    assert "--https" in browser.text("hint")
    served.close()


def test_over_https_another_machine_can_be_the_headset(browser: Browser, tmp_path: Path) -> None:
    host = _network()
    certificate = local_certificate(tmp_path, {host})
    served = WebScreen(
        view(0),
        host="0.0.0.0",
        phone=(phone := Phone()),
        pairing=(pairing := Pairing()),
        context=certificate.context(),
    )
    browser.open(f"{address(served, 'https', host)}#code={pairing.code}")
    listen(browser, phone)
    assert frequency(heard(phone, 48)[8192:]) == pytest.approx(1000, abs=4)
    served.close()


def _network() -> str:
    try:
        return own_address()
    except BadInput:
        pytest.skip("this machine is in no network")
