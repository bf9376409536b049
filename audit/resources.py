"""Where shipped data lives: the packaged copy, else the checkout.

In the wheel `models/` is stored as `audit/_models`; a checkout has it beside
the package and never has `audit/_models`.
"""

from __future__ import annotations

import tomllib
from functools import cache
from pathlib import Path
from typing import Any

from audit.errors import ModelsError, Where

_PACKAGE = Path(__file__).resolve().parent


@cache
def models_dir() -> Path:
    """Folder of the shipped data files.

    Raises
    ------
    ModelsError
        When neither the packaged copy nor the checkout's folder is there.
    """
    for folder in (_PACKAGE / "_models", _PACKAGE.parent / "models"):
        if folder.is_dir():
            return folder
    raise ModelsError("the shipped data files are missing", Where(_PACKAGE), "install lidoff again")


@cache
def demo_dir() -> Path:
    """Folder of the demo job.

    Raises
    ------
    ModelsError
        When no demo job is installed.
    """
    for folder in (_PACKAGE / "_demo", _PACKAGE.parent / "sample_images" / "demo"):
        if (folder / "job.toml").is_file():
            return folder
    raise ModelsError("the demo job is missing", Where(_PACKAGE), "install lidoff again")


@cache
def practice_dir() -> Path:
    """Folder of the ready practice photos, with their `set.toml`.

    Raises
    ------
    ModelsError
        When none are installed.
    """
    for folder in (_PACKAGE / "_practice", _PACKAGE.parent / "sample_images" / "practice"):
        if (folder / "set.toml").is_file():
            return folder
    raise ModelsError("the practice photos are missing", Where(_PACKAGE), "install lidoff again")


@cache
def scenes_dir() -> Path:
    """Folder of the renderer of sample photos, a package of its own that needs the extra `render`.

    Raises
    ------
    ModelsError
        When it is not installed.
    """
    for folder in (_PACKAGE / "_scenes", _PACKAGE.parent / "sample_images" / "scenes"):
        if (folder / "__init__.py").is_file():
            return folder
    raise ModelsError("the renderer is missing", Where(_PACKAGE), "install lidoff again")


def model_path(name: str) -> Path:
    """Path of one shipped data file, `name` relative to `models/` with `/` between folders.

    Raises
    ------
    ModelsError
        When it is not there.
    """
    path = models_dir().joinpath(*name.split("/"))
    if not path.is_file():
        raise ModelsError("a shipped data file is missing", Where(path), "install lidoff again")
    return path


@cache
def load_toml(name: str) -> dict[str, Any]:
    """Parse one shipped TOML file. The result is shared: do not change it.

    Raises
    ------
    ModelsError
        When it is missing or not TOML.
    """
    path = model_path(name)
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except tomllib.TOMLDecodeError as exc:
        raise ModelsError(f"not valid TOML ({exc})", Where(path), "install lidoff again") from exc
