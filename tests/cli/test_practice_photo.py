"""`lidoff practice-photo`: nonsense is one line each, and what is missing is said with what to do."""

from __future__ import annotations

import importlib.util
import json
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from PIL import Image

from audit.cli import practice_photo
from audit.errors import LidoffError, UsageError
from audit.training import renderer
from audit.training.renderer import Made
from tests.faults.command import clean, lidoff

C = ("--check", "copper-beyond-terminal")

REFUSED = {
    "no check": ((), "no check is named"),
    "unknown check": (("--check", "wobbly"), "there is no check 'wobbly'"),
    "none and more": (("--check", "none", *C, "--mm", "2"), "stands alone"),
    "twice": ((*C, "--mm", "2", *C, "--mm", "2"), "asked for twice"),
    "no length": (C, "needs a length in mm"),
    "negative": ((*C, "--mm", "-2"), "-2 mm of copper-beyond-terminal can't be shown"),
    "no number": ((*C, "--mm", "nan"), "nan mm"),
    "too long": ((*C, "--mm", "80"), "give 0.5 to 12 mm"),
    "no fault yet": ((*C, "--mm", "0.2"), "give 0.5 to 12 mm"),
    "length of what has none": (("--check", "cpc-cut-short", "--mm", "3"), "1 lengths for 0 checks"),
    "too many lengths": ((*C, "--mm", "2", "--mm", "3"), "2 lengths for 1 checks"),
    "sound with a length": (("--check", "none", "--mm", "3"), "1 lengths for 0 checks"),
    "unknown cable": ((*C, "--mm", "2", "--cable", "4.0"), "there is no cable '4.0'"),
    "four cables": ((*C, "--mm", "2", *("--cable", "1.5") * 4), "4 cables"),
    "unknown view": ((*C, "--mm", "2", "--view", "side"), "there is no view 'side'"),
    "wrong view": ((*C, "--mm", "2", "--view", "closed"), "view closed does not show"),
    "one cable, two colours": (("--check", "core-colours"), "give two cables"),
    "flex": (("--check", "cpc-unsleeved", "--cable", "flex-1.0"), "the CPC of a flex is insulated"),
    "both lines": (
        ("--check", "core-outside-grip", "--mm", "2", "--check", "core-outside-enclosure", "--mm", "2"),
        "outside the grip as well",
    ),
    "one CPC, two faults": (("--check", "cpc-unsleeved", "--check", "cpc-cut-short"), "one CPC"),
    "difficulty": ((*C, "--mm", "2", "--difficulty", "7"), "outside 1 to 3"),
    "seed": ((*C, "--mm", "2", "--seed", "-1"), "seed -1"),
    "light": ((*C, "--mm", "2", "--light", "moon"), "there is no light 'moon'"),
    "sheath": ((*C, "--mm", "2", "--sheath", "pink"), "there is no sheath 'pink'"),
    "colours": ((*C, "--mm", "2", "--colours", "pink-blue"), "there is no colours 'pink-blue'"),
    "poor": ((*C, "--mm", "2", "--poor", "ugly"), "there is no poor 'ugly'"),
    "not a JPEG": ((*C, "--mm", "2", "--out", "a.png"), "end its name in .jpg"),
    "set and check": ((*C, "--mm", "2", "--set", "set.toml"), "--set stands alone"),
    "again alone": ((*C, "--mm", "2", "--again"), "--again belongs to --set"),
    "no such set": (("--set", "nowhere.toml"), "there is no such file"),
}  # fmt: skip


def run(*args: str) -> Result:
    return CliRunner().invoke(practice_photo.command, list(args), standalone_mode=False)


@pytest.fixture(autouse=True)
def elsewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


@pytest.mark.parametrize("case", REFUSED)
def test_nonsense_is_one_line_and_writes_nothing(case: str, tmp_path: Path) -> None:
    args, said = REFUSED[case]
    wrong = run(*args).exception
    assert isinstance(wrong, LidoffError)
    assert said in wrong.one_line() and "\n" not in wrong.one_line()
    assert isinstance(wrong, UsageError) or case == "no such set"
    assert not list(tmp_path.iterdir())


def test_a_word_for_a_length_is_click_s_own_line() -> None:
    ran = lidoff("practice-photo", *C, "--mm", "two")
    assert ran.code == 2 and "'two' is not a valid float" in ran.err
    assert "Traceback" not in ran.err


