"""Pages of sheets and course in a real Chromium: width, colours, print; axe-core finds nothing."""

from __future__ import annotations

import base64
import io
from pathlib import Path

import pytest
from axe_core_python.selenium import Axe
from pypdf import PdfReader

from audit.settings import Settings
from audit.training.lessons.make import Choice, course_files, from_practice, sheet_files
from tests.browser.conftest import Browser

pytestmark = pytest.mark.browser
PAGES = ("lesson-handout", "lesson-answers", "course", "course-answers")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("lessons")
    files = {**sheet_files(from_practice(Choice(), Settings()).sheets), **course_files(Settings())}
    for name, data in files.items():
        (out / name).write_bytes(data)
    return out


@pytest.mark.parametrize("width", [1280, 360])
@pytest.mark.parametrize("dark", [False, True])
def test_fits_its_width_and_has_no_barrier(
    folder: Path, browser: Browser, width: int, dark: bool
) -> None:
    driver = browser(width=width, dark=dark)
    for name in PAGES:
        driver.get((folder / f"{name}.html").as_uri())
        assert driver.execute_script("return document.documentElement.scrollWidth") <= width, name
        found = Axe().run(driver)["violations"]
        assert not found, (
            name,
            [(v["id"], [n["html"][:160] for n in v["nodes"]][:3]) for v in found],
        )
        assert driver.get_log("browser") == []
        ground = driver.execute_script("return getComputedStyle(document.body).backgroundColor")
        red = int(ground.split("(")[1].split(",")[0])
        assert (red < 80) == dark


def test_pictures_are_all_there(folder: Path, browser: Browser) -> None:
    driver = browser()
    for name in PAGES:
        driver.get((folder / f"{name}.html").as_uri())
        broken = driver.execute_script(
            "return [...document.images].filter(i => !i.complete || i.naturalWidth < 100).length"
        )
        assert broken == 0


def test_the_course_prints_a_lesson_on_a_page_or_two(folder: Path, browser: Browser) -> None:
    driver = browser()
    driver.get((folder / "course.html").as_uri())
    made = driver.execute_cdp_cmd("Page.printToPDF", {"preferCSSPageSize": True})
    reader = PdfReader(io.BytesIO(base64.b64decode(made["data"])))
    assert 10 <= len(reader.pages) <= 22
    for page in reader.pages:
        assert len(page.extract_text()) > 150, "no page with a line or two"
