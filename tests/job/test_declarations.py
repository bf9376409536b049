"""`declarations.csv` and `[[declaration]]`: what a fitter holds of their own work; who fitted what."""

from __future__ import annotations

from pathlib import Path

import pytest

from audit.job.read import load_job

from .folders import SMALL, lines_of, put, write_job


def test_both_files_are_joined(tmp_path: Path) -> None:
    toml = SMALL + '\n[[declaration]]\nfitting = "f01"\nsays = "No  Fault"\n'
    job = write_job(tmp_path, toml, csv="label,fitted by\nF03,Apprentice 2\n")
    put(
        job / "declarations.csv",
        "Fitting;Check;Says;By\nF02;core-outside-grip;can't tell;A\n\nF03;;fault;\n",
    )
    facts = load_job(job).facts
    assert [(d.fitting, d.check, d.says, d.by) for d in facts.declarations] == [
        ("F01", None, "no fault", None),
        ("F02", "core-outside-grip", "can't tell", "A"),
        ("F03", None, "fault", None),
    ]
    assert facts.fittings[2].fitted_by == "Apprentice 2"


def test_an_empty_table_declares_nothing(tmp_path: Path) -> None:
    job = write_job(tmp_path)
    put(job / "declarations.csv", "fitting,check,says\n")
    assert load_job(job).facts.declarations == ()


@pytest.mark.parametrize(
    ("table", "told"),
    [
        ("fitting,says\nF09,fault\n", "declarations.csv:2, field 'fitting': there is no fitting 'F09'"),
        ("fitting,says\nF01,good\n", "declarations.csv:2, field 'says': 'good' is not one of the words"),
        ("fitting,says,colour\nF01,fault,red\n", "there is no such field of a declaration"),
        ("fitting,check\nF01,core-outside-grip\n", "the field 'says' is missing"),
        ("says\nfault\n", "the field 'fitting' is missing"),
        ("fitting,says\nF01,fault\nf01,no fault\n", "declarations.csv:3, field 'fitting': every check of fitting 'F01' is declared twice"),
        ("fitting,check,says\nF01,x,fault\nF01,x,fault\n", "check 'x' of fitting 'F01' is declared twice"),
        ('fitting,says\n"F01,fault\n', "declarations.csv"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_told_with_its_place(tmp_path: Path, table: str, told: str) -> None:
    job = write_job(tmp_path)
    put(job / "declarations.csv", table)
    lines = lines_of(job)
    assert any(told in line for line in lines), lines
