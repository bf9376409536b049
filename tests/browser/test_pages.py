"""Every page, at desk and phone width, light and dark: nothing for axe-core to find."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from selenium.webdriver.common.by import By

from audit.review.access import Access
from tests.browser.conftest import Browser, Served, serving
from tests.browser.hands import (
    axe,
    complaints,
    enter_name,
    foreign,
    one,
    small_targets,
    wait,
    wider_than_window,
)
from tests.review.jobs import make_job

pytestmark = pytest.mark.browser


def _pages(served: Served) -> list[str]:
    basis = served.desk.basis()
    blind = served.desk.record.state(basis.evidence).blind.fittings
    kinds = {(s.kind, s.id in blind): s.slug for s in basis.subjects.values()}
    subjects = [f"at/{slug}" for (_, hidden), slug in kinds.items() if not hidden]
    looks = [f"second-look/{slug}" for (_, hidden), slug in kinds.items() if hidden]
    assert len(subjects) >= 3
    assert looks
    photo = next(k for k, p in basis.photos.items() if p.fitting not in blind)
    rest = ["", "you", "requests", "second-look", "sign-off/boarding", "sign-off/closing-up"]
    return [*rest, *subjects, *looks, f"marks/{photo}", "nowhere"]


@pytest.fixture(scope="module")
def two_views(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_job(tmp_path_factory.mktemp("views") / "job", fittings=3, photos_each=4)


@pytest.fixture
def job(two_views: Path, tmp_path: Path) -> Path:
    root = tmp_path / "job"
    shutil.copytree(two_views, root)
    return root


@pytest.mark.parametrize(
    ("width", "height", "dark", "thorough"),
    [
        (1280, 900, False, True),
        (1280, 900, True, False),
        (360, 740, False, False),
        (360, 740, True, True),
    ],
)
def test_axe_finds_nothing(
    job: Path, browser: Browser, width: int, height: int, dark: bool, thorough: bool
) -> None:
    with serving(job, share=0.2) as served:
        driver = browser(width=width, height=height, dark=dark)
        enter_name(driver, served.address, "A. Person")
        found = []
        for page in _pages(served):
            driver.get(served.address + page)
            found += [f"/{page} {v}" for v in axe(driver)]
            assert wider_than_window(driver) <= 0, f"/{page} scrolls sideways"
            assert not foreign(driver)
            assert not small_targets(driver), f"/{page}"
            heads = driver.find_elements(By.CSS_SELECTOR, ".ask-head")
            for head in heads[:1] if thorough else ():
                driver.execute_script("arguments[0].click()", head)
                for way in ("overrule", "retake", "seen on site"):
                    wait(
                        lambda: (
                            driver.find_element(By.CSS_SELECTOR, ".ask.open").get_attribute(
                                "data-shown"
                            )
                            == "yes"
                        )
                    )
                    driver.execute_script(
                        "document.querySelector(`.ask.open [data-way='${arguments[0]}']`).click()",
                        way,
                    )
                    one(driver, f".ask.open [data-for='{way}']")
                found += [f"/{page} opened {v}" for v in axe(driver)]
                assert wider_than_window(driver) <= 0, f"/{page} opened scrolls sideways"
        assert not found, "\n".join(found)
        wrong = [c for c in complaints(driver) if "/nowhere" not in c]
        assert not wrong, wrong


@pytest.mark.parametrize("dark", [False, True])
@pytest.mark.parametrize("width", [1280, 360])
def test_the_door_that_asks_for_the_code(
    job: Path, browser: Browser, width: int, dark: bool
) -> None:
    """Shown to another machine's browser before anything else."""
    with serving(job, access=Access(code_wanted=True)) as served:
        driver = browser(width=width, height=740, dark=dark)
        driver.get(served.address)
        assert driver.current_url.endswith("/enter")
        assert not axe(driver)
        assert wider_than_window(driver) <= 0
        assert not foreign(driver)
        assert not small_targets(driver)


def test_axe_finds_a_fault_that_was_put_there(job: Path, browser: Browser) -> None:
    """A check that can't fail proves nothing."""
    with serving(job) as served:
        driver = browser()
        driver.get(f"{served.address}you")
        driver.execute_script(
            """
            const p = document.createElement('p');
            p.textContent = 'too faint';
            p.style.color = '#ddd';
            document.querySelector('label').remove();
            document.querySelector('main').append(p);
            """
        )
        found = " ".join(axe(driver))
        assert "color-contrast" in found
        assert "label" in found


def test_at_200_per_cent_zoom_nothing_is_lost(job: Path, browser: Browser) -> None:
    """WCAG 2.2, 1.4.4: zoomed to 200 % a window of 1280 px has 640 px to lay out."""
    with serving(job) as served:
        driver = browser(width=640, height=450)
        enter_name(driver, served.address, "A. Person")
        for page in (
            "",
            served.at("fitting", "F01").removeprefix(served.address),
            "sign-off/boarding",
        ):
            driver.get(served.address + page)
            assert wider_than_window(driver) <= 0
            cut = driver.execute_script(
                """
                return [...document.querySelectorAll('button, a, h1, h2, p')].filter((e) => {
                  const r = e.getBoundingClientRect();
                  return e.checkVisibility() && r.width && (r.right > innerWidth + 1 || r.left < -1)
                    && !e.closest('.scroll, .board, nav, .bar, .spots, .skip');
                }).map((e) => e.outerHTML.slice(0, 100));
                """
            )
            assert not [c for c in cut if "skip" not in c]


def test_states_are_told_by_word_and_shape_too(job: Path, browser: Browser) -> None:
    with serving(job) as served:
        driver = browser()
        enter_name(driver, served.address, "A. Person")
        driver.get(served.at("fitting", "F01"))
        one(driver, ".ask")
        states = driver.execute_script(
            """
            return [...document.querySelectorAll('.ask .state')].map((e) => [
              e.textContent.trim(), e.querySelector('use').getAttribute('href')]);
            """
        )
        assert {word for word, _ in states} >= {"flag", "unsure", "missing"}
        assert all(word for word, _ in states)
        assert len({shape for _, shape in states}) == len(
            {word for word, _ in states if "declared" not in word}
        )
