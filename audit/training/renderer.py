"""The renderer of practice photos, loaded only when it is asked for.

It is a package of its own (`sample_images/scenes`; in the wheel `audit/_scenes`) and needs the
extra `render`; nothing else of the tool does.
"""

from __future__ import annotations

import importlib
import importlib.util
import sys
from dataclasses import asdict, dataclass
from pathlib import Path
from types import ModuleType

from audit.errors import UsageError
from audit.resources import scenes_dir
from audit.training.order import Order

_NAME = "lidoff_scenes"
_NEEDS = ("mitsuba", "pyoidn")


@dataclass(frozen=True)
class Made:
    """A practice photo: the JPEG, and its truth as JSON text (contract `lidoff.truth/1`)."""

    jpeg: bytes
    truth: str


def make(order: Order, file: str, width: int) -> Made:
    """Render the photo of a checked order; its truth names it `file`.

    Raises
    ------
    UsageError
        When the extra `render` is not installed, or no photo meets the order.
    """
    _need_extra()
    practice = _module("practice")
    wanted = _module("orders").Order(**asdict(order))
    try:
        made = practice.practice_photo(wanted, file, (width, width * 3 // 4))
    except practice.OrderError as exc:
        raise UsageError(
            str(exc), None, "ask for another length, view or seed, or for difficulty 3"
        ) from exc
    return Made(made.jpeg, made.truth_text())


def _need_extra() -> None:
    missing = [name for name in _NEEDS if importlib.util.find_spec(name) is None]
    if missing:
        raise UsageError(
            f"practice photos are rendered with {' and '.join(missing)}, which is not installed",
            None,
            "run: pip install 'lidoff[render]'",
        )


def _module(name: str) -> ModuleType:
    """A module of the renderer, under one name whether it lies in the wheel or in the checkout."""
    if _NAME not in sys.modules:
        _load(scenes_dir())
    return importlib.import_module(f"{_NAME}.{name}")


def _load(folder: Path) -> None:
    spec = importlib.util.spec_from_file_location(
        _NAME, folder / "__init__.py", submodule_search_locations=[str(folder)]
    )
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[_NAME] = module
    spec.loader.exec_module(module)
