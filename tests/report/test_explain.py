"""Pictures of the stages: what is drawn, that they explain themselves, and the page beside them."""

from __future__ import annotations

import itertools
import re
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from audit.batch import photos
from audit.measure.contract import FindingRecord, LookRecord, ScaleRecord
from audit.measure.look import look_photo
from audit.measure.looks import Unmarked, unmarked
from audit.photo.types import Photo
from audit.report import explain, stages
from audit.report.annotate import places
from audit.report.close_ups import close_ups
from audit.report.frame import Frame, frame_of, whole
from audit.report.materials_ink import INK, NAMES, PATTERN, paint, rgb
from audit.report.sheet import Labels, head_px, wrap
from audit.report.stage_pictures import (
    calibrated_picture,
    findings_picture,
    materials_picture,
    readings_picture,
    strands_picture,
)
from audit.settings import Settings
from audit.sight.types import (
    CableReading,
    Line,
    Material,
    MaterialMap,
    Readings,
    Strand,
    Strands,
    Tip,
)

PHOTO = Path(__file__).parents[2] / "sample_images/demo/photos/F10-inside.jpg"
SIZE = (1000, 500)
ALL_OF_IT = Frame((0, 0, *SIZE), 1.0)
HEAD = head_px(SIZE[0])


def material_map(sure: float) -> MaterialMap:
    prob = np.full((50, 100, len(Material)), (1 - sure) / (len(Material) - 1), np.float32)
    prob[:, :50, Material.SHEATH] = sure
    prob[:, 50:, Material.BLUE] = sure
    return MaterialMap(prob, 10.0)


def test_materials_have_their_colours_and_a_legend_below() -> None:
    picture = materials_picture(material_map(1.0), ALL_OF_IT)
    assert picture.width == SIZE[0]
    assert picture.height > HEAD + SIZE[1]
    assert picture.getpixel((50, HEAD + 50)) == rgb(INK[Material.SHEATH])
    assert picture.getpixel((950, HEAD + 50)) == rgb(INK[Material.BLUE])
    legend = np.asarray(picture)[HEAD + SIZE[1] :].reshape(-1, 3).tolist()
    for material in (Material.SHEATH, Material.BLUE):
        assert list(rgb(INK[material])) in legend


def test_doubt_is_darker() -> None:
    at = (950, HEAD + 50)
    sure = materials_picture(material_map(1.0), ALL_OF_IT).getpixel(at)
    unsure = materials_picture(material_map(0.4), ALL_OF_IT).getpixel(at)
    assert isinstance(sure, tuple) and isinstance(unsure, tuple)
    assert sum(unsure) < 0.8 * sum(sure)


def test_every_material_has_a_colour_and_a_name() -> None:
    assert set(INK) == set(NAMES) == set(Material)
    assert len(set(NAMES.values())) == len(Material)


def _seen_as(material: Material, matrix: NDArray[Any]) -> list[float]:
    """Lab (D65) of a material's colour as an eye with this matrix sees it."""
    import colour

    linear = colour.cctf_decoding(np.array(rgb(INK[material])) / 255, function="sRGB")
    xyz = colour.RGB_to_XYZ(np.clip(matrix @ linear, 0, 1), "sRGB", apply_cctf_decoding=False)
    return list(colour.XYZ_to_Lab(xyz))


@pytest.mark.parametrize("eye", ["full", "Protanomaly", "Deuteranomaly", "Tritanomaly"])
def test_no_two_materials_look_alike_to_any_eye(eye: str) -> None:
    """Machado, Oliveira, Fernandes 2009, severity 1; CIEDE2000 of 10 (from memory: plainly apart)."""
    import colour
    from colour.blindness import matrix_cvd_Machado2009

    matrix = np.eye(3) if eye == "full" else matrix_cvd_Machado2009(eye, 1.0)
    for a, b in itertools.combinations(Material, 2):
        if PATTERN.get(a) == PATTERN.get(b):  # both plain: the colour alone must do
            apart = colour.delta_E(_seen_as(a, matrix), _seen_as(b, matrix), method="CIE 2000")
            assert apart >= 10, f"{NAMES[a]} and {NAMES[b]}: {apart:.1f}"
    styles = [p[:2] for p in PATTERN.values()]
    assert len(set(styles)) == len(styles), "two patterns of one kind"


def test_a_pattern_shows_both_its_colours() -> None:
    seen = {tuple(c) for c in paint(np.full((24, 24), Material.COPPER, np.uint8)).reshape(-1, 3)}
    assert seen == {rgb(INK[Material.COPPER]), rgb(PATTERN[Material.COPPER][3])}


def strand() -> Strand:
    path = np.stack([np.linspace(50, 800, 40), np.full(40, 300.0)], axis=1)
    return Strand(Material.BROWN, path, np.full(40, 60.0), 0.9)


