"""The photo: closer by click, key and pinch; bare; the ribbon linked both ways; never covered."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from selenium.webdriver import ActionChains, Chrome
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

from tests.browser.conftest import Browser, Served, serving
from tests.browser.hands import enter_name, one, press, text, wait
from tests.review.jobs import SIZE, make_job

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def big_job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Photos larger than the picture that the page begins with."""
    root = tmp_path_factory.mktemp("big") / "job"
    return make_job(root, fittings=1, photos_each=2, size=(3200, 2400))


@pytest.fixture
def served(big_job: Path) -> Iterator[Served]:
    with serving(big_job) as found:
        yield found


def _open(driver: Chrome, served: Served) -> None:
    enter_name(driver, served.address, "A. Person")
    driver.get(served.at("fitting", "F01"))
    wait(
        lambda: (
            driver.execute_script("return document.querySelector('.sheet img').naturalWidth") > 0
        )
    )
    wait(lambda: text(driver, ".viewer output"))


def _centre(driver: Chrome) -> list[float]:
    """The photo's point in the middle of the stage, px."""
    return driver.execute_script(
        """
        const v = document.querySelector('.viewer:not([hidden])'), s = v.querySelector('.stage').getBoundingClientRect();
        const i = v.querySelector('.sheet').getBoundingClientRect(), k = i.width / Number(v.dataset.w);
        return [(s.left + s.width / 2 - i.left) / k, (s.top + s.height / 2 - i.top) / k, k];
        """
    )


def _sharp(driver: Chrome) -> None:
    wait(
        lambda: (
            driver.execute_script(
                "return document.querySelector('.viewer:not([hidden]) img').naturalWidth"
            )
            == 3200
        ),
        "full resolution",
    )


def test_a_place_is_shown_at_full_resolution_by_click(served: Served, browser: Browser) -> None:
    driver = browser()
    _open(driver, served)
    assert driver.execute_script("return document.querySelector('.sheet img').naturalWidth") == 1600
    one(driver, ".spot[data-place='1']").click()
    _sharp(driver)
    x0, y0, x1, y1 = (
        float(v) for v in one(driver, ".spot[data-place='1']").get_attribute("data-box").split(",")
    )
    x, y, scale = _centre(driver)
    assert abs(x - (x0 + x1) / 2) < 150
    assert abs(y - (y0 + y1) / 2) < 150
    assert scale > 0.8
    assert "%" in text(driver, ".viewer output")


def test_a_place_is_shown_by_key_and_the_whole_again(served: Served, browser: Browser) -> None:
    driver = browser()
    _open(driver, served)
    assert one(driver, ".viewer").get_attribute("aria-label") == "Photo F01-closed.jpg"
    whole = _centre(driver)
    press(driver, "2")
    assert _centre(driver)[2] > whole[2]
    _sharp(driver)
    press(driver, "0")
    assert _centre(driver) == whole
    press(driver, "+")
    press(driver, "+")
    closer = _centre(driver)
    assert closer[2] > whole[2] * 1.5
    driver.execute_script("document.querySelector('.stage').focus()")
    press(driver, Keys.ARROW_RIGHT)
    assert _centre(driver)[0] > closer[0]
    press(driver, "n")
    wait(lambda: one(driver, ".viewer").get_attribute("aria-label") == "Photo F01-inside.jpg")


def test_a_place_is_found_by_clicking_its_outline_on_the_photo(
    served: Served, browser: Browser
) -> None:
    driver = browser()
    _open(driver, served)
    box = driver.find_element(By.CSS_SELECTOR, ".over .place[data-place='1'] rect:not(.under)")
    ActionChains(driver).move_to_element_with_offset(box, 0, 20).click().perform()
    wait(lambda: _centre(driver)[2] > 0.6)
    assert driver.find_elements(By.CSS_SELECTOR, ".ask.linked")


