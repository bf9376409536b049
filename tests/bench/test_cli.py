"""The command on a small folder of numbers."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

from audit.cli.main import main
from tests.bench.conftest import Folder, finding, item, look_dict, truth_dict

COPPER = "copper-beyond-terminal"


def _run(*args: object) -> int:
    with pytest.raises(SystemExit) as left:
        main(["bench", *(str(a) for a in args)])
    return int(left.value.code or 0)


@pytest.fixture
def filled(folder: Folder) -> Folder:
    folder.add(
        truth_dict("a.png", [item(COPPER, 2.0, 0), item(COPPER, 3.0, 100)]),
        look_dict("a.png", [finding(COPPER, "flag", 0, 2.1)]),
    )
    folder.add(
        truth_dict("b.png", [item(COPPER, 0.0, 0)]),
        look_dict("b.png", [finding(COPPER, "clear", 0, 0.0)]),
    )
    return folder


def test_tables_json_and_dump(
    filled: Folder, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    figures, dump = tmp_path / "bench.json", tmp_path / "dump.csv"
    args = (filled.path, "--looks", filled.looks_file(), "--json", figures, "--dump", dump)
    assert _run(*args, "--worst", 1) == 0
    out = capsys.readouterr().out
    assert "2 photos of set" in out
    assert "50.0 % (1.3-98.7)" in out  # recall 1 of 2
    assert "silent" in out.split("Worst")[1]
    data = json.loads(figures.read_text(encoding="utf-8"))
    assert data["schema"] == "lidoff.bench/1"
    assert data["checks"][COPPER]["all"]["silent"] == 1
    rows = list(csv.DictReader(dump.open(encoding="utf-8")))
    assert [r["verdict"] for r in rows] == ["right flag", "silent", "right clear"]


def test_only_and_a_missing_record(filled: Folder, capsys: pytest.CaptureFixture[str]) -> None:
    filled.looks.pop()
    looks = filled.looks_file()
    assert _run(filled.path, "--looks", looks, "--only", "a*") == 0
    assert _run(filled.path, "--looks", looks) == 3
    assert "b.png: no record of this photo" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("spoil", "code", "says"),
    [
        (lambda f: f.rename(f.with_name("moved")), 2, "no such folder"),
        (lambda f: [p.unlink() for p in f.glob("*.json")], 2, "no photo with a truth file"),
        (lambda f: (f / "a.png").unlink(), 3, "no photo beside the truth file"),
        (lambda f: (f / "a.truth.json").write_text("{"), 3, "not JSON"),
        (lambda f: (f / "a.truth.json").write_text('{"photo": "a.png"}'), 3, "field 'usable'"),
    ],
)
def test_bad_folders(
    filled: Folder,
    capsys: pytest.CaptureFixture[str],
    spoil: object,
    code: int,
    says: str,
) -> None:
    spoil(filled.path)  # type: ignore[operator]
    assert _run(filled.path, "--looks", filled.looks_file()) == code
    err = capsys.readouterr().err
    assert says in err
    assert "Traceback" not in err
    assert len(err.strip().splitlines()) == 1


def test_a_bad_record_is_named_by_line(filled: Folder, capsys: pytest.CaptureFixture[str]) -> None:
    filled.looks[1]["findings"][0]["score"] = 1.5
    assert _run(filled.path, "--looks", filled.looks_file()) == 3
    assert "looks.jsonl:2, field 'findings.0.score'" in capsys.readouterr().err
