"""A CPC that is bare between its sheath and its sleeve, on rendered photos with truth.

No tree learned from them, but the levels were set with them in sight: these tests keep what was found, and prove nothing
of other photos.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from audit.bench.match import match_photo
from audit.bench.truth import load_truth
from audit.measure.look import look_photo

PRACTICE = Path(__file__).parents[2] / "sample_images" / "practice"


@pytest.mark.parametrize("name", ["practice-18", "practice-29", "practice-49"])
def test_it_is_asked_about_where_it_is_bare_and_not_called_clear(name: str) -> None:
    """9, 39 and 5 mm are bare; all were passed over while nothing but the trees was asked."""
    truth = load_truth(PRACTICE / f"{name}.truth.json")
    faults = [i for i in truth.items if i.check == "cpc-unsleeved" and i.fault]
    look = look_photo(PRACTICE / f"{name}.jpg", declared=truth.declared)
    said = [f for f in look.findings if f.check == "cpc-unsleeved"]
    pairs = match_photo(faults, said, truth.scale.px_per_mm)
    asked = [p.finding for p in pairs if p.item is not None]
    assert len(asked) == 1
    assert asked[0] is not None
    assert asked[0].state in ("flag", "unsure")
