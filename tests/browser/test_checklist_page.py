"""The checklist's page in a real Chromium: width, colours, print; WCAG 2.2 AA as far as axe-core tells."""

from __future__ import annotations

import base64
import io
from pathlib import Path

import pytest
from axe_core_python.selenium import Axe
from pypdf import PdfReader
from selenium import webdriver

from audit.report.html import page
from audit.report.pictures import PictureTask, make_pictures
from audit.settings import Settings
from tests.browser.conftest import Browser
from tests.report import samples
from tests.report.test_overlay import crowded_page

pytestmark = pytest.mark.browser


@pytest.fixture
def file(tmp_path: Path) -> str:
    look = samples.write_photo(tmp_path / "a.jpg")
    made = make_pictures(PictureTask(tmp_path / "a.jpg", look, tmp_path, 800, 300, Settings()))
    assert made is not None
    text = "".join(
        page(samples.checklist(look), lambda e: (tmp_path, made) if e.file == "a.jpg" else None)
    )
    (tmp_path / "checklist.html").write_text(text, encoding="utf-8")
    return (tmp_path / "checklist.html").as_uri()


def unfold(driver: webdriver.Chrome) -> None:
    driver.execute_script(
        "document.querySelectorAll('.fold-head input:not(:checked)').forEach(e => e.click())"
    )


@pytest.mark.parametrize("width", [1280, 360])
@pytest.mark.parametrize("dark", [False, True])
def test_fits_its_width_and_has_no_barrier(
    file: str, browser: Browser, width: int, dark: bool
) -> None:
    driver = browser(width=width, dark=dark)
    driver.get(file)
    unfold(driver)
    assert driver.execute_script("return document.documentElement.scrollWidth") <= width
    found = Axe().run(driver)["violations"]
    assert not found, [(v["id"], [n["html"][:160] for n in v["nodes"]][:3]) for v in found]
    assert driver.get_log("browser") == []


def test_nothing_covers_the_photo(file: str, browser: Browser) -> None:
    driver = browser()
    driver.get(file)
    covered = driver.execute_script(
        """const photo = document.querySelector('.frame').getBoundingClientRect();
        return [...document.querySelectorAll('.tag, .switches, figcaption')].filter(e => {
          const b = e.getBoundingClientRect();
          return b.width && b.left < photo.right - 1 && b.right > photo.left + 1
            && b.top < photo.bottom - 1 && b.bottom > photo.top + 1;
        }).map(e => e.outerHTML.slice(0, 120));"""
    )
    assert covered == []


@pytest.fixture
def crowded(tmp_path: Path) -> str:
    (tmp_path / "checklist.html").write_text(crowded_page(tmp_path, 40), encoding="utf-8")
    return (tmp_path / "checklist.html").as_uri()


@pytest.mark.parametrize("width", [1280, 700, 360])
def test_numbers_in_the_margins_keep_apart(crowded: str, browser: Browser, width: int) -> None:
    driver = browser(width=width)
    driver.get(crowded)
    met = driver.execute_script(
        """const at = [...document.querySelectorAll('.margin .tag')].map(e => e.getBoundingClientRect());
        return [at.length, at.filter((a, i) => at.some((b, j) => i < j
          && a.left < b.right && b.left < a.right && a.top < b.bottom && b.top < a.bottom)).length];"""
    )
    assert met == [22, 0]


def test_places_beyond_the_margins_are_outlined_on_request_and_on_paper(
    crowded: str, browser: Browser
) -> None:
    driver = browser()
    driver.get(crowded)
    shown = "return getComputedStyle(document.querySelector('.over .rest')).display !== 'none'"
    assert not driver.execute_script(shown)
    driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    assert driver.execute_script(shown)
    driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "screen"})
    driver.execute_script("document.querySelector('.s-rest').click()")
    assert driver.execute_script(shown)
    driver.execute_script("document.querySelector('.s-lines').click()")
    place = "return getComputedStyle(document.querySelector('.over .rest .place')).visibility"
    assert driver.execute_script(place) == "visible"


def test_outlines_can_be_switched_off(file: str, browser: Browser) -> None:
    driver = browser()
    driver.get(file)
    shown = "return getComputedStyle(document.querySelector('.over .place')).visibility"
    assert driver.execute_script(shown) == "visible"
    driver.execute_script("document.querySelector('.s-lines').click()")
    assert driver.execute_script(shown) == "hidden"


def test_prints_on_a4_with_what_is_folded_away_on_screen(file: str, browser: Browser) -> None:
    driver = browser()
    driver.get(file)
    printed = driver.execute_cdp_cmd("Page.printToPDF", {"preferCSSPageSize": True})
    reader = PdfReader(io.BytesIO(base64.b64decode(printed["data"])))
    # ISO 216: A4 is 210 mm x 297 mm; a point is 1/72 of an inch of 25.4 mm.
    width, height = (float(v) * 25.4 / 72 for v in reader.pages[0].mediabox[2:])
    assert (width, height) == (pytest.approx(210, abs=1), pytest.approx(297, abs=1))
    text = " ".join(p.extract_text() for p in reader.pages)
    assert "Is cpc-unsleeved as it should be?" in text
    assert "Is core-outside-enclosure as it should be?" in text
    assert "seen on site" in text
