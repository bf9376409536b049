"""All of look on a 12 MP photo: `python -m tests.benchmarks.bench_look`.

Prints the time as a multiple of the Photo stage alone, where it goes by stage, the
peak memory of a worker, and whether the bars hold: 4 times, and 400 MB. Leaves with
1 when one does not.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from pathlib import Path

import cv2

CHECKOUT = Path(__file__).resolve().parent.parent.parent
PHOTOS = CHECKOUT / "sample_images" / "demo" / "photos"
MAX_TIMES, MAX_MB = 4.0, 400.0


def figures(folder: Path) -> dict:
    """One photo of the demo job at the size of a phone's, read in a process of its own."""
    small = cv2.imread(str(min(PHOTOS.glob("*inside*.jpg"))))
    photo = folder / "phone.jpg"
    large = cv2.resize(small, (4032, 3024), interpolation=cv2.INTER_CUBIC)
    cv2.imwrite(str(photo), large, [cv2.IMWRITE_JPEG_QUALITY, 92])
    run = [sys.executable, "-m", "tests.benchmarks.look_once", photo]
    done = subprocess.run(run, cwd=CHECKOUT, capture_output=True, text=True, check=True)
    return json.loads(done.stdout)


def main() -> int:
    """Print the figures; 0 when both bars hold."""
    with tempfile.TemporaryDirectory() as folder:
        got = figures(Path(folder))
    times = got["look_s"] / got["photo_s"]
    told = {True: "bar held", False: "BAR NOT HELD"}
    print(f"photo {got['photo_s']:.2f} s, look {got['look_s']:.2f} s")
    print(f"{times:.1f} times the Photo stage, wanted {MAX_TIMES:g}: {told[times <= MAX_TIMES]}")
    for stage, seconds in sorted(got["stages"].items(), key=lambda s: -s[1]):
        print(f"  {stage:16s} {seconds:.2f} s")
    peak = got["peak_mb"]
    print(f"peak {peak:.0f} MB, wanted {MAX_MB:g}: {told[peak <= MAX_MB]}")
    return int(times > MAX_TIMES or peak > MAX_MB)


if __name__ == "__main__":
    sys.exit(main())