def test_without_the_extra_it_says_what_to_install(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:  # fmt: skip
    real = importlib.util.find_spec
    monkeypatch.setattr(
        renderer.importlib.util, "find_spec", lambda n: None if n == "mitsuba" else real(n)
    )
    wrong = run(*C, "--mm", "2").exception
    assert isinstance(wrong, UsageError) and wrong.exit_code == 2
    assert wrong.one_line().endswith("run: pip install 'lidoff[render]'")
    assert "mitsuba" in wrong.one_line() and not list(tmp_path.iterdir())


def test_the_process_leaves_with_two_and_no_traceback() -> None:
    ran = lidoff("practice-photo", *C, "--mm", "80")
    assert ran.code == 2 and ran.out == "" and len(ran.lines) == 1
    clean(ran)


def test_a_place_that_cannot_be_written_is_one_line(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:  # fmt: skip
    monkeypatch.setattr(renderer, "make", lambda *_: Made(b"photo", "{}\n"))
    (tmp_path / "file").write_text("in the way", encoding="utf-8")
    wrong = run(*C, "--mm", "2", "--out", "file/a.jpg").exception
    assert isinstance(wrong, UsageError) and "give another place with --out" in wrong.one_line()


def test_lengths_go_to_the_checks_that_have_one(monkeypatch: pytest.MonkeyPatch) -> None:
    asked = []
    monkeypatch.setattr(renderer, "make", lambda *a: asked.append(a) or Made(b"photo", "{}\n"))
    args = ("--check", "cpc-cut-short", *C, "--mm", "2.5", "--cable", "1.5", "--cable", "1.0")
    assert run(*args, "--view", "inside", "--card", "--seed", "9").exit_code == 0
    ((order, file, width),) = asked
    assert order.checks == ("cpc-cut-short", "copper-beyond-terminal")
    assert order.mm == {"copper-beyond-terminal": 2.5}
    assert (order.cables, order.card, order.seed) == (("1.5", "1.0"), True, 9)
    assert (file, width) == ("practice.jpg", 1200)
    assert Path("practice.jpg").read_bytes() == b"photo"
    assert Path("practice.truth.json").read_text("utf-8") == "{}\n"


def test_a_fault_without_a_length_leaves_it_to_the_others(monkeypatch: pytest.MonkeyPatch) -> None:
    asked = []
    monkeypatch.setattr(renderer, "make", lambda *a: asked.append(a[0]) or Made(b"", ""))
    assert run("--check", "cpc-unsleeved", *C, "--mm", "2").exit_code == 0
    assert run(*C, "--mm", "2").exit_code == 0
    assert [o.mm for o in asked] == [{"copper-beyond-terminal": 2.0}] * 2
    assert [o.view for o in asked] == ["inside", "terminals"]


def test_a_broken_renderer_is_one_line(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(renderer, "_need_extra", lambda: None)
    monkeypatch.setitem(sys.modules, "mitsuba", None)
    wrong = run(*C, "--mm", "2").exception
    assert isinstance(wrong, UsageError) and "can't be loaded" in wrong.one_line()


WRONG_SETS = {
    "no TOML": ("schema = ", "not valid TOML"),
    "unknown field": ('schema = "lidoff.practice/1"\n[[photo]]\nwobble = 1\n', "set.toml"),
    "another schema": ('schema = "x"\nphoto = []\n', "schema"),
}


@pytest.mark.parametrize("case", WRONG_SETS)
def test_a_wrong_index_is_one_line(case: str) -> None:
    text, said = WRONG_SETS[case]
    Path("set.toml").write_text(text, encoding="utf-8")
    wrong = run("--set", "set.toml").exception
    assert isinstance(wrong, LidoffError) and said in wrong.one_line()


@pytest.mark.render
def test_a_real_photo_and_its_answer(tmp_path: Path) -> None:
    pytest.importorskip("mitsuba")
    pytest.importorskip("pyoidn")
    args = (*C, "--mm", "3", "--view", "terminals", "--seed", "3", "--width", "480")
    ran = lidoff("practice-photo", *args, "--out", tmp_path / "a.jpg", timeout=300)
    assert ran.code == 0, ran.err
    truth = json.loads((tmp_path / "a.truth.json").read_text("utf-8"))
    (fault,) = [i for i in truth["items"] if i["fault"]]
    assert fault["check"] == "copper-beyond-terminal"
    assert fault["size_mm"] == pytest.approx(3.0, abs=0.1) and fault["visible"] >= 0.6
    with Image.open(tmp_path / "a.jpg") as image:
        assert image.size == (480, 360) and not image.getexif()
        low, high = image.convert("L").crop((40, 30, 440, 330)).getextrema()
    assert high - low > 100, "the picture is flat"
