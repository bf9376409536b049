"""Numbers in the margins of a photo: legible on a phone, however much was found."""

from __future__ import annotations

import re
from itertools import pairwise
from pathlib import Path

import pytest

from audit.measure.contract import FindingRecord, LookRecord
from audit.report.annotate import Place
from audit.report.html import page
from audit.report.overlay import margin_tags, overlay_svg
from audit.report.pictures import PictureTask, make_pictures
from audit.settings import Settings
from tests.report import samples
from tests.report.samples import SIZE, write_photo

PHONE_PX, NUMBER_PX, ROOM = 314, 25, 22
"""Width of a photo on a phone of 360 px, and of a number of two digits on it (measured in a browser)."""


def place(number: int, x: float, y: float) -> Place:
    return Place(number, (x, y, x + 20, y + 20), "unsure", ())


@pytest.mark.parametrize("many", [1, 5, 13, ROOM, 60])
@pytest.mark.parametrize("y", [(10,), (250,), (10, 250)])
def test_numbers_do_not_run_into_each_other_on_a_phone(many: int, y: tuple[float, ...]) -> None:
    found = [place(n + 1, 100 + (7 * n) % 60, y[n % len(y)]) for n in range(many)]
    tags = margin_tags(found, SIZE)
    assert [t.place.number for t in tags] == list(range(1, min(many, ROOM) + 1))
    for above in (True, False):
        at = sorted(t.x for t in tags if t.above is above)
        assert all(0 <= x <= 100 for x in at)
        assert all((b - a) / 100 * PHONE_PX >= NUMBER_PX for a, b in pairwise(at))
    if many <= ROOM / 2:
        assert all(t.above is (t.place.box[1] < SIZE[1] / 2) for t in tags)


def test_what_has_no_number_in_a_margin_is_outlined_apart(tmp_path: Path) -> None:
    found = [place(n + 1, 10 * n, 10) for n in range(30)]
    drawn = overlay_svg(write_photo(tmp_path / "a.jpg"), margin_tags(found, SIZE), found[ROOM:])
    before, _, rest = drawn.partition('<g class="rest">')
    assert "place" not in before
    assert re.findall(r">(\d+)</text>", drawn) == [str(n) for n in range(ROOM + 1, 31)]
    assert (rest + before).count('class="place') == 30
    assert drawn.count('class="leader"') == ROOM


def crowded(path: Path, many: int) -> LookRecord:
    """A photo with places all over it."""
    look = write_photo(path)
    found = [
        FindingRecord(
            check="copper-beyond-terminal",
            of=f"e{n}",
            state="unsure",
            box_px=(x := 5 + 37 * (n % 10), y := 5 + 57 * (n // 10), x + 30, y + 40),
            value_mm=5 - n / 10,
            u95_mm=1.0,
            score=0.3,
            why="a reason",
        )
        for n in range(many)
    ]
    return look.model_copy(update={"findings": tuple(found)})


def crowded_page(folder: Path, many: int) -> str:
    look = crowded(folder / "a.jpg", many)
    made = make_pictures(PictureTask(folder / "a.jpg", look, folder, 800, 300, Settings()))
    assert made is not None
    checklist = samples.checklist(look)
    return "".join(page(checklist, lambda e: (folder, made) if e.file == look.photo else None))


@pytest.mark.parametrize(
    ("many", "offered"),
    [(ROOM, None), (ROOM + 1, "outline of place 23"), (40, "outlines of places 23 to 40")],
)
def test_the_page_offers_the_outlines_it_leaves_out(
    tmp_path: Path, many: int, offered: str | None
) -> None:
    text = crowded_page(tmp_path, many)
    assert len(re.findall(r'aria-label="Place \d+, ', text)) == min(many, ROOM)
    assert len(re.findall(r'<figure class="crop', text)) == many
    assert text.count('<input class="switch s-rest"') == (offered is not None)
    assert offered is None or f"> {offered}</label>" in text
    assert len(re.findall(r"<text [^>]*>\d+</text></g>|<text [^>]*>\d+</text><g", text)) == max(
        0, many - ROOM
    )
