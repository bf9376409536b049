"""A job folder is read whole, or everything wrong with it is told with its place."""

from __future__ import annotations

import os
import pickle
import time
import unicodedata
from pathlib import Path

import pytest

from audit.errors import JobError, JobProblems
from audit.job.read import MOST_PROBLEMS, load_job
from audit.settings import Settings

from .folders import SMALL, lines_of, write_job


def test_facts_sources_and_photos(tmp_path: Path) -> None:
    csv = "label;room;height_m\n\nF03;landing ;2,4\n"
    job = load_job(write_job(tmp_path, csv=csv, photos=("F01-inside.jpg", "sub/IMG_1.jpg")))
    assert [f.label for f in job.facts.fittings] == ["F01", "F02", "F03"]
    third = job.facts.fittings[2]
    assert (third.room, third.height_m) == ("Landing", 2.4)
    assert [p.path for p in job.photos] == ["photos/F01-inside.jpg", "photos/sub/IMG_1.jpg"]
    assert job.root.is_absolute()
    assert str(job.sources.where(("fitting", 0, "ip"))) == "job.toml:15, field 'fitting.ip'"
    assert str(job.sources.where(("fitting", 2, "height_m"))) == (
        "fittings.csv:3, field 'height_m'"
    )
    assert job.sources.source("room", 1).row == 9
    assert pickle.loads(pickle.dumps(job)) == job


def test_all_is_told_at_once_in_the_order_of_lines(tmp_path: Path) -> None:
    toml = """\
[job]
name = "x"
dat = 2026-01-01
[building]
storeys = true
[[room]]
name = "Bathroom"
kind = "bathrom"
size_m = [2, 3]
[[room.bath]]
at_m = [5, 0]
size_m = [1.7, 0.7]
[[fitting]]
label = "F01"
room = "Bathrom"
ip = "IP9K"
from_bath_m = -0.3
switched_line = "brwon"
[[photo]]
file = "F9.jpg"
fitting = "F09"
view = "insde"
"""
    told = lines_of(write_job(tmp_path, toml, photos=("F01.jpg",)))
    wanted = [
        ("job.toml:3, field 'job.dat'", "did you mean 'date'?"),
        ("job.toml:5, field 'building.storeys'", "true or false is not a number"),
        ("job.toml:8, field 'room.kind'", "did you mean 'bathroom'?"),
        ("job.toml:11, field 'room.bath.at_m'", "out of room 'Bathroom'"),
        ("job.toml:15, field 'fitting.room'", "did you mean 'Bathroom'?"),
        ("job.toml:16, field 'fitting.ip'", "'IP9K' is not an IP code"),
        ("job.toml:17, field 'fitting.from_bath_m'", "-0.3 m is outside 0 to 60 m"),
        ("job.toml:18, field 'fitting.switched_line'", "did you mean 'brown'?"),
        ("job.toml:20, field 'photo.file'", "did you mean 'F01.jpg'?"),
        ("job.toml:21, field 'photo.fitting'", "did you mean 'F01'?"),
        ("job.toml:22, field 'photo.view'", "did you mean 'inside'?"),
    ]
    assert len(told) == len(wanted)
    for line, (place, words) in zip(told, wanted, strict=True):
        assert line.startswith(place + ": "), line
        assert words in line, line


JARGON = ("input should be", "valid string", "type=", "pydantic", "validation", "none is not")


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("ip", "65", "65 is not a text in quotes"),
        ("ip", '"IP7X"', "the first numeral goes from 0 to 6"),
        ("height_m", '"2,4"', "write a number in m, with a point"),
        ("height_m", "2400", "were millimetres meant? then write 2.4"),
        ("height_m", "nan", "nan is not a finite number"),
        ("height_m", "[1]", "a list is not a number"),
        ("cables", "1.5", "1.5 is not a whole number"),
        ("cables", "true", "true or false is not a number"),
        ("over_bath", '"maybe"', "'maybe' is not true or false"),
        ("on", '"celing"', "did you mean 'ceiling'?"),
        ("model", '""', "must have 1 to 64 characters"),
        ("model", '"a\\u0007b"', "can't be printed"),
        ("fire_tested_in", '["solid jois"]', "did you mean 'solid joist'?"),
        ("hight_m", "2", "there is no field 'hight_m' here; did you mean 'height_m'?"),
        ("label2", "{a = 1}", "there is no field 'label2' here"),
    ],
)
def test_one_field_one_plain_line(tmp_path: Path, field: str, value: str, words: str) -> None:
    told = lines_of(write_job(tmp_path, SMALL + f"{field} = {value}\n"))
    assert len(told) == 1, told
    assert told[0].startswith(f"job.toml:20, field 'fitting.{field}")
    assert words in told[0]
    assert "; " in told[0], "a line says what to do next"
    assert not any(word in told[0].lower() for word in JARGON)


