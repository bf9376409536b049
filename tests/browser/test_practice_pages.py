"""The practice pages for axe-core, at both widths; what they refuse, keep, and never cover."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from selenium.webdriver import ActionChains, Chrome
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

from tests.browser.conftest import Browser
from tests.browser.hands import (
    axe,
    complaints,
    foreign,
    one,
    press,
    small_targets,
    text,
    wait,
    wider_than_window,
)  # fmt: skip
from tests.browser.practice_hands import COPPER_AT, GRIP_AT, OUTSIDE_AT, focused, loaded
from tests.training.samples import Served, copy_set, serving

pytestmark = pytest.mark.browser


@pytest.fixture
def served(base: Path, tmp_path: Path) -> Iterator[Served]:
    with serving(copy_set(base, tmp_path / "set"), tmp_path / "r.sqlite") as found:
        yield found


def _answers(driver: Chrome, served: Served) -> None:
    """One round of each kind, so that every page has something to show."""
    driver.get(served.address)
    bodies = [
        {"photo": served.key("both faults"), "kind": "marks", "marks": [
            {"at_px": COPPER_AT, "check": "cpc-unsleeved", "length_mm": 3},
            {"at_px": OUTSIDE_AT, "check": "core-outside-enclosure", "length_mm": 9.5},
            {"at_px": GRIP_AT, "check": "core-outside-grip"},
            {"at_px": (80, 80), "check": "core-colours"}], "seconds": 77},
        {"photo": served.key("nothing"), "kind": "nothing", "marks": []},
        {"photo": served.key("too dark"), "kind": "nothing", "marks": []},
        {"photo": served.key("both faults"), "kind": "nothing", "marks": []},
    ]  # fmt: skip
    driver.set_script_timeout(20)
    for n, body in enumerate(bodies):
        status = driver.execute_async_script(
            """
            const done = arguments[arguments.length - 1];
            fetch('/do/answer', {method: 'POST', headers: {'Content-Type': 'application/json'},
              body: JSON.stringify(arguments[0])}).then((r) => done(r.status));
            """,
            {**body, "key": f"for-the-pages-{n}"},
        )
        assert status == 200


def _found_wrong(driver: Chrome, page: str) -> list[str]:
    found = [f"/{page} {v}" for v in axe(driver)]
    found += [f"/{page} small: {t}" for t in small_targets(driver)]
    found += [f"/{page} foreign: {f}" for f in foreign(driver)]
    if wider_than_window(driver) > 0:
        found.append(f"/{page} scrolls sideways")
    return found


@pytest.mark.parametrize("dark", [False, True])
@pytest.mark.parametrize(("width", "height"), [(1280, 900), (360, 740)])
def test_axe_finds_nothing(
    served: Served, browser: Browser, width: int, height: int, dark: bool
) -> None:
    driver = browser(width=width, height=height, dark=dark)
    driver.get(served.address)
    found = _found_wrong(driver, "(none yet)")
    _answers(driver, served)
    key = served.key("nothing")
    for page in (
        "",
        "checks",
        "round/1",
        "round/2",
        "round/3",
        "round/4",
        "nowhere",
        f"look/{key}",
    ):
        driver.get(served.address + page)
        found += _found_wrong(driver, page)
        for each in driver.find_elements(By.CSS_SELECTOR, "details:not([open]) > summary"):
            driver.execute_script("arguments[0].click()", each)
        found += _found_wrong(driver, f"{page} opened")
    loaded(driver)
    driver.execute_script("document.getElementById('stage').focus()")
    press(driver, Keys.ENTER)
    driver.execute_script("document.getElementById('show').click()")
    wait(lambda: driver.find_elements(By.CSS_SELECTOR, "[aria-invalid='true']"))
    found += _found_wrong(driver, "a mark without a name")
    assert not found, "\n".join(found)
    wrong = [c for c in complaints(driver) if "/nowhere" not in c]
    assert not wrong, wrong


def test_a_mark_without_a_name_or_with_an_odd_length_is_asked_about(
    served: Served, browser: Browser
) -> None:
    driver = browser()
    driver.get(f"{served.address}look/{served.key('both faults')}")
    loaded(driver)
    one(driver, "#show").click()
    assert "Mark a fault first" in text(driver, "#told")
    ActionChains(driver).click(one(driver, "#stage")).perform()
    one(driver, "#nothing").click()
    assert "take them away first" in text(driver, "#told")
    one(driver, "#show").click()
    assert "Say what mark 1 is" in text(driver, "#told")
    focused(driver, "#kind-1")
    one(driver, "#kind-1").send_keys("Copper")
    for odd in ("long", "-3", "0", "1e3", "900"):
        field = one(driver, "#length-1")
        field.clear()
        field.send_keys(odd)
        one(driver, "#show").click()
        assert "is a number of mm" in text(driver, "#told")
        focused(driver, "#length-1")
    assert served.practice.rounds() == ()


def test_marks_survive_that_the_page_is_loaded_again(served: Served, browser: Browser) -> None:
    driver = browser()
    driver.get(f"{served.address}look/{served.key('both faults')}")
    loaded(driver)
    ActionChains(driver).click(one(driver, "#stage")).perform()
    one(driver, "#kind-1").send_keys("Copper")
    one(driver, "#length-1").send_keys("2.5")
    at = "return document.querySelector('#stage .handle').getAttribute('aria-label')"
    before = driver.execute_script(at)
    driver.refresh()
    loaded(driver)
    assert one(driver, "#kind-1").get_attribute("value") == "copper-beyond-terminal"
    assert one(driver, "#length-1").get_attribute("value") == "2.5"
    assert driver.execute_script(at) == before
    one(driver, "#list .away").click()
    driver.refresh()
    loaded(driver)
    assert not driver.find_elements(By.CSS_SELECTOR, "#list li")


def test_two_clicks_are_two_marks_and_no_zoom(served: Served, browser: Browser) -> None:
    driver = browser()
    driver.get(f"{served.address}look/{served.key('both faults')}")
    loaded(driver)
    ActionChains(driver).double_click(one(driver, "#stage")).perform()
    assert text(driver, ".viewer output") == "whole photo"


@pytest.mark.parametrize(("width", "height"), [(1280, 900), (360, 740)])
def test_nothing_covers_the_picture(
    served: Served, browser: Browser, width: int, height: int
) -> None:
    driver = browser(width=width, height=height)
    _answers(driver, served)
    for page in (f"look/{served.key('nothing')}", "round/1"):
        driver.get(served.address + page)
        loaded(driver)
        for at in (0, 300, 4000):
            driver.execute_script(f"window.scrollTo(0, {at})")
            covered = driver.execute_script(
                """
                const stage = document.querySelector('.stage'), r = stage.getBoundingClientRect(), found = [];
                for (let i = 1; i < 20; i += 1) for (let k = 1; k < 20; k += 1) {
                  const x = r.left + r.width * i / 20, y = r.top + r.height * k / 20;
                  if (x < 0 || y < 0 || x >= innerWidth || y >= innerHeight) continue;
                  const e = document.elementFromPoint(x, y);
                  if (e && !stage.contains(e)) found.push(e.outerHTML.slice(0, 80));
                }
                return found;
                """
            )
            assert not covered
    # What is drawn is drawn in lines: nothing over the photo is filled, but numbers and letters.
    filled = driver.execute_script(
        """
        return [...document.querySelectorAll('.over rect, .over circle, .over path')]
          .filter((e) => getComputedStyle(e).fill !== 'none').map((e) => e.outerHTML);
        """
    )
    assert not filled


def test_results_are_told_by_word_and_shape_too(served: Served, browser: Browser) -> None:
    driver = browser()
    _answers(driver, served)
    driver.get(f"{served.address}round/1")
    signs = driver.execute_script(
        "return [...document.querySelectorAll('.sign-of')].map((e) => [e.textContent.trim(), e.querySelector('use').getAttribute('href')])"
    )
    words = {word for word, _ in signs}
    assert words == {"right place, other fault", "no fault there", "found", "the same fault again", "hardly to be seen"}  # fmt: skip
    assert len({shape for _, shape in signs}) == len(words)
    assert driver.execute_script(
        "return [...document.querySelectorAll('.sign-of use')].every((u) => document.querySelector(u.getAttribute('href')))"
    )
    # On the photo: dashes and bars tell the same apart without colour.
    dashes = driver.execute_script(
        """
        const dash = (css) => getComputedStyle(document.querySelector(css)).strokeDasharray;
        return [dash('.told-found > rect.ink'), dash('.told-hard > rect.ink'),
                dash('.told-other circle.ink'), dash('.told-same circle.ink')];
        """
    )
    assert dashes[0] == "none"
    assert len(set(dashes[:3])) == 3  # box drawn through, box dotted, ring dashed
    assert dashes[3] == dashes[1]  # a ring dotted: another shape than the box
    assert driver.find_elements(By.CSS_SELECTOR, ".told-false path.ink")


def test_at_200_per_cent_zoom_nothing_is_lost(served: Served, browser: Browser) -> None:
    """WCAG 2.2, 1.4.4: zoomed to 200 % a window of 1280 px has 640 px to lay out."""
    driver = browser(width=640, height=450)
    _answers(driver, served)
    for page in ("", "checks", "round/1", f"look/{served.key('nothing')}"):
        driver.get(served.address + page)
        assert wider_than_window(driver) <= 0, page
        cut = driver.execute_script(
            """
            return [...document.querySelectorAll('button, a, h1, h2, p, select, input')].filter((e) => {
              const r = e.getBoundingClientRect();
              return e.checkVisibility() && r.width && (r.right > innerWidth + 1 || r.left < -1)
                && !e.closest('.board, nav, .bar, .skip');
            }).map((e) => e.outerHTML.slice(0, 100));
            """
        )
        assert not cut, page


def test_nothing_moves_by_itself(served: Served, browser: Browser) -> None:
    """WCAG 2.2, 2.3.3: no animation and no transition on any of these pages."""
    driver = browser()
    driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": [{"name": "prefers-reduced-motion", "value": "reduce"}]})  # fmt: skip
    _answers(driver, served)
    for page in ("", "round/1", f"look/{served.key('nothing')}"):
        driver.get(served.address + page)
        assert driver.execute_script(
            """
            return [...document.querySelectorAll('main *')].filter((e) => {
              const s = getComputedStyle(e);
              return s.animationName !== 'none' || !/^0s(, 0s)*$/.test(s.transitionDuration);
            }).length;
            """
        ) == 0  # fmt: skip
