"""Numbers in the margins of a photo: legible on a phone, however much was found."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import pytest

from audit.report.annotate import Place
from audit.report.overlay import margin_tags, overlay_svg
from tests.report.samples import SIZE, write_photo

PHONE_PX, NUMBER_PX = 340, 25
"""Width of a photo on a phone of 390 px, and of a number of two digits on it (measured in a browser)."""


def place(number: int, x: float, y: float) -> Place:
    return Place(number, (x, y, x + 20, y + 20), "unsure", ())


@pytest.mark.parametrize("many", [1, 5, 13, 26, 60])
@pytest.mark.parametrize("y", [10, 250])
def test_numbers_do_not_run_into_each_other_on_a_phone(many: int, y: float) -> None:
    found = [place(n + 1, 100 + (7 * n) % 60, y) for n in range(many)]
    tags = margin_tags(found, SIZE)
    assert [t.place.number for t in tags] == list(range(1, min(many, 26) + 1))
    for above in (True, False):
        at = sorted(t.x for t in tags if t.above is above)
        assert all(0 <= x <= 100 for x in at)
        assert all((b - a) / 100 * PHONE_PX >= NUMBER_PX for a, b in pairwise(at))


def test_what_has_no_number_in_a_margin_is_outlined_apart(tmp_path: Path) -> None:
    found = [place(n + 1, 10 * n, 10) for n in range(30)]
    tags = margin_tags(found, SIZE)
    drawn = overlay_svg(write_photo(tmp_path / "a.jpg"), tags, found[len(tags) :])
    rest = drawn.partition('<g class="rest">')[2]
    assert rest.count('class="place') == 30
    assert (
        rest.partition("leader")[0].count('class="place') == 4 + 1
    )  # the first with a number follows
    assert drawn.count('class="leader"') == 26
