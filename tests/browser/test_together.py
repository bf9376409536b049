"""Two browsers at once, marks by hand, a stale sign-off, and what refuses to be hurried."""

from __future__ import annotations

import shutil
import uuid
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from selenium.webdriver import ActionChains, Chrome
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

from audit.batch.photos import LookTask
from audit.measure.contract import LookRecord
from audit.record.decisions import photos_of
from audit.record.keys import load_key, make_key
from audit.record.store import utc_now
from audit.record.types import Agree, SeenOnSite
from audit.review import measure
from audit.review.desk import Desk, item_key
from tests.browser.conftest import Browser, Served, serving
from tests.browser.hands import enter_name, one, press, tab_to, text, wait
from tests.review.jobs import SIZE, look_drawn, make_job

pytestmark = pytest.mark.browser
ITEM = item_key("core-outside-grip:F01")


def _open(driver: Chrome, served: Served, key: str = ITEM) -> None:
    driver.get(f"{served.at('fitting', 'F01')}#{key}")
    wait(lambda: driver.find_elements(By.CSS_SELECTOR, f"#{key}.open"))


def _shown(driver: Chrome, key: str = ITEM) -> None:
    wait(lambda: driver.find_element(By.ID, key).get_attribute("data-shown") == "yes")


def _status(driver: Chrome, key: str = ITEM) -> str:
    return str(driver.find_element(By.ID, key).get_attribute("data-status"))


def test_two_browsers_see_what_the_other_decided(job: Path, browser: Browser) -> None:
    with serving(job) as served:
        one_, two = browser(), browser()
        for driver, name in ((one_, "One"), (two, "Two")):
            enter_name(driver, served.address, name)
            _open(driver, served)
            _shown(driver)
        # Two is writing a reason when One decides.
        press(two, "v")
        wait(lambda: two.switch_to.active_element.get_attribute("name") == "reason")
        press(two, "I hold otherwise")
        press(one_, "a")
        wait(lambda: _status(one_) == "decided")
        wait(lambda: _status(two) == "decided", "the other browser takes it over")
        assert "Agreed: the fault is there (One" in text(two, f"#{ITEM} .standing")
        assert two.find_element(By.CSS_SELECTOR, f"#{ITEM} [name=reason]").get_attribute(
            "value"
        ) == ("I hold otherwise")
        one(two, f"#{ITEM} form[data-for=overrule] button.main").click()
        wait(lambda: "Overruled" in text(one_, f"#{ITEM} .standing"), "One sees it")
        kinds = [e.kind for e in served.desk.record.entries()]
        assert kinds.count("decision") == 2


def test_two_that_decide_at_the_same_moment_are_told(job: Path, browser: Browser) -> None:
    with serving(job) as served:
        one_, two = browser(), browser()
        for driver, name in ((one_, "One"), (two, "Two")):
            enter_name(driver, served.address, name)
            _open(driver, served)
            _shown(driver)
        two.execute_script(
            "window.fetch = ((f) => (u, o) => u.startsWith('/news') ? Promise.reject() : f(u, o))(window.fetch)"
        )
        press(one_, "a")
        wait(lambda: _status(one_) == "decided")
        press(two, "a")
        wait(lambda: "somebody decided this in the meantime" in text(two, f"#{ITEM} .told"))
        assert "(One" in text(two, f"#{ITEM} .standing")
        assert [e.kind for e in served.desk.record.entries()].count("decision") == 1


@pytest.mark.parametrize("status", [409, 503])
def test_a_look_that_could_not_be_recorded_is_tried_again(
    job: Path, browser: Browser, status: int
) -> None:
    """The item stays open on screen; nobody has to close and open it to go on."""
    with serving(job) as served:
        driver = browser()
        enter_name(driver, served.address, "One")
        driver.get(served.at("fitting", "F01"))
        driver.execute_script(
            """
            const [status, item] = arguments;
            window.fetch = ((real, left) => (path, options) => {
              if (path !== "/do/shown" || left-- <= 0) return real(path, options);
              const html = status === 409 ? document.getElementById(item).outerHTML : undefined;
              return Promise.resolve(new Response(JSON.stringify({ what: "busy", html }), { status }));
            })(window.fetch, 1);
            """,
            status,
            ITEM,
        )
        one(driver, f"#{ITEM} .ask-head").click()
        wait(lambda: "busy" in text(driver, f"#{ITEM} .told"))
        _shown(driver)


def test_a_stop_item_can_t_be_decided_before_its_photo_was_on_screen(
    job: Path, browser: Browser
) -> None:
    with serving(job) as served:
        driver = browser(width=1000, height=500)
        enter_name(driver, served.address, "A. Person")
        _open(driver, served)
        press(driver, "a")
        assert "Look at it" in text(driver, f"#{ITEM} .told")
        assert one(driver, f"#{ITEM} [data-way=agree]").get_attribute("aria-disabled") == "true"
        _shown(driver)
        press(driver, "a")
        wait(lambda: _status(driver) == "decided")
        shown = [e for e in served.desk.record.entries() if e.kind == "shown"]
        assert [e.data["photos"] for e in shown] == [["F01-inside.jpg"]]
        press(driver, "z")
        wait(lambda: _status(driver) == "undecided")
        assert served.desk.record.entries()[-1].kind == "undo"


