"""What a trainee does on the practice pages: aims, marks, taps, pinches, drags."""

from __future__ import annotations

import time

from selenium.webdriver import ActionChains, Chrome
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

from tests.browser.hands import one, press, seen_focus, text, wait
from tests.training.samples import COPPER, GRIP, OUTSIDE

COPPER_AT = ((COPPER[0] + COPPER[2]) / 2, (COPPER[1] + COPPER[3]) / 2)
OUTSIDE_AT = ((OUTSIDE[0] + OUTSIDE[2]) / 2, (OUTSIDE[1] + OUTSIDE[3]) / 2)
GRIP_AT = (GRIP[2] - 20, (GRIP[1] + GRIP[3]) / 2)
FINE_PX = 6


def loaded(driver: Chrome) -> None:
    """The photo is there, and the page's script at work."""
    wait(lambda: driver.execute_script("const i = document.querySelector('.sheet img'); return i && i.naturalWidth > 0"))  # fmt: skip
    wait(lambda: driver.execute_script("return document.querySelector('.viewer output').textContent"))  # fmt: skip


def cross(driver: Chrome) -> tuple[float, float, float]:
    """The crosshair in px of the photo, and screen px for one of them."""
    x, y, scale = driver.execute_script(
        """
        const v = document.querySelector('.viewer'), c = document.getElementById('cross'), s = v.querySelector('.sheet');
        const k = parseFloat(s.style.width) / Number(v.dataset.w);
        return [(parseFloat(c.style.left) - parseFloat(s.style.left)) / k, (parseFloat(c.style.top) - parseFloat(s.style.top)) / k, k];
        """
    )
    return x, y, scale


def on_screen(driver: Chrome, at: tuple[float, float]) -> tuple[float, float]:
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


def aim(driver: Chrome, at: tuple[float, float]) -> None:
    """Move the crosshair to a point by arrow keys, with the widest step that does not overshoot."""
    for step, px in (("wide", 40), ("medium", 8), ("fine", 1)):
        for _ in range(3):
            if step in text(driver, "#step"):
                break
            press(driver, "s")
        for _ in range(120):
            x, y, scale = cross(driver)
            dx, dy = (at[0] - x) * scale, (at[1] - y) * scale
            if abs(dx) > px / 2 + 0.5:
                press(driver, Keys.ARROW_RIGHT if dx > 0 else Keys.ARROW_LEFT)
            elif abs(dy) > px / 2 + 0.5:
                press(driver, Keys.ARROW_DOWN if dy > 0 else Keys.ARROW_UP)
            else:
                break
    x, y, scale = cross(driver)
    assert abs(x - at[0]) * scale < FINE_PX
    assert abs(y - at[1]) * scale < FINE_PX


def cross_shows(driver: Chrome) -> bool:
    return one(driver, "#stage").is_displayed() and driver.execute_script(
        "return getComputedStyle(document.getElementById('cross')).display === 'block'"
    )


def focused(driver: Chrome, css: str) -> None:
    wait(lambda: driver.execute_script("return document.activeElement.matches(arguments[0])", css), css)  # fmt: skip
    seen_focus(driver)


def mark_by_keys(driver: Chrome, at: tuple[float, float], name: str, length: str = "") -> None:
    aim(driver, at)
    press(driver, Keys.ENTER)
    focused(driver, "#list li:first-child select")
    press(driver, name)  # a list is chosen from by its first letters
    chosen = "return document.activeElement.selectedOptions[0].textContent"
    assert driver.execute_script(chosen).startswith(name)
    press(driver, Keys.TAB)
    focused(driver, "#list li:first-child input")
    if length:
        press(driver, length)
    press(driver, Keys.ESCAPE)
    focused(driver, "#stage")


def back_to(driver: Chrome, css: str, most: int = 80) -> None:
    """Move the focus back by Shift and Tab until it is on an element."""
    for _ in range(most):
        if driver.execute_script("return document.activeElement.matches(arguments[0])", css):
            seen_focus(driver)
            return
        ActionChains(driver).key_down(Keys.SHIFT).send_keys(Keys.TAB).key_up(Keys.SHIFT).perform()
    raise AssertionError(f"Shift and Tab never came to {css}")


def come_to(driver: Chrome, part: str) -> None:
    wait(lambda: part in driver.current_url, part)


class Fingers:
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


def mark_by_touch(driver: Chrome, fingers: Fingers, at: tuple[float, float], check: str) -> None:
    before = len(driver.find_elements(By.CSS_SELECTOR, "#list li"))
    fingers.tap(*on_screen(driver, at))
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
