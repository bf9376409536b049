from __future__ import annotations

import io
import shutil
import subprocess
from pathlib import Path

import cv2
import numpy as np
import pypdf
import pytest
from click.testing import CliRunner
from PIL import Image

from audit.card.find import find_card
from audit.card.printing import print_cards
from audit.card.scale import card_scale
from audit.cli.card import command
from audit.errors import UsageError
from audit.photo.types import Photo

DPI = 200
needs_poppler = pytest.mark.skipif(shutil.which("pdftoppm") is None, reason="needs pdftoppm")


def _raster(pdf: bytes, folder: Path, page: int = 1) -> np.ndarray:
    (folder / "c.pdf").write_bytes(pdf)
    subprocess.run(
        ["pdftoppm", "-r", str(DPI), "-f", str(page), "-l", str(page), "-png", "c.pdf", "p"],
        cwd=folder, check=True, capture_output=True,
    )  # fmt: skip
    return np.asarray(Image.open(next(folder.glob("p*.png"))).convert("RGB"))


def _first_card(sheet: np.ndarray) -> Photo:
    """Cut the first card out of the sheet, with some paper round it."""
    grey = cv2.cvtColor(sheet, cv2.COLOR_RGB2GRAY)
    _, _, boxes, _ = cv2.connectedComponentsWithStats((grey < 60).astype(np.uint8))
    side = 12 / 25.4 * DPI
    markers = [b for b in boxes[1:] if abs(b[2] - side) < 3 and abs(b[3] - side) < 3]
    x, y = min(
        (int(b[0]), int(b[1])) for b in sorted(markers, key=lambda b: (b[1] // 30, b[0]))[:1]
    )
    mm = DPI / 25.4
    left, top = max(0, int(x - 7 * mm)), max(0, int(y - 7 * mm))
    cut = sheet[top : top + int(60 * mm), left : left + int(92 * mm)]
    return Photo.from_array(np.ascontiguousarray(cut))


@needs_poppler
@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_print_is_true_to_scale_and_is_found_and_read(paper: str, tmp_path: Path) -> None:
    sheet = _raster(print_cards(["F01", "F02"], paper), tmp_path)  # type: ignore[arg-type]
    sight = find_card(_first_card(sheet))
    assert sight.found and sight.label == "F01"
    scale = card_scale(sight, (360.0, 240.0))
    assert scale is not None
    assert scale.px_per_mm == pytest.approx(DPI / 25.4, rel=0.002)
    assert scale.stretch[0] == pytest.approx(scale.stretch[1], rel=0.002)


@needs_poppler
def test_the_bars_have_their_lengths(tmp_path: Path) -> None:
    grey = _raster(print_cards([], "a4"), tmp_path)[..., 0]
    runs = []
    for row in grey:
        edges = np.flatnonzero(np.diff(np.concatenate([[0], (row < 110).astype(int), [0]])))
        runs += [int(b - a) for a, b in zip(edges[::2], edges[1::2], strict=True)]
    lengths = np.array(runs) / DPI * 25.4
    for bar in (100.0, 50.0):  # less or more one px and the width of a tick
        assert (np.abs(lengths - bar) < 0.35).any()


def test_paper_sizes_pages_and_words() -> None:
    pdf = pypdf.PdfReader(io.BytesIO(print_cards([f"F{i:02d}" for i in range(9)], "letter")))
    assert len(pdf.pages) == 2
    box = pdf.pages[0].mediabox  # 8.5 x 11 in (ANSI A), 72 points an inch
    assert (float(box.width), float(box.height)) == pytest.approx((612.0, 792.0), abs=0.1)
    a4 = pypdf.PdfReader(io.BytesIO(print_cards([], "a4"))).pages[0].mediabox
    # ISO 216: 210 x 297 mm.
    assert (float(a4.width), float(a4.height)) == pytest.approx((595.28, 841.89), abs=0.1)
    text = " ".join(" ".join(p.extract_text().split()) for p in pdf.pages)
    for words in ("site card", "F00", "F08", "100 %", "100 mm", "isolate, lock off and label",
                  "prove the indicator, prove dead, prove the indicator again", "must not conduct"):  # fmt: skip
        assert words in text


def test_hostile_labels_are_shown_as_they_are() -> None:
    label = '#read("/etc/passwd") <b> $x$ "q"'
    text = pypdf.PdfReader(io.BytesIO(print_cards([label], "a4"))).pages[0].extract_text()
    assert "#read" in text and "root:" not in text


@pytest.mark.parametrize("label", ["", "x" * 65, "a\nb", "\x1b[31m"])
def test_labels_that_can_not_be_read_back_are_refused(label: str) -> None:
    with pytest.raises(UsageError) as caught:
        print_cards([label], "a4")
    assert caught.value.one_line().isprintable()


def test_the_command(tmp_path: Path) -> None:
    out = tmp_path / "cards.pdf"
    result = CliRunner().invoke(
        command, ["--label", "F01", "--label", "F01", "--out", str(out)], standalone_mode=False
    )
    assert result.return_value == 0 and result.exception is None
    assert out.read_bytes().startswith(b"%PDF") and "twice" in result.stderr
    assert [p.name for p in tmp_path.iterdir()] == ["cards.pdf"]
    nowhere = tmp_path / "none" / "c.pdf"
    result = CliRunner().invoke(command, ["--out", str(nowhere)], standalone_mode=False)
    assert isinstance(result.exception, UsageError) and "--out" in result.exception.one_line()