def test_single_keys_can_be_switched_off(job: Path, browser: Browser) -> None:
    """WCAG 2.2, 2.1.4."""
    with serving(job) as served:
        driver = browser()
        enter_name(driver, served.address, "A. Person")
        _open(driver, served)
        _shown(driver)
        driver.execute_script("document.getElementById('single-keys').click()")
        press(driver, "a")
        press(driver, "j")
        assert driver.find_elements(By.CSS_SELECTOR, f"#{ITEM}.open")
        assert _status(driver) == "undecided"


@pytest.fixture
def drawn_reader(monkeypatch: pytest.MonkeyPatch) -> None:
    def look(
        path: Any, *, marks: Any, declared: Any, name: str, settings: Any, before: Any
    ) -> LookRecord:
        return look_drawn(LookTask(path, name, settings, tuple(marks), declared))

    monkeypatch.setattr(measure, "look_photo", look)


@pytest.mark.usefixtures("drawn_reader")
def test_a_mark_is_dragged_measured_and_kept(job: Path, browser: Browser) -> None:
    with serving(job) as served:
        driver = browser(height=1000)
        enter_name(driver, served.address, "A. Person")
        _open(driver, served)
        one(driver, ".viewer a.button").click()
        wait(lambda: "/marks/" in driver.current_url)
        one(driver, "#kind").send_keys("sheath edge")
        one(driver, "#put").click()
        wait(lambda: "Measured" in text(driver, "#told"))
        assert "6.0 ± 0.6 mm" in text(driver, "#results")
        scale = driver.execute_script(
            "return document.querySelector('.sheet').getBoundingClientRect().width / 1600"
        )
        handles = driver.find_elements(By.CSS_SELECTOR, ".handle")
        assert len(handles) == 2
        for handle in handles:  # both ends 40 px of the photo nearer to the grip
            ActionChains(driver).drag_and_drop_by_offset(handle, round(40 * scale), 0).perform()
        wait(lambda: "2.0 ± 0.3 mm" in text(driver, "#results"), "measured with the mark")
        one(driver, "#keep").click()
        wait(lambda: "measured=" in driver.current_url)
        assert "2.0" in text(driver, f"#{ITEM} .figure")
        entry = next(e for e in served.desk.record.entries() if e.kind == "mark")
        assert entry.data["measured_by"] == "a person"
        xs = [x for x, _ in entry.data["mark"]["points_px"]]
        assert all(abs(x - 740) < 2 for x in xs)


@pytest.mark.usefixtures("drawn_reader")
def test_a_mark_is_moved_by_arrow_keys(job: Path, browser: Browser) -> None:
    with serving(job) as served:
        driver = browser(width=360, height=740)
        enter_name(driver, served.address, "A. Person")
        driver.get(f"{served.address}marks/{served.photo_key('F01-inside.jpg')}")
        tab_to(driver, "#kind")
        press(driver, "s")
        tab_to(driver, "#put")
        press(driver, Keys.ENTER)
        wait(lambda: "handle" in driver.switch_to.active_element.get_attribute("class"))
        at = driver.switch_to.active_element.get_attribute("aria-label")
        assert "x 700" in at
        press(driver, *[Keys.ARROW_RIGHT] * 3)
        ActionChains(driver).key_down(Keys.SHIFT).send_keys(Keys.ARROW_RIGHT).key_up(
            Keys.SHIFT
        ).perform()
        assert "x 713" in driver.switch_to.active_element.get_attribute("aria-label")
        # One end was moved by 13 px, so the line by 6.5, at 10 px a mm.
        wait(lambda: "5.3 ± 0.3 mm" in text(driver, "#results"), "measured")
        assert "Measured" in text(driver, "#told")


@pytest.fixture(scope="module")
def signed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small job, decided item by item and signed off."""
    base = tmp_path_factory.mktemp("signed")
    root = make_job(base / "job", fittings=1)
    desk = Desk(root, 0.0)
    basis, _ = desk.adopted("C")
    for item in basis.checklist.items:
        key = uuid.uuid4().hex
        files = photos_of(basis.evidence, item)
        desk.record.shown(basis.evidence, item.id, by="C", photos=files, key=f"{key}-s")
        fault = item.weight == "stop" and item.state == "flag"
        decision = SeenOnSite("C", utc_now(), "no fault") if fault else Agree()
        desk.record.decide(basis.evidence, item.id, decision, by="C", saw=(), key=key)
    make_key(base / "k.pem", "some long words")
    signer = load_key(base / "k.pem", "some long words")
    for point in ("closing-up", "boarding"):
        desk.record.sign_off(
            basis.evidence, point, by="C", statement="I answer for it.", signer=signer,  # type: ignore[arg-type]
            key=uuid.uuid4().hex,
        )  # fmt: skip
    return root


def test_a_stale_sign_off_is_seen(signed: Path, tmp_path: Path, browser: Browser) -> None:
    root = tmp_path / "job"
    shutil.copytree(signed, root)
    with serving(root) as served:
        driver = browser()
        enter_name(driver, served.address, "A. Person")
        assert "Signed off by C" in text(driver, "main")
        driver.get(f"{served.address}sign-off/closing-up")
        assert text(driver, "#latest") == "Signed off"
        Image.new("RGB", SIZE, "grey").save(root / "photos" / "F01-inside.jpg")
        served.desk._hashed = -1e9

        def stale() -> bool:
            driver.refresh()
            return "stale" in text(driver, "#latest")

        wait(stale)
        assert "photo F01-inside.jpg is another one" in text(driver, "main")
        driver.get(served.address)
        assert "is stale" in text(driver, "main")
