"""The page over all jobs in a real browser: searched, played, corrected, compared, counted."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from display_browser import PHONE, Browser, chromium
from review_jobs import TITLE, workshop
from review_server import Served

from handsfree.log import JobRecord, verify
from handsfree.review.index import JobIndex, Wanted
from handsfree.review.jobs import Shop
from handsfree.review.tables import local_engine

DESK = (1280, 900)


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as started:
        yield started


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    folder = tmp_path_factory.mktemp("shop")
    shop = Shop(workshop(folder / "jobs"), JobIndex(local_engine(folder / "index.sqlite")))
    shop.look()
    served = Served(shop)
    served.shop = shop  # type: ignore[attr-defined]
    yield served
    served.close()


def jobs(page: Served) -> dict[str, Any]:
    shop: Shop = page.shop  # type: ignore[attr-defined]
    return {row.folder: row for row in shop.index.find(Wanted()).jobs}


def fill(browser: Browser, selector: str, text: str) -> None:
    from selenium.webdriver.common.by import By

    field = browser.driver.find_element(By.CSS_SELECTOR, selector)
    field.clear()
    field.send_keys(text)


def press(browser: Browser, selector: str) -> None:
    from selenium.webdriver.common.by import By

    browser.driver.find_element(By.CSS_SELECTOR, selector).click()


def shown(browser: Browser) -> str:
    return str(browser.run("return document.querySelector('main').innerText"))


def test_a_job_is_searched_and_opened(browser: Browser, page: Served) -> None:
    browser.open(page.address + "/", DESK)
    assert browser.text("total") == "3 jobs"
    fill(browser, "[name=words]", "rust connec")
    press(browser, "form.find button")
    browser.wait("document.getElementById('total').innerText === '1 job'")
    assert "rust at the connector" in shown(browser)
    press(browser, "tbody th a")
    browser.wait("document.querySelector('h1').innerText === 'Panel van, fleet no. 12'")
    assert "over limit" in shown(browser)


def test_the_sound_of_a_reading_is_played(browser: Browser, page: Served) -> None:
    browser.open(f"{page.address}/job/{jobs(page)['one'].id}", DESK)
    press(browser, "h1")  # a browser plays nothing before somebody touches the page
    browser.run("document.querySelector('tbody audio').play()")
    browser.wait("document.querySelector('tbody audio').currentTime > 0.05")
    assert browser.run("return document.querySelector('tbody audio').duration") == pytest.approx(
        0.5
    )
    assert browser.complaints() == []


def test_a_value_is_corrected_and_the_job_marked(browser: Browser, page: Served) -> None:
    browser.open(f"{page.address}/job/{jobs(page)['two'].id}", DESK)
    press(browser, "#r3 summary")
    fill(browser, "#r3 [name=value]", "4.89 V")
    fill(browser, "#r3 [name=by]", "Ada")
    fill(browser, "#r3 [name=reason]", "she says eight nine")
    press(browser, "#r3 button")
    browser.wait("location.hash === '#r3' && document.body.innerText.includes('4.89 V')")
    assert "put right by Ada: she says eight nine" in shown(browser)
    assert browser.run("return document.querySelector('#r3 s').innerText") == "4.98 V"
    assert browser.run("return document.querySelector('form.add [name=by]').value") == "Ada"
    fill(browser, "form.add [name=remark]", "fine now")
    press(browser, "form.add button")
    browser.wait("document.body.innerText.includes('Ada: fine now')")
    folder = page.shop.jobs / "two"  # type: ignore[attr-defined]
    assert verify(folder).ok
    assert JobRecord.read(folder).reviews[0][1].by == "Ada"


def test_two_jobs_are_held_side_by_side(browser: Browser, page: Served) -> None:
    browser.open(f"{page.address}/job/{jobs(page)['one'].id}", DESK)
    browser.run(
        "document.querySelector('[name=other]').value = arguments[0]", jobs(page)["three"].id
    )
    press(browser, "form[action='/compare'] button")
    browser.wait("document.querySelector('h1').innerText.startsWith('Two jobs')")
    assert "not measured" in shown(browser)
    assert shown(browser).count("12.6 V") == 2


def test_what_is_usual_is_drawn_with_this_job_marked(browser: Browser, page: Served) -> None:
    browser.open(f"{page.address}/job/{jobs(page)['one'].id}", DESK)
    press(browser, "p.doors a")
    browser.wait("document.querySelectorAll('svg.strip .mark').length > 3")
    label = browser.run("return document.querySelector('svg.strip').getAttribute('aria-label')")
    assert "this job" in label
    press(browser, "main p a")
    browser.wait("document.querySelector('h1').innerText === 'Panel van, fleet no. 12'")
    press(browser, "dd a")
    browser.wait("document.querySelector('h1').innerText === 'Idris'")
    assert TITLE in shown(browser)


def addresses(page: Served) -> dict[str, str]:
    from urllib.parse import quote

    one, other = jobs(page)["one"].id, jobs(page)["two"].id
    return {
        "list": "/?words=volt",
        "job": f"/job/{one}",
        "compare": f"/compare?one={one}&other={other}",
        "plan": f"/plan?title={quote(TITLE)}&job={one}",
        "person": "/person?name=Noor",
        "pair": "/pair",
        "wrong": "/nowhere/at/all",
    }


@pytest.mark.parametrize("light", ["light", "dark"])
@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
def test_axe_finds_nothing(
    browser: Browser, page: Served, size: tuple[int, int], light: str
) -> None:
    """axe-core by Deque: the rules of WCAG to level AA, and best practice."""
    axe = pytest.importorskip("axe_core_python.selenium", reason="axe-core-python is missing").Axe()
    tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
    for name, path in addresses(page).items():
        browser.open(page.address + path, size, light)
        browser.run("document.querySelectorAll('details').forEach((one) => one.open = true)")
        result = axe.run(browser.driver, options={"runOnly": tags})
        assert result["passes"]
        found = [(v["id"], v["impact"], v["nodes"][0]["html"]) for v in result["violations"]]
        assert found == [], name
        wide = "return document.documentElement.scrollWidth"
        assert browser.run(wide) <= size[0], name


def test_the_browser_has_nothing_to_complain_of(browser: Browser, page: Served) -> None:
    """No policy is broken, no file is missing, no script is there."""
    browser.complaints()
    for name, path in addresses(page).items():
        browser.open(page.address + path, DESK)
        assert browser.run("return document.scripts.length") == 0
        expected = 1 if name == "wrong" else 0  # the status 404 itself
        assert len(browser.complaints()) == expected, name


def test_pictures(browser: Browser, page: Served, tmp_path: Path) -> None:
    """A picture of each page is made; set PICTURES to keep them."""
    import os

    folder = Path(os.environ.get("PICTURES", tmp_path))
    for name, path in addresses(page).items():
        for size, kind in ((DESK, "desk"), (PHONE, "phone")):
            browser.open(page.address + path, size)
            taken = browser.driver.execute_cdp_cmd(
                "Page.captureScreenshot", {"captureBeyondViewport": True}
            )
            import base64

            data = base64.b64decode(taken["data"])
            (folder / f"{name}-{kind}.png").write_bytes(data)
            assert data.startswith(b"\x89PNG")
