"""The history's page in a real Chromium: width, colours, print; WCAG 2.2 AA as far as axe-core tells."""

from __future__ import annotations

import base64
import io

import pytest
from axe_core_python.selenium import Axe
from pypdf import PdfReader

from audit.record.keys import make_key
from audit.sampling.gather import gather
from audit.sampling.history import histories
from audit.sampling.page import page
from tests.browser.conftest import Browser
from tests.sampling.jobs import CHECKS, signed_job

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> str:
    base = tmp_path_factory.mktemp("history")
    signer = make_key(base / "mine.pem", "several words together")
    declared = f"fitting,check,says\nF01,{CHECKS[1]},fault\nF02,{CHECKS[1]},no fault\n"
    jobs = [
        signed_job(
            base / f"a-job-with-a-name-of-some-length-{n}", signer, month=f"2026-{n:02d}",
            faults=[f"{CHECKS[1]}:F{k:02d}" for k in range(1, 7 if n == 3 else 2)],
            declared=declared, by="Apprentice 1" if n % 4 else "Apprentice 2", seed=n,
        )
        for n in range(1, 10)
    ]  # fmt: skip
    found = gather([*jobs, base / "nowhere"])
    target = base / "history.html"
    text = page(histories(found.judged), found, "p", keys_given=False, hidden=False)
    target.write_text(text, encoding="utf-8")
    return target.as_uri()


@pytest.mark.parametrize("width", [1280, 360])
@pytest.mark.parametrize("dark", [False, True])
def test_fits_its_width_and_has_no_barrier(
    file: str, browser: Browser, width: int, dark: bool
) -> None:
    driver = browser(width=width, dark=dark)
    driver.get(file)
    assert driver.execute_script("return document.documentElement.scrollWidth") <= width
    # Texts of the drawing stay readable: 11 px and more on the screen, at either width.
    least = driver.execute_script(
        "return Math.min(...[...document.querySelectorAll('main svg.chart text')]"
        ".map(t => t.getBoundingClientRect()).filter(r => r.width).map(r => r.height))"
    )
    assert least >= 11
    found = Axe().run(driver)["violations"]
    assert not found, [(v["id"], v["nodes"][0]["html"][:120]) for v in found]


def test_prints_each_fitter_on_pages_of_their_own(file: str, browser: Browser) -> None:
    driver = browser()
    driver.get(file)
    printed = driver.execute_cdp_cmd("Page.printToPDF", {"preferCSSPageSize": True})
    pages = [
        p.extract_text() for p in PdfReader(io.BytesIO(base64.b64decode(printed["data"]))).pages
    ]
    one = next(n for n, t in enumerate(pages) if "Apprentice 1" in t)
    two = next(n for n, t in enumerate(pages) if "Apprentice 2" in t)
    assert one < two
    assert "A help to teach" in pages[0]
