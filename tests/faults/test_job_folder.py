"""Job folders with something wrong in them, given to `lidoff check` and `lidoff new`."""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.job.folders import JPEG_HEAD, SMALL, put, write_job

from .command import clean, lidoff, mere_mortal, snapshot

Change = Callable[[Path], object]


def toml(text: str) -> Change:
    return lambda job: put(job / "job.toml", text)


def more(text: str) -> Change:
    return toml(SMALL + text)


def table(text: str | bytes) -> Change:
    return lambda job: put(job / "fittings.csv", text)


def photo(name: str, content: bytes = JPEG_HEAD) -> Change:
    return lambda job: (job / "photos" / name).write_bytes(content)


def photos_is_a_file(job: Path) -> None:
    for path in (job / "photos").iterdir():
        path.unlink()
    (job / "photos").rmdir()
    put(job / "photos", "x")


def loop(job: Path) -> None:
    (job / "photos" / "loop.jpg").symlink_to("loop.jpg")


def link_out(job: Path) -> None:
    put(job.parent / "outside.jpg", JPEG_HEAD)
    (job / "photos" / "F02.jpg").symlink_to(job.parent / "outside.jpg")


WRONG: dict[str, tuple[Change, str, str]] = {
    "TOML error": (toml("[job]\nname = \n"), "job.toml:2", "not valid TOML"),
    "deep TOML": (toml("a = " + "[" * 20_000), "job.toml", "nested too deeply"),
    "zero bytes": (toml("[job]\nname = 'a\0b'\n"), "job.toml:2", "not valid TOML"),
    "no text": (lambda j: put(j / "job.toml", b"\x89PNG\r\n\x1a\n\xff\xfe"), "job.toml:1", "UTF-8"),
    "empty job": (toml("[job]\nname = 'x'\n"), "job.toml", "the job has no fittings"),
    "duplicate label": (more("[[fitting]]\nlabel = 'f01'\n"), "job.toml:21", "given twice"),
    "unknown room": (more("[[fitting]]\nlabel='F3'\nroom='Landin'\n"), "job.toml:22", "'Landing'?"),
    "unknown fitting": (
        more("[[photo]]\nfile='F01.jpg'\nfitting='F10'\n"), "job.toml:22", "there is no fitting",
    ),
    "unknown view": (
        more("[[photo]]\nfile='F01.jpg'\nview='insde'\n"), "job.toml:22", "did you mean 'inside'?",
    ),
    "negative distance": (more("from_bath_m = -0.3\n"), "job.toml:20", "outside 0 to 60 m"),
    "IP nonsense": (more("ip = 'IP9K'\n"), "job.toml:20", "is not an IP code"),
    "leaves the folder": (more("[[photo]]\nfile='../F01.jpg'\n"), "job.toml:21", "out of the job"),
    "absolute": (more("[[photo]]\nfile='/etc/passwd'\n"), "job.toml:21", "out of the job folder"),
    "line break": (more('model = "a\\nb"\n'), "job.toml:20", "can't be printed"),
    "terminal codes": (more('[[fitting]]\nlabel="\\u001b[2J"\n'), "job.toml:21", "can't be printed"),
    "unknown field": (more("lamp = 5\n"), "job.toml:20", "did you mean 'lamp_w'?"),
    "double heading": (table("label,ip,IP rating\n"), "fittings.csv:1", "mean the same"),
    "10 MB table": (table(b"label\n" + b"F,\n" * 3_400_000), "fittings.csv", "larger than 4 MB"),
    "broken quote": (table('label,room\n"F03,Landing\n'), "fittings.csv:2", "does not end"),
    "photos is a file": (photos_is_a_file, "photos", "is a file, not a folder"),
    "link in a circle": (loop, "photos/loop.jpg", "leads to nothing"),
    "link out": (link_out, "photos/F02.jpg", "leads out of the job folder"),
    "name with a line break": (photo("a\nb.jpg"), "photos/a", "rename the file"),
    "empty photo": (photo("F02.jpg", b""), "photos/F02.jpg", "the file is empty"),
    "text as photo": (photo("F02.jpg", b"hello"), "photos/F02.jpg", "this is text, not a photo"),
}  # fmt: skip


@pytest.mark.parametrize("case", WRONG)
def test_one_line_exit_3_and_nothing_harmed(tmp_path: Path, case: str) -> None:
    change, place, words = WRONG[case]
    job = write_job(tmp_path / "job", photos=("F01.jpg",))
    change(job)
    before = snapshot(tmp_path)
    begin = time.monotonic()
    ran = lidoff("check", job)
    assert time.monotonic() - begin < 30
    clean(ran)
    assert ran.code == 3, ran
    assert len(ran.lines) == 1, ran.err
    assert ran.lines[0].startswith(f"lidoff: {place}"), ran.err
    assert words in ran.lines[0], ran.err
    assert snapshot(tmp_path) == before


def test_harmless_oddities_pass(tmp_path: Path) -> None:
    """Quotes, HTML and formula characters are names like others."""
    nasty = "<img src=x onerror=alert(1)> \"'&"
    text = f"[job]\nname = '''=cmd|'/C calc'!A0'''\n[[room]]\nname = '''{nasty}'''\n"
    text += f"[[fitting]]\nlabel = '@SUM(1)'\nroom = '''{nasty}'''\n"
    job = write_job(tmp_path, text, photos=("@SUM(1)-inside.jpg",))
    ran = lidoff("check", job)
    clean(ran)
    assert (ran.code, ran.err) == (0, "")
    assert nasty in ran.out
    assert "@SUM(1)" in ran.out


