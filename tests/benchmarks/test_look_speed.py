"""All of look on a 12 MP photo against the Photo stage alone, and the memory a worker needs."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import cv2
import pytest

CHECKOUT = Path(__file__).resolve().parent.parent.parent
PHOTOS = CHECKOUT / "sample_images" / "demo" / "photos"


@pytest.fixture(scope="module")
def figures(tmp_path_factory: pytest.TempPathFactory) -> dict:
    """One photo of the demo job at the size of a phone's, read in a process of its own."""
    small = cv2.imread(str(next(PHOTOS.glob("*inside*.jpg"))))
    photo = tmp_path_factory.mktemp("photo") / "phone.jpg"
    large = cv2.resize(small, (4032, 3024), interpolation=cv2.INTER_CUBIC)
    cv2.imwrite(str(photo), large, [cv2.IMWRITE_JPEG_QUALITY, 92])
    run = [sys.executable, "-m", "tests.benchmarks.look_once", photo]
    done = subprocess.run(run, cwd=CHECKOUT, capture_output=True, text=True, check=True)
    return json.loads(done.stdout)


def test_look_takes_few_times_the_photo_stage(figures: dict) -> None:
    times = figures["look_s"] / figures["photo_s"]
    print(f"photo {figures['photo_s']:.2f} s, look {figures['look_s']:.2f} s: {times:.1f} times")
    for stage, seconds in sorted(figures["stages"].items(), key=lambda s: -s[1]):
        print(f"  {stage:16s} {seconds:.2f} s")
    assert times <= 4


def test_a_worker_needs_little_memory(figures: dict) -> None:
    print(f"peak {figures['peak_mb']:.0f} MB")
    assert figures["peak_mb"] <= 400
