"""What counts as seen in the photos of a fitting: only what both looks at a photo saw."""

from __future__ import annotations

import pytest

from audit.checklist.merge import _seen
from audit.checklist.seen import LinkedPhoto, fitting_seen
from audit.measure.contract import CableRecord, CpcRecord, EntryRecord, LookRecord


def _photo(*one_look: bool) -> LinkedPhoto:
    cables = tuple(
        CableRecord(
            id=f"c{k}",
            sheath="grey",
            entry=EntryRecord(kind="clamp", origin="found"),
            one_look=once,
        )
        for k, once in enumerate(one_look, 1)
    )
    record = LookRecord(
        photo="F01-inside.jpg",
        sha256=None,
        size_px=(1600, 1200),
        outcome="read",
        usable=True,
        cables=cables,
        cpc=tuple(CpcRecord(cable=c.id, seen="none_comes_out") for c in cables),
    )
    return LinkedPhoto("F01-inside.jpg", record, "F01")


@pytest.mark.parametrize(
    ("one_look", "counted"),
    [((False, False), 2), ((False, True), 1), ((False, True, True), 1), ((True,), None)],
)
def test_a_cable_that_one_look_saw_contradicts_no_declaration(
    one_look: tuple[bool, ...], counted: int | None
) -> None:
    photo = _photo(*one_look)
    seen = fitting_seen("F01", [photo])
    assert seen.cables == counted
    assert len(seen.cpc) == (counted or 0)
    assert _seen(photo.seen) == (counted or 0)


def test_it_is_told_in_the_record() -> None:
    told = _photo(False, True).record.model_dump(mode="json")
    assert [c["one_look"] for c in told["cables"]] == [False, True]
