"""What harm does to findings, told from findings made by hand."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from audit.bench.flips import (
    Change,
    Compared,
    HarmCounts,
    LevelCounts,
    Places,
    bars,
    changes,
    count_level,
    flips,
)
from audit.bench.harmed import (
    HarmReading,
    HarmTask,
    keep_reading,
    kept_readings,
    work_middle,
    write_harmed,
)
from audit.bench.harms import AS_IT_WAS, HARMS, Work
from audit.bench.truth import Truth, find_cases, load_truth
from audit.errors import JobError
from audit.measure.contract import LookRecord
from audit.photo.decode import read_photo
from audit.settings import Settings
from tests.bench.conftest import SCALE, Folder, finding, item, look_dict, truth_dict
from tests.benchmarks.bench_harm import result_of, spread

COPPER, GRIP = "copper-beyond-terminal", "core-outside-grip"
SAME = Places(AS_IT_WAS, (640, 480), SCALE)
BLUR = next(h for h in HARMS if h.name == "blur")


def _look(*findings: dict[str, Any], **more: Any) -> LookRecord:
    return LookRecord.model_validate(look_dict("a.jpg", list(findings), **more))


def _steps(got: list[Change]) -> list[tuple[str, str]]:
    return sorted((c.before, c.after) for c in got)


@pytest.mark.parametrize("before", ["flag", "clear", "unsure"])
@pytest.mark.parametrize("after", ["flag", "clear", "unsure"])
def test_each_turn_is_told(before: str, after: str) -> None:
    got = changes(_look(finding(COPPER, before, 50)), _look(finding(COPPER, after, 55)), SAME)
    assert _steps(got) == [(before, after)]
    counts = count_level(1.0, [Compared(got, refused=False)])
    assert getattr(counts, f"{before}_to_{after}") == 1
    assert (counts.findings, counts.flags, counts.clears) == (
        1,
        before == "flag",
        before == "clear",
    )


def test_nothing_in_its_place_is_silence_or_a_refusal() -> None:
    before = _look(finding(COPPER, "flag", 50))
    assert _steps(changes(before, _look(), SAME)) == [("flag", "silent")]
    for outcome in ("retake", "failed"):
        assert _steps(changes(before, _look(outcome=outcome), SAME)) == [("flag", "refused")]


def test_another_check_or_another_place_is_no_answer() -> None:
    before = _look(finding(COPPER, "flag", 50))
    after = _look(finding(GRIP, "clear", 50), finding(COPPER, "clear", 300))
    wanted = [("flag", "silent"), ("silent", "clear"), ("silent", "clear")]
    assert _steps(changes(before, after, SAME)) == wanted


# 3 mm at 10 px per mm; at half the size the same 3 mm are 15 px.
@pytest.mark.parametrize(("away", "matched"), [(29.9, True), (30.1, False)])
def test_three_mm_are_measured_in_the_harmed_picture(away: float, matched: bool) -> None:
    half = Places(AS_IT_WAS * 0.5, (320, 240), SCALE)
    narrow = {"box_px": [50.0, 50.0, 54.0, 54.0]}
    at = (52 + away) / 2
    after = {"box_px": [at - 1, 25.0, at + 1, 27.0]}
    got = changes(
        _look(finding(COPPER, "flag", 0, **narrow)),
        _look(finding(COPPER, "clear", 0, **after)),
        half,
    )
    assert (_steps(got) == [("flag", "clear")]) is matched


@pytest.mark.parametrize("harm", HARMS, ids=lambda h: h.name)
def test_a_finding_is_known_again_in_every_harmed_picture(harm: Any) -> None:
    for level in harm.levels:
        got = harm.apply(np.full((480, 640, 3), 128, np.uint8), level, Work())
        size = got.rgb.shape[1], got.rgb.shape[0]
        places = Places(got.affine, size, SCALE, harm.cuts)
        wide = (260.0, 200.0, 300.0, 220.0)
        far = (345.0, 255.0, 385.0, 275.0)
        before = _look(
            finding(COPPER, "flag", 0, box_px=wide), finding(COPPER, "clear", 0, box_px=far)
        )
        after = _look(
            finding(COPPER, "unsure", 0, box_px=places.mapped(far)),
            finding(COPPER, "flag", 0, box_px=places.mapped(wide)),
        )
        told = changes(before, after, places)
        assert _steps(told) == [("clear", "unsure"), ("flag", "flag")]
        assert {c.box_px for c in told} == {wide, far}


def test_what_was_cut_away_is_left_out() -> None:
    cut = Places(np.array([[1.0, 0, -100], [0, 1, 0]]), (200, 480), SCALE, cuts=True)
    # Of 40 px in width, 31 (less than 80 %) and 33 are left; the last is whole.
    before = _look(*(finding(COPPER, "flag", x) for x in (0, 91, 200)), finding(GRIP, "flag", 93))
    assert _steps(changes(before, _look(), cut)) == [("flag", "silent")] * 2
    # A finding for the rest of what was cut is neither new nor an answer.
    assert (
        _steps(changes(before, _look(finding(COPPER, "clear", -5)), cut))
        == [("flag", "silent")] * 2
    )


def test_a_slanted_box_is_cut_by_its_own_outline() -> None:
    # Turned by 45 degrees, half of this square lies left of the border; its upright box too.
    slant = np.array([[1, -1, 0], [1, 1, 0]]) / np.sqrt(2)
    places = Places(slant, (100, 100), SCALE)
    assert places.inside((0, 0, 20, 20)) == pytest.approx(0.5)
    assert places.inside((40, 0, 60, 20)) == pytest.approx(1.0)


def test_the_whole_photo_is_asked_unless_part_is_lost() -> None:
    whole = {"of": "photo", "box_px": None}
    before = _look(finding("core-colours", "flag", 0, **whole))
    after = _look(finding("core-colours", "clear", 0, **whole))
    assert _steps(changes(before, after, SAME)) == [("flag", "clear")]
    assert changes(before, after, Places(AS_IT_WAS, (640, 480), SCALE, cuts=True)) == []


def test_findings_answer_one_to_one() -> None:
    before = _look(finding(COPPER, "flag", 50), finding(COPPER, "clear", 60))
    assert _steps(changes(before, _look(finding(COPPER, "clear", 60)), SAME)) == [
        ("clear", "clear"),
        ("flag", "silent"),
    ]


def test_it_is_told_which_states_were_right() -> None:
    things = [item(COPPER, 2.0, 50), item(COPPER, 0.0, 300)]
    truth = Truth.model_validate(truth_dict("a.jpg", things))
    look = _look(
        finding(COPPER, "flag", 50),
        finding(COPPER, "clear", 300),
        finding(COPPER, "flag", 500),
        finding(COPPER, "unsure", 400),
        finding(GRIP, "flag", 50),
    )
    got = changes(look, look, SAME, truth)
    assert sorted((c.before, str(c.right)) for c in got) == [
        ("clear", "True"),
        ("flag", "False"),
        ("flag", "None"),
        ("flag", "True"),
        ("unsure", "None"),
    ]


def test_counts_add_up() -> None:
    said = ("flag", "clear", "unsure", "silent", "refused")
    got = [Change("a", COPPER, "c1", b, a) for b in said[:3] for a in said]  # type: ignore[arg-type]
    new = [
        Change("a", COPPER, "c1", "refused", "flag"),
        Change("a", COPPER, "c1", "silent", "flag"),
    ]
    counts = count_level(2.0, [Compared(got, refused=True), Compared(new, refused=False)])
    assert (counts.photos, counts.refused, counts.findings) == (2, 1, 15)
    assert (counts.flags, counts.clears, counts.silent_to_flag) == (5, 5, 2)
    for before in said[:3]:
        assert [getattr(counts, f"{before}_to_{a}") for a in said] == [1] * 5


def test_flips_are_listed_and_break_the_bar() -> None:
    before = _look(finding(COPPER, "flag", 50), finding(COPPER, "clear", 300))
    after = _look(finding(COPPER, "clear", 50), finding(COPPER, "clear", 300))
    still = Compared(changes(before, before, SAME), refused=False)
    turned = Compared(changes(before, after, SAME), refused=False)
    assert flips(BLUR, 1.0, [still]) == []
    (flip,) = flips(BLUR, 2.0, [still, turned])
    assert (flip.harm, flip.level, flip.before, flip.after) == ("blur", 2.0, "flag", "clear")
    assert bars([_harm(count_level(1.0, [still]))]).held
    judged = bars([_harm(count_level(1.0, [still]), count_level(2.0, [still, turned]))])
    assert (judged.flag_to_clear, judged.held) == (1, False)


def _harm(*levels: LevelCounts) -> HarmCounts:
    return HarmCounts(harm="blur", unit="px sigma", grows=True, levels=levels)


# 5 % as the bar has it: one of twenty holds, one of nineteen does not, and no mean hides a level.
@pytest.mark.parametrize(("clears", "held"), [(20, True), (19, False)])
def test_false_turns_are_judged_at_the_worst_level(clears: int, held: bool) -> None:
    calm = LevelCounts(level=1.0, flags=3, flag_to_flag=3, clears=500, clear_to_clear=500)
    worst = LevelCounts(level=2.0, clears=clears, clear_to_flag=1, clear_to_clear=clears - 1)
    judged = bars([_harm(calm, worst)])
    assert judged.held is held
    assert judged.worst_at == "blur 2 px sigma"


@pytest.mark.parametrize(("flags", "clears"), [(0, 9), (9, 0)])
def test_a_bar_does_not_hold_where_there_was_nothing_to_judge(flags: int, clears: int) -> None:
    judged = bars([_harm(LevelCounts(level=1.0, flags=flags, clears=clears))])
    assert (judged.flags_held, judged.clears_held) == (flags > 0, clears > 0)
    assert not judged.held


def test_photos_are_taken_evenly() -> None:
    assert spread(range(80), 4) == [0, 20, 40, 60]
    assert spread(range(3), 10) == [0, 1, 2]
    assert len(set(spread(range(79), 10))) == 10


def test_the_harmed_picture_is_written_whole(folder: Folder) -> None:
    folder.add(truth_dict("a.jpg", [item(COPPER, 1.0, 10)]), None)
    (case,) = find_cases(folder.path)
    exif = Image.Exif()
    exif[0x0112], exif[0x0110] = 6, "Phone"  # lies on its side
    rng = np.random.default_rng(0)
    Image.fromarray(rng.integers(0, 255, (48, 64, 3), np.uint8)).save(case.photo, exif=exif)
    upright = read_photo(case.photo).rgb
    task = HarmTask(case, folder.path, "mirror", 1.0)
    file, affine, size = write_harmed(task, load_truth(case.truth_file), Settings())
    assert size == (48, 64)
    assert np.array_equal(read_photo(file).rgb, upright[:, ::-1])
    assert affine[0, 2] == 48
    assert Image.open(file).getexif()[0x0110] == "Phone"


def test_a_stopped_run_goes_on_from_what_it_kept(tmp_path: Path) -> None:
    file = tmp_path / "readings.jsonl"
    assert kept_readings(file) == {}
    affine = np.array([[0.0, -1.0, 480.0], [1.0, 0.0, 0.1]])
    look = _look(finding(COPPER, "flag", 50))
    keep_reading(file, ("a.jpg", None, 0.0), HarmReading(look, size=(640, 480)))
    keep_reading(file, ("a.jpg", "turned", 90.0), HarmReading(look, affine, (480, 640)))
    keep_reading(file, ("b.jpg", None, 0.0), HarmReading(None, fault="it broke"))
    whole = file.read_bytes()
    file.write_bytes(whole + whole[:100])
    got = kept_readings(file)
    assert set(got) == {("a.jpg", None, 0.0), ("a.jpg", "turned", 90.0)}
    turned = got["a.jpg", "turned", 90.0]
    assert (turned.look, turned.size) == (look, (480, 640))
    assert np.array_equal(turned.affine, affine)
    assert file.read_bytes() == whole
    file.write_bytes(whole + b"{}\n")
    with pytest.raises(JobError) as told:
        kept_readings(file)
    assert "readings.jsonl:3, field 'photo'" in told.value.one_line()


def test_the_work_is_where_most_is_asked() -> None:
    things = [item(COPPER, 0.0, x) for x in (100, 110, 500)]
    assert work_middle(Truth.model_validate(truth_dict("a.jpg", things))) == (130.0, 70.0)
    assert work_middle(Truth.model_validate(truth_dict("a.jpg", []))) is None


def test_the_result_has_the_fields_told(folder: Folder) -> None:
    for name in ("a.jpg", "b.jpg"):
        folder.add(truth_dict(name, [item(COPPER, 2.0, 50)]), None)
    cases = find_cases(folder.path)
    flag, clear = _look(finding(COPPER, "flag", 50)), _look(finding(COPPER, "clear", 50))
    readings = {(c.name, None, 0.0): HarmReading(flag, size=(640, 480)) for c in cases}
    for level, look in zip(BLUR.levels, (flag, clear, clear), strict=True):
        for case in cases:
            readings[case.name, "blur", level] = HarmReading(look, size=(640, 480))
    readings["b.jpg", "blur", 4.0] = HarmReading(None, fault="it broke")
    result = result_of("set", cases, [BLUR], readings)
    data = json.loads(result.model_dump_json(by_alias=True))
    assert (data["schema"], data["folder"], data["photos"]) == ("lidoff.harm/1", "set", 2)
    (blur,) = data["harms"]
    assert (blur["harm"], blur["unit"]) == ("blur", "px sigma")
    told = [
        (c["level"], c["photos"], c["flag_to_flag"], c["flag_to_clear"]) for c in blur["levels"]
    ]
    assert told == [(1.0, 2, 2, 0), (2.0, 2, 0, 2), (4.0, 1, 0, 1)]
    assert data["failures"] == ["b.jpg, blur 4: it broke"]
    assert [(f["level"], f["right"]) for f in data["flips"]] == [(2.0, True)] * 2 + [(4.0, True)]
