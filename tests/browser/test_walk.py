"""From the start page to the signed pack: by keyboard alone, and by touch at phone width."""

from __future__ import annotations

import io
import uuid
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from selenium.webdriver import Chrome
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

from audit.record.keys import make_key
from audit.record.types import Agree
from audit.record.verify import verify_job
from audit.review.desk import Desk, item_key
from tests.browser.conftest import Browser, Served, serving
from tests.browser.hands import enter_name, one, press, seen_focus, tab_to, text, wait
from tests.review.jobs import make_job

pytestmark = pytest.mark.browser
NAME = "C. Competent"
PASSPHRASE = "nine green bottles"
LEFT = 4
"""Items besides those of weight stop that are left for the walk; the others are decided before."""


@pytest.fixture
def served(tmp_path: Path):  # type: ignore[no-untyped-def]
    root = make_job(tmp_path / "job", fittings=1)
    key = tmp_path / "keys" / "k.pem"
    make_key(key, PASSPHRASE)
    _decide_most(root)
    with serving(root, key=key) as found:
        yield found


def _decide_most(root: Path) -> None:
    """The many light items, each by its own entry, so that the walk has one of each kind left."""
    desk = Desk(root, 0.0)
    basis, state = desk.adopted(NAME)
    light = [i for i in basis.checklist.items if i.weight != "stop"]
    mine = [i for i in light if i.subject.kind == "fitting"][:LEFT]
    for item in light:
        if item not in mine:
            saw = state.standings[item.id].token
            desk.record.decide(
                basis.evidence, item.id, Agree(), by=NAME, saw=saw, key=uuid.uuid4().hex
            )


def _undecided(served: Served) -> list[str]:
    basis = served.desk.basis()
    state = served.desk.record.state(basis.evidence)
    return [item_key(i) for i, s in state.standings.items() if s.status != "decided"]


def _shown(driver: Chrome) -> None:
    """The open item's photo has been on screen for long enough."""
    wait(
        lambda: (
            driver.find_element(By.CSS_SELECTOR, ".ask.open").get_attribute("data-shown") == "yes"
        ),
        "the item was shown",
    )


def _open_item(driver: Chrome) -> tuple[str, bool, bool]:
    ask = driver.find_element(By.CSS_SELECTOR, ".ask.open")
    stop = bool(ask.find_elements(By.CSS_SELECTOR, ".weight.stop"))
    return ask.get_attribute("id"), stop, "is-flag" in ask.get_attribute("class")


def _decided(driver: Chrome, key: str) -> None:
    wait(
        lambda: driver.find_element(By.ID, key).get_attribute("data-status") == "decided",
        f"{key} decided",
    )


def _by_keys(driver: Chrome) -> None:
    """Decide the open item: agree, or say that a fault was put right and seen on site."""
    key, stop, flag = _open_item(driver)
    _shown(driver)
    if not (stop and flag):
        press(driver, "a")
    else:
        press(driver, "s")
        wait(lambda: driver.switch_to.active_element.get_attribute("name") == "who")
        tab_to(driver, ".ask.open input[name=finds]")
        press(driver, Keys.ARROW_RIGHT)
        tab_to(driver, ".ask.open textarea[name=note]")
        press(driver, "put right, looked at again")
        tab_to(driver, ".ask.open form:not([hidden]) button.main")
        press(driver, Keys.ENTER)
    _decided(driver, key)


def _walk_items(driver: Chrome, served: Served, decide: Callable[[Chrome], None]) -> None:
    driver.find_element(By.TAG_NAME, "body")
    for _ in range(120):
        here = set(_undecided(served)) & set(
            driver.execute_script("return [...document.querySelectorAll('.ask')].map((a) => a.id)")
        )
        if not here:
            return
        press(driver, "j")
        key = wait(lambda: driver.find_element(By.CSS_SELECTOR, ".ask.open").get_attribute("id"))
        seen_focus(driver)
        if key in here:
            decide(driver)
    raise AssertionError("the walk does not end")


