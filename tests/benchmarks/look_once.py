"""Read one photo in a process of its own and tell where the time went, as JSON on stdout."""

from __future__ import annotations

import json
import resource
import sys
import time
from collections import defaultdict
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2

from audit.measure import look, looks
from audit.measure.declared import Declared
from audit.photo.decode import read_photo

STAGES = (
    "find_card",
    "fit_colour",
    "analysis_image",
    "coarse_map",
    "two_scales",
    "material_map",
    "joint_map",
    "find_strands",
    "look_again",
    "read_cables",
    "spots_of",
    "bare_pieces",
    "work_scale",
    "judge",
    "record_of",
)


def _timed(name: str, work: Callable[..., Any], spent: dict[str, float]) -> Callable[..., Any]:
    def wrapped(*args: Any, **kwargs: Any) -> Any:
        started = time.process_time()
        try:
            return work(*args, **kwargs)
        finally:
            spent[name] += time.process_time() - started

    return wrapped


def main(path: Path) -> dict[str, Any]:
    """Time the Photo stage and all of look; what is loaded at first use is loaded before."""
    cv2.setNumThreads(1)
    declared = Declared(cable_size="1.5")
    look.look_photo(path, declared=declared)
    photo_s, look_s = [], []
    spent: dict[str, float] = defaultdict(float)
    for name in STAGES:
        place = looks if hasattr(looks, name) else look
        setattr(place, name, _timed(name, getattr(place, name), spent))
    for _ in range(3):
        started = time.process_time()
        read_photo(path)
        photo_s.append(time.process_time() - started)
        started = time.process_time()
        look.look_photo(path, declared=declared)
        look_s.append(time.process_time() - started)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    stages = {name: seconds / 3 for name, seconds in spent.items()}
    return {"photo_s": min(photo_s), "look_s": min(look_s), "peak_mb": peak, "stages": stages}


if __name__ == "__main__":
    json.dump(main(Path(sys.argv[1])), sys.stdout)
