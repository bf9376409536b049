"""Practice in a real Chromium: by keyboard alone, by touch at phone width, and for axe-core."""

from __future__ import annotations

import time
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
    seen_focus,
    small_targets,
    tab_to,
    text,
    wait,
    wider_than_window,
)
from tests.training.samples import COPPER, GRIP, OUTSIDE, Served, copy_set, serving

pytestmark = pytest.mark.browser
COPPER_AT = ((COPPER[0] + COPPER[2]) / 2, (COPPER[1] + COPPER[3]) / 2)
OUTSIDE_AT = ((OUTSIDE[0] + OUTSIDE[2]) / 2, (OUTSIDE[1] + OUTSIDE[3]) / 2)
GRIP_AT = (GRIP[2] - 20, (GRIP[1] + GRIP[3]) / 2)
FINE_PX = 6


@pytest.fixture
def served(base: Path, tmp_path: Path) -> Iterator[Served]:
    with serving(copy_set(base, tmp_path / "set"), tmp_path / "r.sqlite") as found:
        yield found


def _loaded(driver: Chrome) -> None:
    """The photo is there, and the page's script at work."""
    wait(lambda: driver.execute_script("const i = document.querySelector('.sheet img'); return i && i.naturalWidth > 0"))  # fmt: skip
    wait(lambda: driver.execute_script("return document.querySelector('.viewer output').textContent"))  # fmt: skip


def _cross(driver: Chrome) -> tuple[float, float, float]:
    """The crosshair in px of the photo, and screen px for one of them."""
    x, y, scale = driver.execute_script(
        """
        const v = document.querySelector('.viewer'), c = document.getElementById('cross'), s = v.querySelector('.sheet');
        const k = parseFloat(s.style.width) / Number(v.dataset.w);
        return [(parseFloat(c.style.left) - parseFloat(s.style.left)) / k, (parseFloat(c.style.top) - parseFloat(s.style.top)) / k, k];
        """
    )
    return x, y, scale


def _on_screen(driver: Chrome, at: tuple[float, float]) -> tuple[float, float]:
    """A point of the photo, in px of the window."""
    return tuple(
        driver.execute_script(
            """
            const v = document.querySelector('.viewer'), r = v.querySelector('.sheet').getBoundingClientRect();
            const k = r.width / Number(v.dataset.w);
            return [r.left + arguments[0] * k, r.top + arguments[1] * k];
            """,
            *at,
        )
    )


def _aim(driver: Chrome, at: tuple[float, float]) -> None:
    """Move the crosshair to a point by arrow keys, with the widest step that does not overshoot."""
    for step, px in (("wide", 40), ("medium", 8), ("fine", 1)):
        for _ in range(3):
            if step in text(driver, "#step"):
                break
            press(driver, "s")
        for _ in range(120):
            x, y, scale = _cross(driver)
            dx, dy = (at[0] - x) * scale, (at[1] - y) * scale
            if abs(dx) > px / 2 + 0.5:
                press(driver, Keys.ARROW_RIGHT if dx > 0 else Keys.ARROW_LEFT)
            elif abs(dy) > px / 2 + 0.5:
                press(driver, Keys.ARROW_DOWN if dy > 0 else Keys.ARROW_UP)
            else:
                break
    x, y, scale = _cross(driver)
    assert abs(x - at[0]) * scale < FINE_PX
    assert abs(y - at[1]) * scale < FINE_PX


def _cross_shows(driver: Chrome) -> bool:
    return one(driver, "#stage").is_displayed() and driver.execute_script(
        "return getComputedStyle(document.getElementById('cross')).display === 'block'"
    )


def _focused(driver: Chrome, css: str) -> None:
    wait(lambda: driver.execute_script("return document.activeElement.matches(arguments[0])", css), css)  # fmt: skip
    seen_focus(driver)


def _mark_by_keys(driver: Chrome, at: tuple[float, float], name: str, length: str = "") -> None:
    _aim(driver, at)
    press(driver, Keys.ENTER)
    _focused(driver, "#list li:first-child select")
    press(driver, name)  # a list is chosen from by its first letters
    chosen = "return document.activeElement.selectedOptions[0].textContent"
    assert driver.execute_script(chosen).startswith(name)
    press(driver, Keys.TAB)
    _focused(driver, "#list li:first-child input")
    if length:
        press(driver, length)
    press(driver, Keys.ESCAPE)
    _focused(driver, "#stage")


def _to(driver: Chrome, part: str) -> None:
    wait(lambda: part in driver.current_url, part)


