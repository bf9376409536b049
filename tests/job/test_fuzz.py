"""Whatever bytes a job folder holds: a job, or lines that say what is wrong; never more."""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from audit.errors import LidoffError
from audit.job.facts import JobFacts
from audit.job.fitting import Fitting
from audit.job.read import load_job
from audit.job.room import Room
from audit.job.scaffold import scaffold
from audit.job.shape import fields_of

from .folders import SMALL, lines_of, put, write_job


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_job(tmp_path_factory.mktemp("fuzz"), photos=("F01.jpg",))


def sound_or_told(folder: Path) -> None:
    for line in lines_of(folder):
        assert line.isprintable()
        assert len(line) < 1000
        assert "Error" not in line.replace("Errors", "")


@given(st.binary(max_size=200))
@example(b"\xef\xbb\xbf")
@example(b"\xff\xfe\x00")
@example(b"a = '''")
@example(b"[a.b]\n[a]\nb = 1")
@example(b"a = 1979-05-27T07:32:00Z\n[job]\nname = 1e999")
@settings(max_examples=150, deadline=None)
def test_any_bytes(folder: Path, data: bytes) -> None:
    put(folder / "job.toml", data)
    sound_or_told(folder)


@given(seed=st.integers(0, 2**32), cuts=st.integers(1, 6))
@settings(max_examples=100, deadline=None)
def test_a_good_file_with_bytes_changed(folder: Path, seed: int, cuts: int) -> None:
    chance = random.Random(seed)
    data = bytearray(FULL.encode())
    for _ in range(cuts):
        at = chance.randrange(len(data))
        match chance.randrange(3):
            case 0:
                data[at] = chance.randrange(256)
            case 1:
                del data[at : at + chance.randrange(1, 30)]
            case _:
                data[at:at] = bytes(data[chance.randrange(len(data)) :][:20])
    put(folder / "job.toml", bytes(data))
    sound_or_told(folder)


KEYS = [*fields_of(JobFacts), *fields_of(Room), *fields_of(Fitting), "x", "a b", ""]

VALUE = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**63), 2**63 - 1)
    | st.floats()
    | st.text(st.characters(codec="utf-8", exclude_characters="\x7f"), max_size=8)
    | st.sampled_from(["F01", "bath", "IP65", "2026-01-01", "yes"]),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(KEYS), inner),
    max_leaves=6,
)


def as_toml(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float):
        return repr(value) if "e" in repr(value) or "." in repr(value) else f"{value}"
    if isinstance(value, list):
        return f"[{', '.join(as_toml(v) for v in value)}]"
    if isinstance(value, dict):
        return f"{{{', '.join(f'{as_toml(k)} = {as_toml(v)}' for k, v in value.items())}}}"
    if isinstance(value, str):
        return '"' + "".join(f"\\U{ord(c):08x}" for c in value) + '"'
    return str(value) if value is not None else '""'


@given(
    st.dictionaries(st.sampled_from(KEYS), VALUE, max_size=4), st.sampled_from(["room", "fitting"])
)
@settings(max_examples=150, deadline=None)
def test_any_values_in_any_place(folder: Path, table: dict[str, object], kind: str) -> None:
    lines = [f"{as_toml(k)} = {as_toml(v)}" for k, v in table.items()]
    body = "\n".join(lines)
    put(folder / "job.toml", f"{body}\n[[{kind}]]\n{body}\n[[{kind}.bath]]\n{body}\n")
    sound_or_told(folder)


def test_the_full_example_is_sound(folder: Path) -> None:
    put(folder / "job.toml", FULL)
    assert lines_of(folder) == []


def test_the_scaffold_with_its_examples_taken_in_is_sound(tmp_path: Path) -> None:
    """Every example that a new job.toml shows must hold when its # is taken away."""
    new = tmp_path / "new"
    scaffold(new)
    lines = (new / "job.toml").read_text(encoding="utf-8").splitlines()
    start = lines.index("[job]")
    taken = [x.removeprefix("# ").removeprefix("#") for x in lines[start:]]
    prose = ("One [[room]]", "Fittings: here", "Photos go", "#")
    text = "\n".join(x for x in taken if not x.strip().startswith(prose))
    (new / "photos" / "IMG_2031.jpg").write_bytes(b"\xff\xd8\xff")
    (new / "job.toml").write_text(text, encoding="utf-8")
    assert lines_of(new) == []
    job = load_job(new)
    assert job.facts.rooms[0].baths and job.facts.circuits and job.entries


def test_a_new_job_lacks_nothing_but_fittings(tmp_path: Path) -> None:
    scaffold(tmp_path / "ünï \"quoted'")
    told = lines_of(tmp_path / "ünï \"quoted'")
    assert len(told) == 1
    assert "the job has no fittings" in told[0]
    with pytest.raises(LidoffError, match="there already"):
        scaffold(tmp_path / "ünï \"quoted'")


FULL = (
    SMALL.replace(
        "size_m = [2.0, 3.0]\n",
        """size_m = [2.0, 3.0]
above = "loft"
[[room.bath]]
at_m = [0, 0]
size_m = [0.7, 1.7]
[[room.outlet]]
at_m = [0.3, 0.1]
height_m = 2.0
over = "bath"
[[room.partition]]
line_m = [[0.7, 0.0], [0.7, 1.0]]
fixed = true
""",
    )
    + """
[building]
use = "house"
storeys = 2
[[circuit]]
id = "L1"
device = "mcb b"
rating_a = 6
dead_tests_at = 2026-05-31T10:00:00
[[circuit.leg]]
to = "F01"
length_m = 4.5
[[circuit.leg]]
from = "F01"
to = "F02"
[[photo]]
file = "F01.jpg"
fitting = "F01"
view = "inside"
[settings]
workers = 1
"""
)


@pytest.mark.parametrize(
    "more",
    [
        "cables = " + "9" * 4000,
        "height_m = " + "9" * 4000,
        f"cables = {2**63}",
        "[settings]\nworkers = " + "9" * 40,
        '"' + "k" * 100_000 + '" = 1',
        'ip = "' + "I" * 100_000 + '"',
        'on = "' + "x" * 100_000 + '"',
        'room = "' + "x" * 100_000 + '"',
        "[[photo]]\nfile = '" + "a/" * 3000 + "'",
    ],
)
def test_what_is_huge_is_told_in_a_short_line(folder: Path, more: str) -> None:
    put(folder / "job.toml", SMALL + more + "\n")
    told = lines_of(folder)
    assert 1 <= len(told) <= 2
    for line in told:
        assert line.isprintable()
        assert len(line) < 500, line
