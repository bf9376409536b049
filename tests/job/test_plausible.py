"""Nonsense in a job: a clear line each, with file, row and field; asked about, never guessed."""

from __future__ import annotations

from pathlib import Path

import pytest

from audit.errors import JobProblems, LidoffError
from audit.job.facts import JobFacts
from audit.job.plausible import problems
from audit.job.read import load_job

SOUND = """\
schema = "lidoff.job/1"
[job]
name = "x"
[[room]]
name = "Bath"
kind = "bathroom"
ceiling_m = 2.3
size_m = [2.6, 2.1]
[[room.bath]]
at_m = [0.0, 1.4]
size_m = [1.7, 0.7]
[[room.outlet]]
at_m = [0.1, 1.7]
height_m = 2.0
over = "bath"
[[fitting]]
label = "F01"
room = "Bath"
x_m = 1.0
y_m = 1.0
[[circuit]]
id = "C1"
[[circuit.leg]]
to = "F01"
length_m = 4.0
"""


def told(tmp_path: Path, text: str) -> list[str]:
    (tmp_path / "job.toml").write_text(text, encoding="utf-8")
    (tmp_path / "photos").mkdir(exist_ok=True)
    try:
        load_job(tmp_path)
    except JobProblems as several:
        return [e.one_line() for e in several.problems]
    except LidoffError as one:
        return [one.one_line()]
    return []


def test_a_sound_job_has_no_problems(tmp_path: Path) -> None:
    assert told(tmp_path, SOUND) == []


CASES = [
    # what is changed, the line that is told, words that must be in it
    ("at_m = [0.0, 1.4]\nsize_m", "at_m = [1.5, 1.4]\nsize_m", 10, "0.60 m out of room 'Bath'"),
    ("x_m = 1.0", "x_m = 4.0", 19, "1.40 m outside room 'Bath'"),
    ("at_m = [0.1, 1.7]", "at_m = [3.1, 1.7]", 13, "outside room 'Bath'"),
    ("size_m = [1.7, 0.7]", "size_m = [1700, 700]", 11, "millimetres meant? then write 1.7"),
    ("x_m = 1.0", "x_m = 1000", 19, "millimetres meant? then write 1"),
    ("ceiling_m = 2.3", "ceiling_m = 2300", 7, "millimetres meant? then write 2.3"),
    ("length_m = 4.0", "length_m = 4000", 25, "millimetres meant? then write 4"),
    ("length_m = 4.0", "length_m = -4.0", 25, "outside 0 to 500 m"),
    ('kind = "bathroom"', 'kind = "batroom"', 6, "did you mean 'bathroom'?"),
    ('kind = "bathroom"', 'kind = "spaceship"', 6, "not one of the words"),
    ("size_m = [2.6, 2.1]", "outline_m = [[0, 0], [2, 2], [2, 0], [0, 2]]", 8, "crosses itself"),
    ("size_m = [2.6, 2.1]", "outline_m = [[0, 0], [2, 0]]", 8, "three corners"),
    ("size_m = [2.6, 2.1]", "outline_m = [[0, 0], [2, 0], [1, 0]]", 8, "simple outline"),
    ("height_m = 2.0", "height_m = 2.5", 14, "the ceiling is at 2.3 m"),
    ("y_m = 1.0", "height_m = 2.0", 19, "x_m and y_m go together"),
    ("y_m = 1.0", "y_m = 1.0\nheight_m = 2.4", 21, "above the ceiling"),
    ("y_m = 1.0", "y_m = 1.0\nover_bath = true\nfrom_bath_m = 0.4", 22, "0 m from it"),
    ("y_m = 1.0", "y_m = 1.0\nfrom_bath_m = 0.2", 21, "0.40 m from the bath"),
    ("y_m = 1.0", "y_m = 1.0\nfrom_bath_m = 0.6", 21, "0.40 m from the bath"),
    ("y_m = 1.0", "y_m = 1.0\nover_bath = true", 21, "0.40 m from it"),
    ("y_m = 1.0", "y_m = 1.0\nip = 'IP9K'", 21, "ISO 20653"),
    ("y_m = 1.0", "y_m = 1.0\nip = 'IP65/67'", 21, "write each code whole, as IP65/IP67"),
    ('over = "bath"', 'over = "bath"\n[[room.tray]]\nat_m = [0.5, 1.4]\nsize_m = [0.7, 0.7]', 16,
     "overlaps"),
    ("length_m = 4.0", 'length_m = 4.0\n[[circuit.leg]]\nto = "F01"', 27, "two legs"),
    ("length_m = 4.0", 'length_m = 4.0\n[[circuit.leg]]\nto = "X"\nfrom = "Y"', 28, "no earlier leg"),
    ("length_m = 4.0", 'length_m = 4.0\n[[circuit]]\nid = "C2"\n[[circuit.leg]]\nto = "F01"', 29,
     "also on circuit 'C1'"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "row", "words"), CASES)
def test_each_is_told_with_its_place(
    tmp_path: Path, old: str, new: str, row: int, words: str
) -> None:
    assert old in SOUND
    lines = told(tmp_path, SOUND.replace(old, new, 1))
    assert any(line.startswith(f"job.toml:{row}") and words in line for line in lines), lines


def test_several_at_once(tmp_path: Path) -> None:
    text = SOUND.replace("x_m = 1.0", "x_m = 9.0").replace("[0.0, 1.4]", "[1.5, 1.4]")
    assert len(told(tmp_path, text)) == 2


def test_a_row_of_the_table_is_named(tmp_path: Path) -> None:
    begin = SOUND.index("[[fitting]]")
    (tmp_path / "fittings.csv").write_text(
        "label;room;x_m;y_m\nF01;Bath;1,0;1,0\n\nF02;Bath;5,0;1,0\n", encoding="utf-8"
    )
    lines = told(tmp_path, SOUND[:begin] + SOUND[SOUND.index("[[circuit]]") :])
    assert any(x.startswith("fittings.csv:4") and "outside room 'Bath'" in x for x in lines), lines


def test_thirty_millimetres_of_plaster_are_let_pass() -> None:
    def found(x: float) -> int:
        return len(
            problems(
                JobFacts.model_validate(
                    {
                        "job": {"name": "x"},
                        "room": [{"name": "R", "size_m": [2, 2], "bath": [
                            {"at_m": [x, 0], "size_m": [1.7, 0.7]}]}],
                        "fitting": [{"label": "F", "room": "R"}],
                    }
                )
            )
        )  # fmt: skip

    assert (found(0.329), found(0.331), found(-0.029), found(-0.031)) == (0, 1, 0, 1)