def test_the_whole_walk_by_keyboard_alone(served: Served, browser: Browser) -> None:
    driver = browser(width=1280, height=900)
    driver.get(served.address)
    tab_to(driver, "#timed")
    press(driver, Keys.SPACE)
    assert driver.execute_script("return document.getElementById('timed').checked")
    ActionChains(driver).key_down(Keys.SHIFT).send_keys(Keys.TAB).key_up(Keys.SHIFT).perform()
    _focused(driver, "#begin")
    press(driver, Keys.ENTER)
    _to(driver, f"/look/{served.key('both faults')}")  # the easiest one comes first
    _loaded(driver)
    tab_to(driver, "#stage")
    assert _cross_shows(driver)
    press(driver, "+", "+")
    x, y, scale = _cross(driver)
    assert scale > driver.execute_script("return document.getElementById('stage').clientWidth") / 800 * 1.3  # fmt: skip
    assert (round(x), round(y)) == (400, 300)
    _mark_by_keys(driver, COPPER_AT, "Copper", "4,0")
    _mark_by_keys(driver, GRIP_AT, "The grip")
    _mark_by_keys(driver, (700, 100), "The CPC is bare")
    tab_to(driver, "#stage .handle:last-child")
    press(driver, Keys.DELETE)  # no fault there after all
    _focused(driver, "#stage")
    assert len(driver.find_elements(By.CSS_SELECTOR, "#list li")) == 2
    tab_to(driver, "#stage .handle")
    before = served.practice.rounds()
    press(driver, Keys.ARROW_RIGHT, Keys.ARROW_LEFT)
    press(driver, Keys.ENTER)
    _focused(driver, "#kind-1")
    tab_to(driver, "#show")
    press(driver, Keys.ENTER)
    _to(driver, "/round/1")
    _loaded(driver)
    assert before == ()
    assert text(driver, "h1") == "All found: 2 of 2."
    (kept,) = served.practice.rounds()
    assert kept.score.right
    assert kept.seconds is not None
    assert kept.given.marks[0].length_mm == 4.0
    tab_to(driver, ".told-row [data-view]")
    press(driver, Keys.ENTER)
    wait(lambda: driver.find_elements(By.CSS_SELECTOR, ".viewer.near"))
    wait(lambda: driver.find_elements(By.CSS_SELECTOR, ".told-row.lit"))
    assert driver.find_elements(By.CSS_SELECTOR, ".over .lit")
    tab_to(driver, ".told-row summary")
    press(driver, Keys.ENTER)
    assert "BS 7671" in text(driver, ".told-row details[open]")
    _next_by_keys(driver)
    _to(driver, "/look/")
    _loaded(driver)
    tab_to(driver, "#nothing")
    press(driver, Keys.ENTER)
    _to(driver, "/round/2")
    assert text(driver, "h1") == "Right: no fault is to be seen in this photo."
    _next_by_keys(driver)
    _loaded(driver)
    tab_to(driver, "#unusable")
    press(driver, Keys.ENTER)
    _to(driver, "/round/3")
    assert "can't be judged, since it is too dark" in text(driver, "h1")
    tab_to(driver, "#home")
    press(driver, Keys.ENTER)
    wait(lambda: "Nothing is due" in text(driver, ".now"))
    assert "1 of 1" in text(driver, ".own")
    assert not complaints(driver)


def _next_by_keys(driver: Chrome) -> None:
    driver.execute_script("document.activeElement.blur()")
    tab_to(driver, "#next")
    here = driver.current_url
    press(driver, Keys.ENTER)
    wait(lambda: driver.current_url != here)


class _Fingers:
    """One finger on a phone's screen."""

    def __init__(self, driver: Chrome) -> None:
        self.driver = driver
        driver.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": True, "maxTouchPoints": 2})  # fmt: skip

    def _send(self, kind: str, *points: tuple[float, float]) -> None:
        touch = [{"x": x, "y": y, "id": n} for n, (x, y) in enumerate(points)]
        self.driver.execute_cdp_cmd("Input.dispatchTouchEvent", {"type": f"touch{kind}", "touchPoints": touch})  # fmt: skip

    def tap(self, x: float, y: float) -> None:
        self._send("Start", (x, y))
        self._send("End")

    def on(self, css: str) -> None:
        found = one(self.driver, css)
        self.driver.execute_script("arguments[0].scrollIntoView({block: 'center'})", found)
        wait(lambda: self._clear(css), f"{css} to be touched")
        self.tap(*self._middle(css))

    def _middle(self, css: str) -> tuple[float, float]:
        return tuple(
            self.driver.execute_script(
                "const r = document.querySelector(arguments[0]).getBoundingClientRect(); return [r.left + r.width / 2, r.top + r.height / 2]",
                css,
            )
        )

    def _clear(self, css: str) -> bool:
        return self.driver.execute_script(
            """
            const e = document.querySelector(arguments[0]), r = e.getBoundingClientRect();
            const top = document.elementFromPoint(r.left + r.width / 2, r.top + r.height / 2);
            return top === e || e.contains(top);
            """,
            css,
        )

    def pinch(self, at: tuple[float, float], reach: float = 110) -> None:
        for kind, far in (("Start", 20), ("Move", 50), ("Move", 80), ("Move", reach)):
            self._send(kind, (at[0] - far, at[1]), (at[0] + far, at[1]))
        self._send("End")

    def drag(self, start: tuple[float, float], end: tuple[float, float]) -> None:
        self._send("Start", start)
        for share in (0.25, 0.5, 0.75, 1.0):
            self._send("Move", tuple(a + (b - a) * share for a, b in zip(start, end, strict=True)))  # type: ignore[arg-type]
        for _ in range(3):  # the finger rests before it is lifted: it throws nothing
            time.sleep(0.06)
            self._send("Move", end)
        self._send("End")