@pytest.mark.parametrize(
    ("toml", "words"),
    [
        ("", "the table [job] is missing"),
        ("[job]\nname = 'x'\n", "the job has no fittings"),
        ("[job]\nname = 'x'\n[fitting]\nlabel = 'F01'\n", "double brackets"),
        ("[job]\nname = 'x'\n[[fittings]]\nlabel = 'F01'\n", "did you mean 'fitting'?"),
        ("[[job]]\nname = 'x'\n[[fitting]]\nlabel = 'F01'\n", "is not a table"),
        ("job = 3\n[[fitting]]\nlabel = 'F01'\n", "3 is not a table"),
        ("fitting = [1, 2]\n[job]\nname = 'x'\n", "1 is not a table"),
        ("[job]\nname = 'x'\nregion = 'gb-egn'\n[[fitting]]\nlabel = 'F1'\n", "'gb-eng'?"),
        ("schema = 'lidoff.job/9'\n[job]\nname = 'x'\n[[fitting]]\nlabel = 'F1'\n", "job/1"),
        ("settings = 1\n[job]\nname = 'x'\n[[fitting]]\nlabel = 'F1'\n", "settings is not a table"),
    ],
)
def test_odd_shapes(tmp_path: Path, toml: str, words: str) -> None:
    told = lines_of(write_job(tmp_path, toml))
    assert any(words in line for line in told), told


@pytest.mark.parametrize(
    ("toml", "place"),
    [
        ("[job]\nname = \n", "job.toml:2"),
        ("[job]\nname = 'x'\n[[fitting]\n", "job.toml:3"),
        ("[job]\nname = 'x'\nname = 'y'\n", "job.toml:3"),
        ("a = [[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[1]]", "job.toml"),
        ("x = " + "[" * 5000, "job.toml"),
        ("a." * 5000 + "b = 1\n", "job.toml:1"),
        ("n = " + "9" * 5000 + "\n", "job.toml"),
        ("a = 1\n\x00\n", "job.toml:2"),
        (b"[job]\nname = 'caf\xe9'\n", "job.toml:2"),
        (b"\xff\xfe[\x00", "job.toml"),
    ],
)
def test_what_is_not_toml_is_one_line(tmp_path: Path, toml: str | bytes, place: str) -> None:
    told = lines_of(write_job(tmp_path, toml))
    assert len(told) == 1, told
    assert told[0].startswith(place), told


def test_windows_editors_are_understood(tmp_path: Path) -> None:
    for number, data in enumerate(
        (
            b"\xef\xbb\xbf" + SMALL.encode(),
            SMALL.encode("utf-16"),
            SMALL.replace("\n", "\r\n").encode(),
        )
    ):
        job = load_job(write_job(tmp_path / str(number), data))
        assert job.sources.source("fitting", 1).row == 17


def test_names_given_twice(tmp_path: Path) -> None:
    toml = (
        SMALL
        + "[[room]]\nname = 'bathroom '\n[[fitting]]\nlabel = 'F-02'\n[[fitting]]\nlabel = 'f 02'\n"
    )
    told = lines_of(write_job(tmp_path, toml + "[[fitting]]\nlabel = '—'\n", "label\nF02\n"))
    assert any("job.toml:21" in x and "first in job.toml:5" in x for x in told), told
    assert any(
        "fitting 'f 02' is given twice, first in job.toml:23 (as 'F-02'" in x for x in told
    ), told
    assert any(x.startswith("fittings.csv:2") and "'F02' is given twice" in x for x in told), told
    assert any("'—' holds no letter or digit" in x for x in told), told


def test_references_may_differ_in_case_and_composition(tmp_path: Path) -> None:
    name = "Küche"
    toml = f'[job]\nname="x"\n[[room]]\nname="{name}"\n[[fitting]]\nlabel="F01"\nroom="{{}}"\n'
    loose = unicodedata.normalize("NFD", "küche")
    job = load_job(write_job(tmp_path, toml.format(loose)))
    assert job.facts.fittings[0].room == name