def test_strands_are_drawn_as_wide_as_they_were_read() -> None:
    blank = Image.new("RGB", SIZE, "#777777")
    without = np.asarray(strands_picture(blank, Strands(), ALL_OF_IT))
    drawn = np.asarray(strands_picture(blank, Strands(cores=(strand(),)), ALL_OF_IT))
    # Away from the middle, where the name's leading line stands.
    column = (drawn[HEAD : HEAD + SIZE[1], 150] != without[HEAD : HEAD + SIZE[1], 150]).any(axis=1)
    changed = np.flatnonzero(column)
    assert changed.min() == pytest.approx(270, abs=2)
    assert changed.max() == pytest.approx(330, abs=2)
    assert (np.asarray(blank) == 0x77).all(), "the picture given is left as it is"


def cable() -> CableReading:
    edge = Line(np.array([[400.0, 280.0], [400.0, 320.0]]), 350.0, 1.0)
    return CableReading(
        "c1", "grey", strand().path, np.linspace(0, 750, 40), 60.0, edge, True, None, None, None,
        "clamp", (("sheath", 0.0, 350.0), ("core", 350.0, 750.0)), (), True,
    )  # fmt: skip


def test_readings_show_lines_across_the_cable() -> None:
    drawn = np.asarray(readings_picture(Image.new("RGB", SIZE), [cable()], ALL_OF_IT))
    bare = np.asarray(readings_picture(Image.new("RGB", SIZE), [], ALL_OF_IT))
    assert tuple(drawn[HEAD + 310, 400]) == (0xB3, 0x12, 0x4F)
    assert (drawn[HEAD + 60, 950] == bare[HEAD + 60, 950]).all()
    assert drawn.shape[0] > bare.shape[0], "the order met is told below"


def tip() -> Tip:
    path = strand().path
    return Tip(0, -1, "c1", "brown", path, 60.0, path[-2:], 0.0, 1.0, "terminal", True)


def test_the_part_shown_holds_the_work_and_enlarges_it() -> None:
    frame = frame_of(Readings((cable(),), (tip(),)), (4000, 3000))
    x0, y0, x1, y1 = frame.box
    assert x0 <= 220 and x1 >= 800 and y0 <= 280 and y1 >= 320  # edge less three widths; core's end
    assert frame.size[0] == pytest.approx(1600, abs=1)
    assert frame.factor > 1
    assert frame.at(np.array([x0, y0])) == pytest.approx([0, 0])
    assert frame.holds(np.array([400.0, 300.0])) and not frame.holds(np.array([3000.0, 300.0]))


def test_with_no_cable_or_large_work_the_whole_photo_is_shown() -> None:
    assert frame_of(Readings(), (4000, 3000)) == whole((4000, 3000))
    assert frame_of(Readings((cable(),), (tip(),)), SIZE) == whole(SIZE)


def test_a_map_a_little_short_of_the_photo_is_cut_all_the_same() -> None:
    short = Image.new("L", (99, 49))
    assert whole(SIZE).cut(short, 0.1).size == whole(SIZE).size


def test_names_lie_beside_each_other() -> None:
    picture = Image.new("RGB", SIZE)
    labels = Labels(ImageDraw.Draw(picture), SIZE)
    for _ in range(12):
        labels.put((500.0, 250.0), "green-and-yellow", "#000000", 20)
    for a, b in itertools.combinations(labels._named, 2):
        assert not (a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3])


def test_lines_are_no_wider_than_the_picture_and_lose_no_word() -> None:
    text = "the sheath ends 3.6 ± 1.4 mm before the grip: cores are seen outside it " * 3
    lines = wrap(text, 300, 20)
    assert " ".join(lines) == text.strip()
    font = ImageFont.load_default(20)
    assert all(font.getlength(line) <= 300 for line in lines)


def test_signs_that_the_font_lacks_are_written_otherwise() -> None:
    font = ImageFont.load_default(20)
    (line,) = wrap("− – ² × ≥ ± °", 900, 20)
    lacking = bytes(font.getmask("\u0e01"))  # Thai: not in that font
    assert all(bytes(font.getmask(sign)) != lacking for sign in line if sign != " ")


def record(*findings: FindingRecord) -> LookRecord:
    return LookRecord(
        photo="a & b.jpg", sha256=None, size_px=SIZE, outcome="read", usable=True,
        scale=ScaleRecord(px_per_mm=9.0, u95_rel=0.1, source="card"), findings=findings,
    )  # fmt: skip


def finding(of: str, why: str) -> FindingRecord:
    box = (100.0, 100.0, 200.0, 200.0)
    return FindingRecord(
        check="copper-beyond-terminal", of=of, state="flag", box_px=box, score=0.9, why=why
    )