def _mark_by_touch(driver: Chrome, fingers: _Fingers, at: tuple[float, float], check: str) -> None:
    before = len(driver.find_elements(By.CSS_SELECTOR, "#list li"))
    fingers.tap(*_on_screen(driver, at))
    wait(lambda: len(driver.find_elements(By.CSS_SELECTOR, "#list li")) == before + 1, "a mark")
    # A phone shows the list of a select in its own way; what is chosen there comes back so.
    driver.execute_script(
        """
        const s = document.querySelector('#list li:first-child select');
        s.value = arguments[0];
        s.dispatchEvent(new Event('change', {bubbles: true}));
        """,
        check,
    )


def test_the_whole_walk_by_touch_on_a_phone(served: Served, browser: Browser) -> None:
    driver = browser(width=360, height=740)
    fingers = _Fingers(driver)
    driver.get(served.address)
    fingers.on("#begin")
    _to(driver, "/look/")
    _loaded(driver)
    driver.execute_script("window.scrollTo(0, 0)")
    fingers.pinch(_on_screen(driver, (400, 300)), 70)
    wait(lambda: _cross(driver)[2] > 360 / 800 * 1.5, "closer")
    assert not driver.find_elements(By.CSS_SELECTOR, "#list li"), "a pinch is no mark"
    _mark_by_touch(driver, fingers, COPPER_AT, "copper-beyond-terminal")
    _mark_by_touch(driver, fingers, (COPPER_AT[0], 420), "core-outside-enclosure")
    # The second mark is wrong by far: drag it, as a finger does, in the enlarged photo.
    fingers.on("[data-do='whole']")
    start, end = _on_screen(driver, (COPPER_AT[0], 420)), _on_screen(driver, OUTSIDE_AT)
    fingers.drag(start, end)
    fingers.on("#show")
    _to(driver, "/round/1")
    assert text(driver, "h1") == "All found: 2 of 2."
    (kept,) = served.practice.rounds()
    assert abs(kept.given.marks[1].at_px[0] - OUTSIDE_AT[0]) < 12
    fingers.on("#next")
    _to(driver, "/look/")
    _loaded(driver)
    fingers.on("#nothing")
    _to(driver, "/round/2")
    fingers.on("#next")
    _to(driver, "/look/")
    _loaded(driver)
    fingers.on("#unusable")
    _to(driver, "/round/3")
    assert [r.score.right for r in served.practice.rounds()] == [True, True, True]
    fingers.on("#home")
    wait(lambda: "Nothing is due" in text(driver, ".now"))
    assert not complaints(driver)


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
    _loaded(driver)
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
    _loaded(driver)
    one(driver, "#show").click()
    assert "Mark a fault first" in text(driver, "#told")
    ActionChains(driver).click(one(driver, "#stage")).perform()
    one(driver, "#nothing").click()
    assert "take them away first" in text(driver, "#told")
    one(driver, "#show").click()
    assert "Say what mark 1 is" in text(driver, "#told")
    _focused(driver, "#kind-1")
    one(driver, "#kind-1").send_keys("Copper")
    for odd in ("long", "-3", "0", "1e3", "900"):
        field = one(driver, "#length-1")
        field.clear()
        field.send_keys(odd)
        one(driver, "#show").click()
        assert "is a number of mm" in text(driver, "#told")
        _focused(driver, "#length-1")
    assert served.practice.rounds() == ()


def test_marks_survive_that_the_page_is_loaded_again(served: Served, browser: Browser) -> None:
    driver = browser()
    driver.get(f"{served.address}look/{served.key('both faults')}")
    _loaded(driver)
    ActionChains(driver).click(one(driver, "#stage")).perform()
    one(driver, "#kind-1").send_keys("Copper")
    one(driver, "#length-1").send_keys("2.5")
    at = "return document.querySelector('#stage .handle').getAttribute('aria-label')"
    before = driver.execute_script(at)
    driver.refresh()
    _loaded(driver)
    assert one(driver, "#kind-1").get_attribute("value") == "copper-beyond-terminal"
    assert one(driver, "#length-1").get_attribute("value") == "2.5"
    assert driver.execute_script(at) == before
    one(driver, "#list .away").click()
    driver.refresh()
    _loaded(driver)
    assert not driver.find_elements(By.CSS_SELECTOR, "#list li")


def test_two_clicks_are_two_marks_and_no_zoom(served: Served, browser: Browser) -> None:
    driver = browser()
    driver.get(f"{served.address}look/{served.key('both faults')}")
    _loaded(driver)
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
        _loaded(driver)
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
