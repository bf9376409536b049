"""The built wheel works away from the checkout: installed anew, run from an empty folder."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import sysconfig
import venv
import zipfile
from pathlib import Path
from typing import get_args

import pytest

from audit.measure.contract import CheckId

CHECKOUT = Path(__file__).resolve().parent.parent


def _run(
    *args: object, cwd: Path, env: dict[str, str] | None = None
) -> subprocess.CompletedProcess[str]:
    done = subprocess.run(
        [str(a) for a in args], cwd=cwd, env=env, capture_output=True, text=True, timeout=300
    )
    print(done.stdout, done.stderr, sep="\n")
    return done


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Build with the backend that is installed: no second environment, no network."""
    out = tmp_path_factory.mktemp("dist")
    done = _run(sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", out, cwd=CHECKOUT)
    assert done.returncode == 0
    (path,) = out.glob("lidoff-*.whl")
    return path


@pytest.fixture(scope="module")
def installed(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folder of the commands of a new environment that holds the wheel.

    What the wheel depends on is taken from the running environment, which
    stands behind the new one on the path: the wheel's own files come first.
    """
    home = tmp_path_factory.mktemp("venv")
    venv.create(home, with_pip=True)
    commands = home / ("Scripts" if os.name == "nt" else "bin")
    site = next(home.glob("lib/python*/site-packages"), home / "Lib" / "site-packages")
    done = _run(
        commands / "python",
        "-m",
        "pip",
        "install",
        "-q",
        "--no-deps",
        "--no-index",
        wheel,
        cwd=home,
    )
    assert done.returncode == 0
    # A .pth file adds a folder without reading the .pth files in it: an editable install of the
    # checkout stays invisible.
    (site / "dependencies.pth").write_text(sysconfig.get_path("purelib"), encoding="utf-8")
    return commands


PHOTO_CHECKS = get_args(CheckId)


def test_the_wheel_holds_code_models_demo_and_licence(wheel: Path) -> None:
    names = zipfile.ZipFile(wheel).namelist()
    shipped = {p.relative_to(CHECKOUT / "models").as_posix() for p in _files(CHECKOUT / "models")}
    assert {n.removeprefix("audit/_models/") for n in names if "_models/" in n} == shipped
    assert "audit/_demo/job.toml" in names
    practice = {p.name for p in (CHECKOUT / "sample_images" / "practice").iterdir()}
    assert {n.removeprefix("audit/_practice/") for n in names if "_practice/" in n} == practice
    assert {"audit/_scenes/__init__.py", "audit/_scenes/practice.py"} <= set(names)
    assert any(n.endswith("licenses/LICENSE") for n in names)
    top = {n.split("/")[0] for n in names}
    assert {t for t in top if not t.endswith(".dist-info")} == {"audit"}


def _files(folder: Path) -> list[Path]:
    return [p for p in folder.rglob("*") if p.is_file()]


def test_the_package_comes_from_the_wheel(installed: Path, tmp_path: Path) -> None:
    code = "import audit, audit.resources as r; print(audit.__file__); print(r.models_dir())"
    done = _run(installed / "python", "-c", code, cwd=tmp_path)
    assert done.returncode == 0
    for line in done.stdout.splitlines():
        assert Path(line).is_relative_to(installed.parent)


def test_quick_start_from_an_empty_folder(installed: Path, tmp_path: Path) -> None:
    done = _run(installed / "lidoff", "demo", cwd=tmp_path)
    assert done.returncode == 0
    assert "Traceback" not in done.stderr
    (checklist,) = tmp_path.rglob("out/checklist.json")
    data = json.loads(checklist.read_text(encoding="utf-8"))
    assert data
    html = checklist.with_suffix(".html").read_text(encoding="utf-8")
    assert "no fault seen in these photos" in html
    assert str(CHECKOUT) not in html
    _hold_against_truth(data)


def _hold_against_truth(data: dict) -> None:
    """No planted fault of the demo job reads as clear; a sound fitting has one false flag at most."""
    states = {item["id"]: item["state"] for item in data["items"]}
    fitting_of = {Path(p["file"]).name: p["fitting"] for p in data["photos"]}
    planted: dict[str, set[str]] = {fitting: set() for fitting in fitting_of.values()}
    for file in (CHECKOUT / "sample_images" / "demo_truth").glob("*.truth.json"):
        truth = json.loads(file.read_text(encoding="utf-8"))
        fitting = fitting_of[file.name.replace(".truth.json", ".jpg")]
        planted[fitting] |= {i["check"] for i in truth.get("items", ()) if i["fault"]}
    assert sum(map(len, planted.values())) >= 7
    for fitting, checks in planted.items():
        for check in checks:
            assert states[f"{check}:{fitting}"] in ("flag", "unsure"), (fitting, check)
        if not checks:
            false = [c for c in PHOTO_CHECKS if states.get(f"{c}:{fitting}") == "flag"]
            assert len(false) <= 1, (fitting, false)


@pytest.mark.render
def test_a_practice_photo_from_an_empty_folder(installed: Path, tmp_path: Path) -> None:
    pytest.importorskip("mitsuba")
    pytest.importorskip("pyoidn")
    args = ("practice-photo", "--check", "none", "--view", "terminals", "--width", "400")
    done = _run(installed / "lidoff", *args, cwd=tmp_path)
    assert done.returncode == 0 and "Traceback" not in done.stderr
    assert {p.name for p in tmp_path.iterdir()} == {"practice.jpg", "practice.truth.json"}


def test_new_and_check_from_an_empty_folder(installed: Path, tmp_path: Path) -> None:
    assert _run(installed / "lidoff", "new", "site", cwd=tmp_path).returncode == 0
    done = _run(installed / "lidoff", "check", "site", cwd=tmp_path)
    # A job that has no fitting yet is told so in one line; that is exit code 3.
    assert done.returncode == 3 and "no fittings" in done.stderr
    assert "Traceback" not in done.stderr