def test_findings_that_say_the_same_share_a_line() -> None:
    blank = Image.new("RGB", SIZE)
    one = findings_picture(blank, record(finding("e1", "a")), ALL_OF_IT)
    same = findings_picture(blank, record(finding("e1", "a"), finding("e2", "a")), ALL_OF_IT)
    other = findings_picture(blank, record(finding("e1", "a"), finding("e2", "b")), ALL_OF_IT)
    assert one.height == same.height < other.height


def test_the_part_shown_is_outlined_on_the_first_picture() -> None:
    blank, part = Image.new("RGB", SIZE), Frame((200.0, 100.0, 600.0, 400.0), 2.0)
    plain = np.asarray(calibrated_picture(blank, record(), whole(SIZE)))
    drawn = np.asarray(calibrated_picture(blank, record(), part))
    y = head_px(drawn.shape[1]) + round(100 * whole(SIZE).factor)
    assert drawn[y, 400:900].any() and not plain[y, 400:900].any()


def test_a_flag_is_shown_close_up_and_a_photo_without_one_has_none() -> None:
    blank = Image.new("RGB", SIZE, "#777777")
    blank.paste("#00ff00", (140, 140, 160, 160))  # in the middle of the flag's box

    def shown(*findings: FindingRecord) -> Image.Image | None:
        return close_ups(blank, material_map(1.0), Strands(), (), (), record(*findings))

    assert shown() is None
    assert shown(finding("e1", "a").model_copy(update={"state": "unsure"})) is None
    picture = shown(finding("e1", "a"))
    assert picture is not None
    green = np.argwhere((np.asarray(picture) == (0, 255, 0)).all(-1))
    # 20 px of a box of 100 px, where twice the box fills a panel of 396 px.
    assert np.ptp(green[:, 0]) == pytest.approx(20 / 200 * 396, abs=4)
    sheath = np.argwhere((np.asarray(picture)[:300] == rgb(INK[Material.SHEATH])).all(-1))
    assert 401 <= sheath[:, 1].min() <= sheath[:, 1].max() < 797, "the second panel"


class _Images(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.sources: list[str] = []
        self.texts: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag == "img":
            self.sources.append(str(dict(attrs)["src"]))
            assert dict(attrs)["alt"]

    def handle_data(self, data: str) -> None:
        self.texts.append(data)


def test_the_page_escapes_names_and_says_what_to_look_for() -> None:
    text = explain.page(record(), "a & b")
    read = _Images()
    read.feed(text)
    assert "a &amp; b.jpg" in text
    assert [s.split(".", 1)[0] for s in read.sources] == ["a%20%26%20b"] * 5
    said = " ".join(" ".join(read.texts).split())
    for stage in (s for s in stages.ALL if s is not stages.CLOSE_UPS):  # nothing is flagged
        assert stage.right in said and stage.wrong in said
    assert not re.search(r"https?://(?!www\.w3\.org/2000/svg)", text), "nothing is fetched"


def test_a_photo_gives_its_pictures_in_stage_order_without_metadata(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    runs: list[Photo] = []
    found: list[Unmarked] = []

    def counted(photo: Photo) -> Unmarked:
        runs.append(photo)
        found.append(unmarked(photo))
        return found[-1]

    monkeypatch.setattr("audit.measure.looks.unmarked", counted)
    done = photos.look_task(photos.LookTask(PHOTO, PHOTO.name, explain_dir=tmp_path))
    assert done.outcome == "read"
    assert len(runs) == 1, "the long stages run once for both"
    names = sorted(p.name.removeprefix("F10-inside.") for p in tmp_path.iterdir())
    assert names[:5] == [
        "0-stages.html", "1-calibrated.jpg", "2-materials.png", "3-strands.jpg", "4-readings.jpg",
    ]  # fmt: skip
    ribbons = [f"5-ribbon-{c.id}.svg" for c in done.cables]
    close = ["7-flags-close-up.jpg"] * any(p.state == "flag" for p in places(done))
    assert names[5:] == [*ribbons, "6-findings.jpg", *close]
    read = _Images()
    read.feed((tmp_path / "F10-inside.0-stages.html").read_text(encoding="utf-8"))
    assert all((tmp_path / source).is_file() for source in read.sources)
    high, wide = found[0].image.shape
    part = frame_of(found[0].readings, (wide, high)).size[0]
    assert part <= 1600
    for path in (*tmp_path.glob("*.jpg"), *tmp_path.glob("*.png")):
        with Image.open(path) as picture:
            assert not picture.getexif()
            assert set(picture.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
            # The part shown is not enlarged beyond what its pixels give.
            of_part = path.name.split(".")[1][0] in "2346"
            assert picture.width == pytest.approx(part if of_part else 1600, abs=2)


def test_a_photo_that_cannot_be_read_gives_none(tmp_path: Path) -> None:
    path = tmp_path / "none.jpg"
    path.write_bytes(b"no photo")
    done = look_photo(path)
    assert explain.explain_photo(path, done, tmp_path / "out", settings=Settings()) == []
