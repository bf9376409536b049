"""A real Chromium, and pages served to it."""

from __future__ import annotations

import os
import shutil
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest
from selenium import webdriver
from selenium.webdriver.chrome.options import Options
from selenium.webdriver.chrome.service import Service

from audit.review.access import Access
from audit.review.app import create_app
from audit.review.context import Review
from audit.review.desk import Desk
from audit.review.serve import loopback_server
from tests.review.jobs import audit, copy_job

_FLAGS = (
    "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--force-device-scale-factor=1", "--hide-scrollbars",
)  # fmt: skip


def _program(variable: str, *names: str) -> str | None:
    given = os.environ.get(variable)
    return given or next((found for n in names if (found := shutil.which(n))), None)


CHROMIUM = _program("LIDOFF_CHROMIUM", "chromium", "chromium-browser", "google-chrome")
DRIVER = _program("LIDOFF_CHROMEDRIVER", "chromedriver")


@contextmanager
def chromium(
    profile: Path, *, width: int = 1280, height: int = 900, dark: bool = False
) -> Iterator[webdriver.Chrome]:
    """One browser with its own profile, the window's inner size as given."""
    options = Options()
    options.binary_location = CHROMIUM or ""
    for flag in _FLAGS:
        options.add_argument(flag)
    options.add_argument(f"--user-data-dir={profile}")
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    driver = webdriver.Chrome(options=options, service=Service(DRIVER))
    try:
        metrics = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600}
        driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics)
        scheme = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
        driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": [scheme]})
        yield driver
    finally:
        driver.quit()


@dataclass(frozen=True)
class Served:
    """Pages that are being served."""

    address: str
    desk: Desk

    def at(self, kind: str, identity: str) -> str:
        """Address of a subject's page."""
        found = next(
            s for s in self.desk.basis().subjects.values() if (s.kind, s.id) == (kind, identity)
        )
        return f"{self.address}at/{found.slug}"

    def photo_key(self, file: str) -> str:
        """Name of a photo in addresses."""
        return next(k for k, p in self.desk.basis().photos.items() if p.file == file)


@contextmanager
def serving(
    root: Path, *, share: float = 0.0, key: Path | None = None, access: Access | None = None
) -> Iterator[Served]:
    """Serve a job's pages as the command does."""
    desk = Desk(root, share)
    app = create_app(Review(desk, access or Access(), key=key, recompute=audit))
    server, port = loopback_server(app, 0)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    try:
        yield Served(f"http://127.0.0.1:{port}/", desk)
    finally:
        server.close()
        thread.join(timeout=5)


@pytest.fixture(autouse=True)
def _needs_chromium() -> None:
    if CHROMIUM is None or DRIVER is None:
        pytest.skip("Chromium is not installed (packages chromium and chromium-driver)")


@pytest.fixture(autouse=True)
def _no_warming(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("audit.review.measure._warm", lambda *_: None)


@pytest.fixture(scope="session")
def base(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("base")


@pytest.fixture
def job(base: Path, tmp_path: Path) -> Path:
    return copy_job(base, tmp_path / "job")


Browser = Callable[..., webdriver.Chrome]


@pytest.fixture
def browser(tmp_path: Path) -> Iterator[Browser]:
    """Start browsers; they are ended with the test."""
    from contextlib import ExitStack

    with ExitStack() as stack:

        def start(**how: object) -> webdriver.Chrome:
            profile = tmp_path / f"profile-{len(stack._exit_callbacks)}"  # type: ignore[attr-defined]
            return stack.enter_context(chromium(profile, **how))  # type: ignore[arg-type]

        yield start