def test_the_whole_way_by_keyboard_alone(served: Served, browser: Browser) -> None:
    driver = browser()
    enter_name(driver, served.address, NAME)
    tab_to(driver, "table a")
    press(driver, Keys.ENTER)
    wait(lambda: "/at/" in driver.current_url)
    one(driver, ".ask")
    _walk_items(driver, served, _by_keys)
    assert text(driver, "#left") == "0 items left to decide."
    assert not _undecided(served)
    tab_to(driver, "nav a[href='/sign-off/closing-up']")
    press(driver, Keys.ENTER)
    one(driver, "#sign")
    tab_to(driver, "#passphrase")
    press(driver, PASSPHRASE, Keys.ENTER)
    wait(lambda: "Signed off" in text(driver, "#latest"))
    tab_to(driver, "#pack")
    press(driver, Keys.ENTER)
    link = one(driver, "#packed")
    wait(lambda: driver.switch_to.active_element == link)
    seen_focus(driver)
    assert verify_job(served.desk.root).holds
    pack = (served.desk.root / "out" / "pack.zip").read_bytes()
    with zipfile.ZipFile(io.BytesIO(pack)) as made:
        assert "report.pdf" in made.namelist()
    entries = served.desk.record.entries()
    assert entries[-1].kind == "sign-off"
    assert entries[-1].by == NAME


def _tap(driver: Chrome, css: str) -> None:
    """A finger on the middle of an element, wherever it lies on the screen by then."""
    found = one(driver, css)
    driver.execute_script("arguments[0].scrollIntoView({block: 'center'})", found)
    r = driver.execute_script(
        "const r = arguments[0].getBoundingClientRect(); return [r.left + r.width / 2, r.top + r.height / 2]",
        found,
    )
    points = [{"x": r[0], "y": r[1]}]
    for kind, at in (("touchStart", points), ("touchEnd", [])):
        driver.execute_cdp_cmd("Input.dispatchTouchEvent", {"type": kind, "touchPoints": at})


def _by_touch(driver: Chrome, key: str) -> None:
    _tap(driver, f"#{key} .ask-head")
    wait(lambda: driver.find_elements(By.CSS_SELECTOR, f"#{key}.open"))
    _, stop, flag = _open_item(driver)
    _shown(driver)
    if not (stop and flag):
        _tap(driver, f"#{key} [data-way='agree']")
    else:
        _tap(driver, f"#{key} [data-way='seen on site']")
        _tap(driver, f"#{key} form[data-for='seen on site'] input[value='no fault']")
        _tap(driver, f"#{key} form[data-for='seen on site'] button.main")
    _decided(driver, key)


def test_the_whole_way_by_touch_on_a_phone(served: Served, browser: Browser) -> None:
    driver = browser(width=360, height=740)
    driver.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": True})
    enter_name(driver, served.address, NAME)
    while _undecided(served):
        left = set(_undecided(served))
        slugs = {
            s.slug
            for s in served.desk.basis().subjects.values()
            for i in s.items
            if item_key(i.id) in left
        }
        driver.get(served.address)
        _tap(driver, f"table a[href='/at/{sorted(slugs)[0]}']")
        wait(lambda: "/at/" in driver.current_url)
        one(driver, ".ask")
        keys = driver.execute_script(
            "return [...document.querySelectorAll('.ask')].map((a) => a.id)"
        )
        for key in keys:
            if key in left:
                _by_touch(driver, key)
    _tap(driver, "nav a[href='/sign-off/closing-up']")
    one(driver, "#sign")
    _tap(driver, "#passphrase")
    press(driver, PASSPHRASE)
    _tap(driver, "#sign button.main")
    wait(lambda: "Signed off" in text(driver, "#latest"))
    _tap(driver, "#pack")
    one(driver, "#packed")
    assert verify_job(served.desk.root).holds