@pytest.mark.parametrize(
    "name", ["../x.jpg", "/etc/passwd", "C:\\\\x.jpg", "..\\\\x.jpg", "~/x.jpg", "a/../../x.jpg"]
)
def test_names_that_leave_the_folder(tmp_path: Path, name: str) -> None:
    (tmp_path / "x.jpg").write_bytes(b"x")
    folder = write_job(
        tmp_path / "job", f'house_rules = "{name}"\n{SMALL}[[photo]]\nfile = "{name}"\n'
    )
    told = lines_of(folder)
    assert len(told) == 2, told
    assert all("leads out of the job folder" in line for line in told)


def test_photo_entries(tmp_path: Path) -> None:
    toml = SMALL + "".join(
        f'[[photo]]\nfile = "{name}"\nfitting = "F01"\n'
        for name in ("a.jpg", "photos/A.JPG", "sub\\\\b.jpg", "c.jpg")
    )
    photos = ("a.jpg", "sub/b.jpg", "one/c.jpg", "two/c.jpg")
    told = lines_of(write_job(tmp_path, toml, photos=photos))
    assert any("has two entries" in x for x in told)
    assert any("may be photos/one/c.jpg or photos/two/c.jpg" in x for x in told)
    assert len(told) == 2
    good = SMALL + '[[photo]]\nfile = "sub\\\\b.jpg"\nfitting = "f01"\nview = "Entry"\n'
    job = load_job(write_job(tmp_path / "good", good, photos=photos))
    assert job.entries["photos/sub/b.jpg"].fitting == "F01"
    assert job.entries["photos/sub/b.jpg"].view == "entry"


def test_links_out_and_in_circles(tmp_path: Path) -> None:
    outside = tmp_path / "outside"
    outside.mkdir()
    (outside / "x.jpg").write_bytes(b"x")
    folder = write_job(tmp_path / "job", photos=("ok.jpg",))
    photos = folder / "photos"
    (photos / "out.jpg").symlink_to(outside / "x.jpg")
    (photos / "dir").symlink_to(outside)
    (photos / "loop.jpg").symlink_to("loop.jpg")
    (photos / "up").symlink_to("..")
    (photos / "gone.jpg").symlink_to("nothing.jpg")
    (photos / "same.jpg").symlink_to("ok.jpg")
    os.mkfifo(photos / "pipe.jpg")
    told = "\n".join(lines_of(folder))
    for name, words in {
        "out.jpg": "leads out of the job folder",
        "dir": "leads out of the job folder",
        "loop.jpg": "leads to nothing",
        "up": "a link to a folder is not followed",
        "gone.jpg": "leads to nothing",
        "pipe.jpg": "not a regular file",
    }.items():
        assert f"photos/{name}: " in told and words in told, told
    assert "same.jpg" not in told


def test_the_job_file_may_not_be_a_link_out(tmp_path: Path) -> None:
    folder = write_job(tmp_path / "job")
    (tmp_path / "secret").write_text("password", encoding="utf-8")
    for name in ("job.toml", "fittings.csv"):
        (folder / name).unlink(missing_ok=True)
        (folder / name).symlink_to("../secret")
        told = lines_of(folder)
        assert len(told) == 1 and "leads out of the job folder" in told[0], told
        assert "password" not in told[0]
        (folder / name).unlink()
        write_job(folder)


def test_photos_missing_a_file_or_a_link(tmp_path: Path) -> None:
    folder = write_job(tmp_path / "job")
    (folder / "photos").rmdir()
    assert "the folder photos is missing" in lines_of(folder)[0]
    (folder / "photos").write_text("x", encoding="utf-8")
    assert "photos is a file, not a folder" in lines_of(folder)[0]
    (folder / "photos").unlink()
    (folder / "photos").symlink_to(tmp_path)
    assert "leads out of the job folder" in lines_of(folder)[0]
    (folder / "photos").unlink()
    (folder / "photos").symlink_to("photos")
    assert len(lines_of(folder)) == 1