def test_five_hundred_fittings(tmp_path: Path) -> None:
    rows = "".join(f"A{i};Landing;2,4\n" for i in range(500))
    photos = (*(f"A{i}-inside.jpg" for i in range(500)), "F01.jpg", "F02.jpg")
    job = write_job(tmp_path, csv="Label;Room;Height (m)\n" + rows, photos=photos)
    begin = time.monotonic()
    ran = lidoff("check", job, "--json")
    assert time.monotonic() - begin < 10
    body = json.loads(ran.out)
    assert (ran.code, ran.err) == (0, "")
    assert len(body["fittings"]) == len(body["photos"]) == 502
    assert all(p["outcome"] == "linked" for p in body["photos"])


def test_json_tells_the_same_problems(tmp_path: Path) -> None:
    job = write_job(tmp_path, SMALL + "ip = 'IP9K'\nlamp = 3\n")
    ran = lidoff("check", job, "--json")
    body = json.loads(ran.out)
    assert ran.code == 3
    assert not body["ready"]
    assert [(p["file"], p["row"], p["field"]) for p in body["problems"]] == [
        ("job.toml", 20, "fitting.ip"), ("job.toml", 21, "fitting.lamp"),
    ]  # fmt: skip
    assert len(ran.lines) == 2


def test_every_photo_is_listed(tmp_path: Path) -> None:
    photos = {
        "F01-inside.jpg": JPEG_HEAD + b"1", "copy.jpg": JPEG_HEAD + b"1",
        "IMG_2031.jpg": JPEG_HEAD + b"2", "F09-entry.jpg": JPEG_HEAD + b"3",
        "F02 plate.png": JPEG_HEAD + b"4", "F01-F02.jpg": JPEG_HEAD + b"5",
    }  # fmt: skip
    ran = lidoff("check", write_job(tmp_path, photos=photos), "--json")
    outcomes = {
        p["photo"].removeprefix("photos/"): p["outcome"] for p in json.loads(ran.out)["photos"]
    }
    assert outcomes == {
        "F01-inside.jpg": "linked", "copy.jpg": "duplicate", "IMG_2031.jpg": "unlabelled",
        "F09-entry.jpg": "unknown-label", "F02 plate.png": "linked", "F01-F02.jpg": "unlabelled",
    }  # fmt: skip
    assert ran.code == 1
    text = lidoff("check", tmp_path)
    clean(text)
    assert all(name in text.out for name in photos if not name.startswith("F02"))


def test_a_good_job_is_0_and_a_gap_is_1(tmp_path: Path) -> None:
    job = write_job(tmp_path, photos=("F01-inside.jpg", "F02-inside.jpg"))
    assert lidoff("check", job).code == 0
    (job / "photos" / "F02-inside.jpg").unlink()
    ran = lidoff("check", job)
    assert ran.code == 1
    assert "1 fitting without a photo" in ran.out


def test_files_that_may_not_be_read(tmp_path: Path) -> None:
    job = write_job(tmp_path, photos=("F01-inside.jpg", "F02-inside.jpg"))
    (job / "photos" / "F02-inside.jpg").chmod(0)
    ran = lidoff("check", job, before=mere_mortal())
    clean(ran)
    assert ran.code == 3
    assert ran.lines == [
        "lidoff: photos/F02-inside.jpg: this may not be read; give yourself the right to read it"
    ]
    (job / "job.toml").chmod(0)
    ran = lidoff("check", job, before=mere_mortal())
    clean(ran)
    assert ran.lines == [
        "lidoff: job.toml: this may not be read; give yourself the right to read it"
    ]


def test_new_never_overwrites(tmp_path: Path) -> None:
    job = tmp_path / "my job"
    assert lidoff("new", job, "--region", "gb-eng").code == 0
    before = snapshot(tmp_path)
    assert {"my job/job.toml", "my job/fittings.csv", "my job/README.txt", "my job/photos"} <= set(
        before
    )
    ran = lidoff("new", job)
    clean(ran)
    assert ran.code == 2
    assert "nothing was written" in ran.err
    assert snapshot(tmp_path) == before
    (job / "job.toml").unlink()
    assert lidoff("new", job).code == 2, "half a job is not filled up either"
    assert "gb-eng" not in snapshot(tmp_path)


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (["new", "x", "--region", "atlantis"], "there is no region 'atlantis'"),
        (["new", "file"], "is a file, not a folder"),
        (["new", "file/below"], "Not a directory"),
        (["new", "n" * 5000], "File name too long"),
        (["check"], "Missing argument"),
        (["check", "none"], "there is no such folder"),
        (["check", "file"], "this is not a folder"),
        (["check", "."], "so it is no job"),
    ],
)
def test_wrong_use(tmp_path: Path, args: list[str], words: str) -> None:
    put(tmp_path / "file", "x")
    before = snapshot(tmp_path)
    ran = lidoff(*args, cwd=tmp_path)
    assert ran.code in {2, 3}
    assert "Traceback" not in ran.err
    assert words.lower() in ran.err.lower(), ran.err
    assert snapshot(tmp_path) == before


def test_a_terminal_that_knows_no_unicode(tmp_path: Path) -> None:
    job = write_job(tmp_path, SMALL.replace("Landing", "Küche ✓"), photos=("F01.jpg",))
    ran = lidoff("check", job, PYTHONIOENCODING="ascii", PYTHONUTF8="0", LC_ALL="C")
    assert "Traceback" not in ran.err
    assert ran.code == 1
