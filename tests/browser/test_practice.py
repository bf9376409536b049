"""Practice from start to start: by keyboard alone, and by touch at phone width."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from selenium.webdriver import Chrome
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

from tests.browser.conftest import Browser
from tests.browser.hands import complaints, press, tab_to, text, wait
from tests.browser.practice_hands import (
    COPPER_AT,
    GRIP_AT,
    OUTSIDE_AT,
    Fingers,
    back_to,
    come_to,
    cross,
    cross_shows,
    focused,
    loaded,
    mark_by_keys,
    mark_by_touch,
    on_screen,
)  # fmt: skip
from tests.training.samples import Served, copy_set, serving

pytestmark = pytest.mark.browser


@pytest.fixture
def served(base: Path, tmp_path: Path) -> Iterator[Served]:
    with serving(copy_set(base, tmp_path / "set"), tmp_path / "r.sqlite") as found:
        yield found


def test_the_whole_walk_by_keyboard_alone(served: Served, browser: Browser) -> None:
    driver = browser(width=1280, height=900)
    driver.get(served.address)
    tab_to(driver, "#timed")
    press(driver, Keys.SPACE)
    assert driver.execute_script("return document.getElementById('timed').checked")
    back_to(driver, "#begin")
    press(driver, Keys.ENTER)
    come_to(driver, f"/look/{served.key('both faults')}")  # the easiest one comes first
    loaded(driver)
    _two_faults_by_keys(driver)
    assert served.practice.rounds() == ()
    tab_to(driver, "#show")
    press(driver, Keys.ENTER)
    come_to(driver, "/round/1")
    loaded(driver)
    assert text(driver, "h1") == "All found: 2 of 2."
    (kept,) = served.practice.rounds()
    assert kept.score.right
    assert kept.seconds is not None
    assert kept.given.marks[0].length_mm == 4.0
    _closer_by_keys(driver)
    _next_by_keys(driver)
    come_to(driver, "/look/")
    loaded(driver)
    tab_to(driver, "#nothing")
    press(driver, Keys.ENTER)
    come_to(driver, "/round/2")
    assert text(driver, "h1") == "Right: no fault is to be seen in this photo."
    _next_by_keys(driver)
    loaded(driver)
    tab_to(driver, "#unusable")
    press(driver, Keys.ENTER)
    come_to(driver, "/round/3")
    assert "can't be judged, since it is too dark" in text(driver, "h1")
    tab_to(driver, "#home")
    press(driver, Keys.ENTER)
    wait(lambda: "Nothing is due" in text(driver, ".now"))
    assert "1 of 1" in text(driver, ".own")
    assert not complaints(driver)


def _two_faults_by_keys(driver: Chrome) -> None:
    """Go closer, mark both faults and one place too many, take that away, nudge a mark."""
    tab_to(driver, "#stage")
    assert cross_shows(driver)
    press(driver, "+", "+")
    x, y, scale = cross(driver)
    assert scale > driver.execute_script("return document.getElementById('stage').clientWidth") / 800 * 1.3  # fmt: skip
    assert (round(x), round(y)) == (400, 300)
    mark_by_keys(driver, COPPER_AT, "Copper", "4,0")
    mark_by_keys(driver, GRIP_AT, "The grip")
    mark_by_keys(driver, (700, 100), "The CPC is bare")
    tab_to(driver, "#stage .handle:last-child")
    press(driver, Keys.DELETE)  # no fault there after all
    focused(driver, "#stage")
    assert len(driver.find_elements(By.CSS_SELECTOR, "#list li")) == 2
    tab_to(driver, "#stage .handle")
    press(driver, Keys.ARROW_RIGHT, Keys.ARROW_LEFT)
    press(driver, Keys.ENTER)
    focused(driver, "#kind-1")


def _closer_by_keys(driver: Chrome) -> None:
    """Look closer at the first line of the result, and read why it matters."""
    tab_to(driver, ".told-row [data-view]")
    press(driver, Keys.ENTER)
    wait(lambda: driver.find_elements(By.CSS_SELECTOR, ".viewer.near"))
    wait(lambda: driver.find_elements(By.CSS_SELECTOR, ".told-row.lit"))
    assert driver.find_elements(By.CSS_SELECTOR, ".over .lit")
    tab_to(driver, ".told-row summary")
    press(driver, Keys.ENTER)
    assert "BS 7671" in text(driver, ".told-row details[open]")


def _next_by_keys(driver: Chrome) -> None:
    back_to(driver, "#next")
    here = driver.current_url
    press(driver, Keys.ENTER)
    wait(lambda: driver.current_url != here)


def test_the_whole_walk_by_touch_on_a_phone(served: Served, browser: Browser) -> None:
    driver = browser(width=360, height=740)
    fingers = Fingers(driver)
    driver.get(served.address)
    fingers.on("#begin")
    come_to(driver, "/look/")
    loaded(driver)
    driver.execute_script("window.scrollTo(0, 0)")
    fingers.pinch(on_screen(driver, (400, 300)), 70)
    wait(lambda: cross(driver)[2] > 360 / 800 * 1.5, "closer")
    assert not driver.find_elements(By.CSS_SELECTOR, "#list li"), "a pinch is no mark"
    mark_by_touch(driver, fingers, COPPER_AT, "copper-beyond-terminal")
    mark_by_touch(driver, fingers, (COPPER_AT[0], 420), "core-outside-enclosure")
    # The second mark is wrong by far: drag it, as a finger does, in the enlarged photo.
    fingers.on("[data-do='whole']")
    start, end = on_screen(driver, (COPPER_AT[0], 420)), on_screen(driver, OUTSIDE_AT)
    fingers.drag(start, end)
    fingers.on("#show")
    come_to(driver, "/round/1")
    assert text(driver, "h1") == "All found: 2 of 2."
    (kept,) = served.practice.rounds()
    assert abs(kept.given.marks[1].at_px[0] - OUTSIDE_AT[0]) < 12
    fingers.on("#next")
    come_to(driver, "/look/")
    loaded(driver)
    fingers.on("#nothing")
    come_to(driver, "/round/2")
    fingers.on("#next")
    come_to(driver, "/look/")
    loaded(driver)
    fingers.on("#unusable")
    come_to(driver, "/round/3")
    assert [r.score.right for r in served.practice.rounds()] == [True, True, True]
    fingers.on("#home")
    wait(lambda: "Nothing is due" in text(driver, ".now"))
    assert not complaints(driver)