def test_pinching_zooms_where_the_fingers_are(served: Served, browser: Browser) -> None:
    driver = browser(width=360, height=740)
    _open(driver, served)
    before = _centre(driver)
    frame = driver.execute_script(
        "const r = document.querySelector('.stage').getBoundingClientRect(); return [r.left + r.width / 2, r.top + r.height / 2]"
    )
    for kind, reach in (("Start", 20), ("Move", 50), ("Move", 80), ("Move", 120), ("End", None)):
        points = []
        if reach is not None:
            points = [
                {"x": frame[0] + s * reach, "y": frame[1], "id": n} for n, s in enumerate((-1, 1))
            ]
        driver.execute_cdp_cmd(
            "Input.dispatchTouchEvent", {"type": f"touch{kind}", "touchPoints": points}
        )
    after = wait(lambda: (c := _centre(driver))[2] > before[2] * 2.5 and c)
    assert abs(after[0] - before[0]) < 60


def test_outlines_can_be_switched_off(served: Served, browser: Browser) -> None:
    driver = browser()
    _open(driver, served)
    outline = driver.find_element(By.CSS_SELECTOR, ".over .places")
    assert outline.is_displayed()
    press(driver, "b")
    assert not outline.is_displayed()
    assert not driver.find_element(By.CSS_SELECTOR, ".over .lines").is_displayed()
    assert one(driver, "[data-do='bare']").get_attribute("aria-pressed") == "true"
    one(driver, "[data-do='bare']").click()
    assert outline.is_displayed()


def test_ribbon_and_photo_point_at_each_other(served: Served, browser: Browser) -> None:
    driver = browser(height=1400)
    _open(driver, served)
    word = one(driver, ".words [data-seg='0']")
    ActionChains(driver).move_to_element(word).perform()
    lit = ".over .seg[data-seg='0'].lit", ".ribbon .seg[data-seg='0'].lit"
    for css in lit:
        wait(lambda css=css: driver.find_elements(By.CSS_SELECTOR, css), css)
    ActionChains(driver).move_to_element(one(driver, "h1")).perform()
    wait(lambda: not driver.find_elements(By.CSS_SELECTOR, ".lit"))
    # From the photo to the ribbon: a point of the sheath, well before its edge.
    at = driver.execute_script(
        "const r = document.querySelector('.sheet').getBoundingClientRect(); return [r.left + r.width * 0.2, r.top + r.height * 0.5]"
    )
    chain = ActionChains(driver)
    chain.w3c_actions.pointer_action.move_to_location(int(at[0]), int(at[1]))
    chain.perform()
    wait(lambda: driver.find_elements(By.CSS_SELECTOR, ".ribbon .seg[data-seg='0'].lit"))
    driver.execute_script("document.querySelector(\".words [data-seg='2']\").focus()")
    wait(lambda: driver.find_elements(By.CSS_SELECTOR, ".over .seg[data-seg='2'].lit"))
    press(driver, Keys.ENTER)
    assert _centre(driver)[2] > 0.4


@pytest.mark.parametrize(("width", "height"), [(1280, 900), (360, 740)])
def test_nothing_covers_the_picture(
    served: Served, browser: Browser, width: int, height: int
) -> None:
    driver = browser(width=width, height=height)
    _open(driver, served)
    one(driver, ".ask-head").click()
    for at in (0, 400, 4000):
        driver.execute_script(f"window.scrollTo(0, {at})")
        covered = driver.execute_script(
            """
            const stage = document.querySelector('.viewer:not([hidden]) .stage'), r = stage.getBoundingClientRect();
            const found = [];
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


def test_the_photo_stays_on_screen_while_deciding_on_a_phone(
    served: Served, browser: Browser
) -> None:
    driver = browser(width=360, height=740)
    _open(driver, served)
    asks = driver.find_elements(By.CSS_SELECTOR, ".ask-head")
    asks[len(asks) // 2].click()
    frame = driver.execute_script(
        "const r = document.querySelector('.stage').getBoundingClientRect(); return [r.top, r.bottom]"
    )
    assert frame[0] >= -1
    assert frame[1] < 740 * 0.6
    assert SIZE[0] > SIZE[1]


def test_the_plan_points_at_this_fitting(served: Served, browser: Browser) -> None:
    driver = browser()
    _open(driver, served)
    here = driver.find_elements(By.CSS_SELECTOR, ".plan text.here")
    assert [e.get_attribute("textContent") for e in here] == ["F01"]
