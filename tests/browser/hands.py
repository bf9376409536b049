"""What a person does in a browser, and what is asked of the page each time."""

from __future__ import annotations

import time
from collections.abc import Callable
from importlib.resources import files
from typing import Any

from selenium.webdriver import ActionChains, Chrome
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.remote.webelement import WebElement

PATIENCE_S = 20.0
AXE = files("axe_core_python").joinpath("axe.min.js").read_text(encoding="utf-8")
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


def wait(what: Callable[[], Any], told: str = "") -> Any:
    """Wait until something is true."""
    end = time.monotonic() + PATIENCE_S
    while time.monotonic() < end:
        try:
            found = what()
        except Exception as exc:
            if "stale element" not in str(exc):
                raise
            found = None
        if found:
            return found
        time.sleep(0.05)
    raise AssertionError(f"never came: {told or what}")


def one(driver: Chrome, css: str) -> WebElement:
    """The first element of a kind that can be seen."""
    return wait(
        lambda: next(
            (e for e in driver.find_elements(By.CSS_SELECTOR, css) if e.is_displayed()), None
        ),
        css,
    )


def text(driver: Chrome, css: str) -> str:
    """Words of an element."""
    return one(driver, css).text


def press(driver: Chrome, *keys: str) -> None:
    """Press keys, one after the other, wherever the focus is."""
    ActionChains(driver).send_keys(*keys).perform()


def tab_to(driver: Chrome, css: str, most: int = 250) -> None:
    """Move the focus by Tab until it is on an element; every stop must be to be seen."""
    for _ in range(most):
        if driver.execute_script("return document.activeElement.matches(arguments[0])", css):
            seen_focus(driver)
            return
        press(driver, Keys.TAB)
    raise AssertionError(f"Tab never came to {css}")


def seen_focus(driver: Chrome) -> None:
    """WCAG 2.2, 2.4.7 and 2.4.11: the focus shows, and nothing hides what has it."""
    found = driver.execute_script(
        """
        const e = document.activeElement, s = getComputedStyle(e), r = e.getBoundingClientRect();
        const x = Math.min(Math.max(r.left + r.width / 2, 1), innerWidth - 1);
        const y = Math.min(Math.max(r.top + Math.min(r.height / 2, 12), 1), innerHeight - 1);
        const top = document.elementFromPoint(x, y);
        return {name: e.outerHTML.slice(0, 120), ring: s.outlineStyle !== 'none' && parseFloat(s.outlineWidth) >= 2,
                inside: r.bottom > 0 && r.top < innerHeight, over: top === e || e.contains(top) || top?.contains(e)};
        """
    )
    assert found["ring"], f"no focus to be seen on {found['name']}"
    assert found["inside"], f"the focus is off screen on {found['name']}"
    assert found["over"], f"something hides {found['name']}"


def enter_name(driver: Chrome, address: str, name: str) -> None:
    """Say who is reviewing, by keyboard."""
    driver.get(address)
    wait(lambda: driver.current_url.split("?")[0].endswith("/you"))
    wait(lambda: driver.switch_to.active_element.get_attribute("id") == "name")
    press(driver, name, Keys.ENTER)
    wait(lambda: driver.execute_script("return location.pathname") == "/")


def axe(driver: Chrome) -> list[str]:
    """What axe-core finds wrong with the page as it is."""
    driver.execute_script(AXE)
    driver.set_script_timeout(60)
    found = driver.execute_async_script(
        """
        const done = arguments[arguments.length - 1];
        axe.run(document, {runOnly: {type: 'tag', values: arguments[0]}, resultTypes: ['violations']})
          .then((r) => done(r.violations), (e) => done([{id: String(e), nodes: []}]));
        """,
        RULES,
    )
    return [
        f"{v['id']}: {n['html'][:160]} ({n.get('failureSummary', '')[:200]})"
        for v in found
        for n in (v["nodes"] or [{"html": ""}])
    ]


def complaints(driver: Chrome) -> list[str]:
    """What the browser complained of: scripts, policy, missing files."""
    return [
        e["message"]
        for e in driver.get_log("browser")
        if e["level"] in ("SEVERE", "WARNING") and "favicon" not in e["message"]
    ]


def foreign(driver: Chrome) -> list[str]:
    """What was loaded from elsewhere."""
    return driver.execute_script(
        """
        return performance.getEntriesByType('resource').map((e) => e.name)
          .filter((n) => !n.startsWith(location.origin));
        """
    )


def wider_than_window(driver: Chrome) -> int:
    """Pixels by which the page has to be scrolled sideways (WCAG 2.2, 1.4.10)."""
    return driver.execute_script(
        "return document.documentElement.scrollWidth - document.documentElement.clientWidth"
    )


def small_targets(driver: Chrome) -> list[str]:
    """Targets below 24 by 24 px that are no links within a text (WCAG 2.2, 2.5.8)."""
    return driver.execute_script(
        """
        return [...document.querySelectorAll('button, input, select, textarea, summary, nav a, .button')]
          .filter((e) => e.checkVisibility() && !e.closest('.skip')).filter((e) => {
            const r = (e.closest('label') ?? e).getBoundingClientRect();
            return r.width && (r.width < 24 || r.height < 24);
          }).map((e) => e.outerHTML.slice(0, 100));
        """
    )
