"""Headless Chromium for the tests of the page, with a sine of 1 kHz as its microphone."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
import pytest
import soundfile

from handsfree.display.web import WebScreen

FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--ignore-certificate-errors",
    "--use-fake-device-for-media-stream",
    "--use-fake-ui-for-media-stream",
]

#: Width and height in CSS pixels, and millimetres in one: of a phone of 460 and of a tablet of
#: 264 pixels an inch, which have 3 and 2 of them in a CSS pixel.
PHONE, LANDSCAPE, SHORT, TABLET = (390, 844), (844, 390), (390, 664), (820, 1180)
PHONE_MM, TABLET_MM = 3 * 25.4 / 460, 2 * 25.4 / 264


class Browser:
    """One page in Chromium."""

    def __init__(self, driver: Any) -> None:
        self.driver = driver

    def open(self, address: str, size: tuple[int, int] = PHONE, light: str = "light") -> None:
        """Open a page afresh, as on a screen of this size that is set to light or dark."""
        width, height = size
        screen = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": True}
        self.driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", screen)
        self.media({"prefers-color-scheme": light})
        self.driver.get(address)

    def media(self, features: dict[str, str]) -> None:
        given = [{"name": name, "value": value} for name, value in features.items()]
        self.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": given})

    def run(self, script: str, *arguments: object) -> Any:
        return self.driver.execute_script(script, *arguments)

    def wait(self, script: str, seconds: float = 10) -> Any:
        """What an expression gives once it is true."""
        from selenium.webdriver.support.ui import WebDriverWait

        return WebDriverWait(self.driver, seconds, 0.02).until(
            lambda _: self.run(f"return {script}")
        )

    def settle(self) -> None:
        """Wait until what was changed has been laid out and painted."""
        frames = "const [done] = arguments; requestAnimationFrame(() => setTimeout(done, 0))"
        for _ in range(2):
            self.driver.execute_async_script(frames)

    def text(self, name: str) -> str:
        return str(self.run("return document.getElementById(arguments[0]).innerText", name))

    def complaints(self) -> list[str]:
        """What the browser has written to its console, such as broken policies."""
        return [entry["message"] for entry in self.driver.get_log("browser")]


@contextmanager
def chromium() -> Iterator[Browser]:
    """A browser; the test is skipped where there is none."""
    webdriver = pytest.importorskip("selenium.webdriver", reason="selenium is not installed")
    program, driver = shutil.which("chromium"), shutil.which("chromedriver")
    if not program or not driver:
        pytest.skip("chromium and chromium-driver are not installed")
    with TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        tone = Path(folder) / "tone.wav"
        soundfile.write(tone, 0.5 * np.sin(2 * np.pi * 1000 * np.arange(48_000) / 48_000), 48_000)
        options = webdriver.ChromeOptions()
        options.binary_location = program
        for flag in [
            *FLAGS,
            f"--user-data-dir={folder}/profile",
            f"--use-file-for-fake-audio-capture={tone}",
        ]:
            options.add_argument(flag)
        options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
        service = webdriver.ChromeService(executable_path=driver)
        started = webdriver.Chrome(options=options, service=service)
        try:
            yield Browser(started)
        finally:
            started.quit()


def address(served: WebScreen, scheme: str = "http", host: str = "127.0.0.1") -> str:
    return f"{scheme}://{host}:{served.port}/"


def open_unpaired(browser: Browser, served: WebScreen) -> None:
    """The page as a browser has it that was never given the code."""
    browser.open(address(served))
    browser.run("sessionStorage.clear()")
    browser.open(address(served))


def give(browser: Browser, code: str) -> None:
    field = browser.driver.find_element("id", "code")
    browser.wait("document.getElementById('pair').checkVisibility()")
    field.send_keys(code + "\n")