def test_odd_photo_names_are_told_or_kept(tmp_path: Path) -> None:
    names = ('F01-"q".jpg', "F01-<b>.jpg", "=1+1.jpg", "con.jpg", "Thumbs.db", ".DS_Store", "n.txt")
    folder = write_job(tmp_path, photos=names)
    job = load_job(folder)
    found = {p.name for p in job.photos}
    assert found == set(names) - {"Thumbs.db", ".DS_Store"}, "nothing but litter is dropped"
    told = {str(r.where) for r in job.remarks}
    assert {"photos/con.jpg", "photos/F01-<b>.jpg", "photos/n.txt"} <= told


@pytest.mark.parametrize(
    "name", [b"a\nb.jpg", b"a\x1b[31m.jpg", "a\u202egpj.exe.jpg".encode(), b"\xff.jpg"]
)
def test_photo_names_that_can_not_be_shown(tmp_path: Path, name: bytes) -> None:
    folder = write_job(tmp_path)
    with open(os.path.join(os.fsencode(folder / "photos"), name), "wb"):  # noqa: PTH123,PTH118
        pass
    told = lines_of(folder)
    assert len(told) == 1 and "rename the file" in told[0], told
    assert told[0].isprintable()


def test_names_alike_on_other_computers(tmp_path: Path) -> None:
    accent = unicodedata.normalize("NFC", "é.jpg"), unicodedata.normalize("NFD", "é.jpg")
    job = load_job(write_job(tmp_path, photos=("F01.jpg", "f01.JPG", *accent)))
    assert len(job.photos) == 4
    assert sum("one and the same on many computers" in r.what for r in job.remarks) == 2


def test_names_with_quotes_html_and_formulas_are_kept(tmp_path: Path) -> None:
    nasty = """<script>alert("x")</script>"""
    toml = (
        f"[job]\nname = '=cmd|calc'\n[[room]]\nname = '{nasty}'\n[[fitting]]\nlabel = '@SUM(1)'\n"
    )
    job = load_job(
        write_job(tmp_path, toml, f'label,room\n"-2+3","{nasty.replace(chr(34), chr(34) * 2)}"\n')
    )
    assert job.facts.rooms[0].name == nasty
    assert [f.label for f in job.facts.fittings] == ["@SUM(1)", "-2+3"]
    assert job.facts.fittings[1].room == nasty


def test_settings_of_the_job_give_way_to_those_given(tmp_path: Path) -> None:
    toml = SMALL + "[settings]\ncopper_limit_mm = 1.0\nworkers = 2\n"
    job = load_job(write_job(tmp_path, toml), Settings(workers=3))
    assert (job.settings.copper_limit_mm, job.settings.workers) == (1.0, 3)
    bad = SMALL + "[settings]\ncopper_limt_mm = 1.0\nworkers = 900\ndepth_u95_mm = true\n"
    told = lines_of(write_job(tmp_path, bad))
    assert [x.split(":")[1].split(",")[0] for x in told] == ["21", "22", "23"]
    assert "did you mean 'copper_limit_mm'?" in told[0]
    assert "at most 64" in told[1]


def test_five_hundred_fittings_load_in_a_second(tmp_path: Path) -> None:
    toml = '[job]\nname="x"\n[[room]]\nname="Bath"\n' + "".join(
        f'[[fitting]]\nlabel="A{i}"\nroom="Bath"\nip="IP65"\nx_m=1\ny_m=2\n' for i in range(250)
    )
    csv = "label;room;ip;x_m;y_m\n" + "".join(f"B{i};bath;IP65;1,0;2\n" for i in range(250))
    folder = write_job(tmp_path, toml, csv, tuple(f"A{i}-inside.jpg" for i in range(250)))
    begin = time.perf_counter()
    job = load_job(folder)
    assert time.perf_counter() - begin < 1.0
    assert len(job.facts.fittings) == 500


def test_thousands_of_mistakes_are_told_in_bounds(tmp_path: Path) -> None:
    csv = "label,room\n" + "".join(f"B{i},nowhere\n" for i in range(4000))
    with pytest.raises(JobProblems) as caught:
        load_job(write_job(tmp_path, csv=csv))
    assert len(caught.value.problems) == MOST_PROBLEMS + 1
    assert "3800 more" in caught.value.problems[-1].what


def test_no_folder_no_job(tmp_path: Path) -> None:
    for folder in (tmp_path / "none", tmp_path, Path("x" * 5000), Path("a\0b")):
        with pytest.raises(JobError) as caught:
            load_job(folder)
        assert caught.value.next_step
    (tmp_path / "job.toml").mkdir()
    with pytest.raises(JobError, match="folder, not a file"):
        load_job(tmp_path)
