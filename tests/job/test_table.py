"""`fittings.csv` as spreadsheets of any country write it."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from audit.errors import JobError
from audit.job.cells import CellError, cell_value
from audit.job.fitting import Fitting
from audit.job.read import load_job
from audit.job.scaffold import COLUMNS
from audit.job.shape import Kind, columns, fields_of, kinds_of
from audit.job.table import read_table
from audit.job.text import odd_character, tidy

from .folders import SMALL, lines_of, write_job

WORDS = st.text(
    st.characters(codec="utf-8", exclude_categories=["Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"]),
    max_size=12,
).map(tidy)
ENCODINGS = ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-32"]


@given(
    rows=st.lists(st.tuples(WORDS, WORDS, WORDS), min_size=1, max_size=8),
    separator=st.sampled_from(",;\t|"),
    quoting=st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL, csv.QUOTE_NONNUMERIC]),
    ending=st.sampled_from(["\n", "\r\n", "\r"]),
    encoding=st.sampled_from(ENCODINGS),
    blank=st.sampled_from(["", ",,", ";;;", " "]),
)
@example(
    rows=[("", "", "\U00010000"), ("", "\U00010000", "\U0001009d")],
    separator=",", quoting=csv.QUOTE_MINIMAL, ending="\n", encoding="utf-16-le", blank="",
)  # fmt: skip
@settings(max_examples=200, deadline=None)
def test_what_a_spreadsheet_wrote_comes_back(
    rows: list[tuple[str, str, str]], separator: str, quoting: int, ending: str, encoding: str,
    blank: str,
) -> None:  # fmt: skip
    out = io.StringIO()
    writer = csv.writer(out, delimiter=separator, quoting=quoting, lineterminator=ending)  # type: ignore[arg-type]
    writer.writerow([" Label", "ROOM ", "IP rating"])
    for row in rows:
        writer.writerow(row)
        out.write(blank.replace(",", separator).replace(";", separator) + ending)
    table, problems = read_table(out.getvalue().encode(encoding), "fittings.csv", columns())
    assert not problems
    assert table.separator == separator
    names = ("label", "room", "ip")
    wanted = [{n: c for n, c in zip(names, row, strict=True) if c} for row in rows]
    assert [dict(r.cells) for r in table.rows] == [w for w in wanted if w]
    kept = [i for i, w in enumerate(wanted) if w]
    assert [r.number for r in table.rows] == [2 + 2 * i for i in kept]


@given(data=st.binary(max_size=400))
@settings(max_examples=300, deadline=None)
def test_any_bytes_give_a_table_or_one_error(data: bytes) -> None:
    try:
        table, problems = read_table(b"label,room\n" + data, "fittings.csv", columns())
    except JobError as error:
        assert error.one_line().startswith("fittings.csv")
    else:
        assert len(table.rows) <= data.count(b"\n") + data.count(b"\r") + 2
        assert all(p.where and p.where.row for p in problems)


def test_windows_1252_when_it_is_not_utf8(tmp_path: Path) -> None:
    csv_bytes = "label;room\nF09;Küche – unten\n".encode("cp1252")
    toml = SMALL + '[[room]]\nname = "Küche – unten"\n'
    assert load_job(write_job(tmp_path, toml, csv_bytes)).facts.fittings[2].room == "Küche – unten"


@pytest.mark.parametrize("head", ["sep=;\r\n", '"sep=;"\n', "SEP=;\n"])
def test_a_told_separator(tmp_path: Path, head: str) -> None:
    job = load_job(write_job(tmp_path, csv=f"{head}label;room\nF09;Landing\n"))
    assert job.facts.fittings[2].room == "Landing"
    assert job.sources.source("fitting", 2).row == 3


@pytest.mark.parametrize(
    "heading",
    ["ip", "IP", " Ip ", "IP rating", "IP-Rating", "ip_code", "Ip\u00a0Code", "ＩＰ"],
)
def test_headings_are_read_kindly(tmp_path: Path, heading: str) -> None:
    job = load_job(write_job(tmp_path, csv=f"Label,{heading}\nF09,ip 44\n"))
    assert job.facts.fittings[2].ip == "IP44"


@pytest.mark.parametrize(
    ("csv_text", "place", "words"),
    [
        ("label,ip,IP rating\nF09,IP44,IP20\n", "fittings.csv:1, field", "mean the same"),
        ("label,colur\nF09,x\n", "fittings.csv:1, field 'colur'", "did you mean 'colours'?"),
        ("label,room\nF09,Landing,extra\n", "fittings.csv:2", "3 cells but the heading row has 2"),
        ("label,\nF09,what\n", "fittings.csv:2", "'what' stands under no heading"),
        ('label,room\n"F09,Landing\nF10,Landing\n', "fittings.csv:2", "does not end as it should"),
        ('label,room\nF09,"Land"ing\n', "fittings.csv:2", "does not end as it should"),
        ("label,room\n,Landing\n", "fittings.csv:2, field 'label'", "the field 'label' is missing"),
        ("label,room\nF09,Lnading\n", "fittings.csv:2, field 'room'", "did you mean 'Landing'?"),
        ("label,cables\nF09,two\n", "fittings.csv:2, field 'cables'", "'two' is not a number"),
        ("label,cables\nF09,1.5\n", "fittings.csv:2, field 'cables'", "not a whole number"),
        ("label,height_m\nF09,2400\n", "fittings.csv:2, field 'height_m'", "write 2.4"),
        ("label,height_m\nF09,2.4 ft\n", "fittings.csv:2, field 'height_m'", "without a unit"),
        ("label,height_m\nF09,-2\n", "fittings.csv:2, field 'height_m'", "outside 0 to 12 m"),
        ('label,lit_distance_m\nF09,"1,234"\n', "fittings.csv:2, field", "1.234 or as 1234"),
        ("label,over bath\nF09,nein\n", "fittings.csv:2, field 'over bath'", "yes nor no"),
        ("label,model\nF09,\"a\nb\"\n", "fittings.csv:2, field 'model'", "can't be printed"),
        ("label,model\nF09,a\0b\n", "fittings.csv:2, field 'model'", "can't be printed"),
        ("label\n" + "\n" * 3 + "F01\n", "fittings.csv:5, field 'label'", "given twice"),
        ("", "fittings.csv", "this table is empty"),
        (";;;\n", "fittings.csv", "this table is empty"),
        ("label\nF09;Landing\n", "fittings.csv:2, field 'label'", ""),
    ],
)  # fmt: skip
def test_what_is_wrong_is_told_with_its_row(
    tmp_path: Path, csv_text: str, place: str, words: str
) -> None:
    if not words:  # a label may hold what separates elsewhere
        assert lines_of(write_job(tmp_path, csv=csv_text)) == []
        return
    told = lines_of(write_job(tmp_path, csv=csv_text))
    assert len(told) == 1, told
    assert told[0].startswith(place), told
    assert words in told[0], told
    assert told[0].isprintable()


def test_huge_tables_are_refused_in_a_line(tmp_path: Path) -> None:
    told = lines_of(write_job(tmp_path, csv="label\n" + "x" * 10_000_000))
    assert len(told) == 1 and "larger than 4 MB" in told[0]
    told = lines_of(write_job(tmp_path, csv="label\n" + "x" * 1_000_000))
    assert len(told) == 1 and len(told[0]) < 300
    told = lines_of(write_job(tmp_path, csv="label\n" + "F,\n" * 9000))
    assert len(told) == 1 and "more than 5000 rows" in told[0]


NUMBER, METRES = Kind("number"), Kind("number", unit="m")


@pytest.mark.parametrize(
    ("text", "separator", "value"),
    [
        ("2.4", ",", 2.4), ("2,4", ",", 2.4), ("0,350", ",", 0.35), ("2,400", ";", 2.4),
        ("2.4 m", ",", 2.4), ("2,4m", ";", 2.4), ("−0.5", ",", -0.5), ("+3", ",", 3.0),
        (".5", ",", 0.5), ("?", ",", None), ("n/a", ",", None), ("-", ",", None),
        ("unknown", ",", None), ("1234,5", ",", 1234.5), ("١٢", ",", 12.0),
    ],
)  # fmt: skip
def test_numbers(text: str, separator: str, value: float | None) -> None:
    assert cell_value(text, METRES, separator) == value


@pytest.mark.parametrize(
    "text", ["1,234", "1.234,5", "1,234.5", "1 234", "2.4.1", "1e3", "=1+1", "2.4 mm"]
)
def test_numbers_that_are_asked_about(text: str) -> None:
    with pytest.raises(CellError) as caught:
        cell_value(text, METRES)
    assert caught.value.next_step


@given(st.floats(-60, 60).map(lambda v: round(v, 2)))
def test_decimal_commas_and_points_are_one(value: float) -> None:
    text = f"{value:.2f}"
    assert cell_value(text, NUMBER) == value
    assert cell_value(text.replace(".", ","), NUMBER) == value


def test_a_word_of_the_list_is_kept_even_if_it_reads_as_nothing() -> None:
    assert cell_value("none", Kind("text", words=("inside", "none"))) == "none"
    assert cell_value("TBC", Kind("text", words=("inside", "none"))) is None
    assert cell_value("TBC", Kind("text")) == "TBC", "a label may be anything"


def test_headings_are_fields() -> None:
    assert set(columns().values()) == set(fields_of(Fitting))
    assert set(COLUMNS) <= set(fields_of(Fitting))
    assert kinds_of(Fitting)["lamp_w"] == Kind("number", unit="W")
    assert kinds_of(Fitting)["over_bath"].base == "yes or no"
    assert kinds_of(Fitting)["cables"].base == "whole number"


@pytest.mark.parametrize(
    ("text", "told"),
    [("a\nb", "a line break"), ("a\x00", "a zero byte"), ("a\u202eb", "right-to-left override"),
     ("\u200b", "zero width space"), ("a b é", None)],
)  # fmt: skip
def test_invisible_characters_are_named(text: str, told: str | None) -> None:
    found = odd_character(text)
    assert found is None if told is None else told in str(found)
