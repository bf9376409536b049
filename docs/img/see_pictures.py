"""Make the pictures of the page docs/how-to/see-what-it-saw.md, and tell what they show.

    python docs/img/see_pictures.py

Writes docs/img/see/, and prints for each photo what the reading says and what the
photo's truth file holds, so that the page's sentences can be checked against both.
"""

from __future__ import annotations

import io
import json
import sys
import tempfile
from pathlib import Path

from PIL import Image

CHECKOUT = Path(__file__).resolve().parents[2]
PHOTOS = {"right": "IMG_2052", "unsure": "F03-terminals", "failure": "IMG_2053"}
"""What a photo is an example of, and its name in the demo job."""
STAGES = {
    "right": ("1-calibrated.jpg", "2-materials.png", "3-strands.jpg", "4-readings.jpg",
              "6-findings.jpg"),
    "unsure": ("1-calibrated.jpg", "2-materials.png", "4-readings.jpg", "6-findings.jpg"),
    "failure": ("2-materials.png", "3-strands.jpg", "6-findings.jpg", "7-flags-close-up.jpg"),
}  # fmt: skip
WIDTH, MOST_BYTES = 1000, 90_000


def main() -> None:
    """Write the pictures, print what was said and what is so."""
    sys.path.insert(0, str(CHECKOUT))
    from audit.batch.photos import LookTask, look_task
    from audit.cli.look import in_text

    made: dict[str, bytes] = {}
    for role, name in PHOTOS.items():
        photo = CHECKOUT / f"sample_images/demo/photos/{name}.jpg"
        with tempfile.TemporaryDirectory() as folder:
            record = look_task(LookTask(photo, photo.name, explain_dir=Path(folder)))
            for stage in STAGES[role]:
                if not (Path(folder) / f"{name}.{stage}").exists():
                    raise SystemExit(f"{name}: no {stage}: choose another photo for {role!r}")
                with Image.open(Path(folder) / f"{name}.{stage}") as picture:
                    made[f"{role}-{stage.split('.')[0]}.jpg"] = small(picture)
        print(f"== {role}", *in_text(record), *truth(name), sep="\n")
    # Only now: a photo that gives no such picture any more leaves the old ones in place.
    target = CHECKOUT / "docs/img/see"
    target.mkdir(exist_ok=True)
    for old in target.glob("*.jpg"):
        old.unlink()
    for file, content in made.items():
        (target / file).write_bytes(content)


def truth(name: str) -> list[str]:
    """The faults that are there, by the photo's truth file, and how much of each shows."""
    text = (CHECKOUT / f"sample_images/demo_truth/{name}.truth.json").read_text(encoding="utf-8")
    items = [i for i in json.loads(text)["items"] if i["fault"]]
    return [
        f"  TRUE: {i['check']} ({i['of']}): {i['size_mm']} mm, {100 * i['visible']:.0f} % of it shows"
        for i in items
    ] or ["  TRUE: no fault"]


def small(picture: Image.Image) -> bytes:
    """A JPEG as wide as the page shows it, or somewhat less, as good as the limit of size allows."""
    for width in (WIDTH, round(0.85 * WIDTH), round(0.7 * WIDTH)):
        height = round(picture.height * width / picture.width)
        narrow = picture.convert("RGB").resize((width, height), Image.Resampling.LANCZOS)
        for quality in range(86, 40, -4):
            out = io.BytesIO()
            narrow.save(out, "JPEG", quality=quality, optimize=True, progressive=True)
            if out.tell() < MOST_BYTES:
                return out.getvalue()
    raise SystemExit("a picture is too large at any fair quality")


if __name__ == "__main__":
    main()
