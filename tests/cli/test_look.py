"""`lidoff look`: one line a photo, in order, and the exit codes of the contract."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from audit.batch import photos as batch
from audit.cli import look
from audit.errors import ExitCode
from audit.measure.contract import LookRecord
from tests.checklist.test_merge import finding, photo


def record(name: str, *findings: object, outcome: str = "read", **more: int) -> LookRecord:
    return photo(*findings, name=name, outcome=outcome, **more).record  # type: ignore[arg-type]


CLEAR = (finding("clear"), finding("clear", check="core-outside-enclosure"))
COPPER = tuple(finding("clear", f"e{n}", "copper-beyond-terminal") for n in (1, 2, 3))

KNOWN = {
    "clear.jpg": record("clear.jpg", *CLEAR, *COPPER),
    "bare.jpg": record("bare.jpg", *CLEAR, *COPPER[:2], bare=1),
    "no-cable.jpg": record("no-cable.jpg", *CLEAR, *COPPER, cables=2),
    "no-grip.jpg": record("no-grip.jpg", CLEAR[1], *COPPER),
    "no-end.jpg": record("no-end.jpg", *CLEAR, *COPPER[:2]),
    "empty.jpg": record("empty.jpg", cables=0, ends=0),
    "flag.jpg": record("flag.jpg", finding("flag", value_mm=6.1, u95_mm=0.6)),
    "unsure.jpg": record("unsure.jpg", finding("unsure")),
    "silent.jpg": record("silent.jpg"),
    "retake.jpg": record("retake.jpg", outcome="retake"),
    "failed.jpg": batch.failed("failed.jpg", "it is text, not a photo"),
}


class Backwards:
    """Stands in for the worker processes: hands results on last first."""

    def __init__(self, workers: int) -> None:
        pass

    def __enter__(self) -> Backwards:
        return self

    def __exit__(self, *_: object) -> None:
        pass

    def run(self, work, tasks):  # type: ignore[no-untyped-def]
        for index in reversed(range(len(tasks))):
            yield index, KNOWN[tasks[index].name]


@pytest.fixture(autouse=True)
def no_workers(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(look, "LocalProcesses", Backwards)


def run(*args: str) -> Result:
    return CliRunner().invoke(look.command, list(args), standalone_mode=False)


def test_lines_come_in_the_order_given_and_nothing_else() -> None:
    names = ["unsure.jpg", "clear.jpg", "flag.jpg", "clear.jpg"]
    lines = [json.loads(line) for line in run(*names, "--json").stdout.splitlines()]
    assert [x["photo"] for x in lines] == names
    assert {x["schema"] for x in lines} == {"lidoff.look/1"}


def test_failed_photo_has_its_line_with_nulls() -> None:
    [line] = run("failed.jpg", "--json").stdout.splitlines()
    data = json.loads(line)
    assert data["outcome"] == "failed"
    assert data["reasons"] == ["it is text, not a photo"]
    for unknown in ("sha256", "size_px", "usable", "card", "scale"):
        assert data[unknown] is None


@pytest.mark.parametrize(
    ("names", "code"),
    [
        (["clear.jpg", "bare.jpg"], ExitCode.DONE),
        (["no-cable.jpg"], ExitCode.OPEN_POINTS),
        (["no-grip.jpg"], ExitCode.OPEN_POINTS),
        (["no-end.jpg"], ExitCode.OPEN_POINTS),
        (["empty.jpg"], ExitCode.OPEN_POINTS),
        (["clear.jpg", "flag.jpg"], ExitCode.OPEN_POINTS),
        (["unsure.jpg"], ExitCode.OPEN_POINTS),
        (["retake.jpg"], ExitCode.OPEN_POINTS),
        (["silent.jpg"], ExitCode.OPEN_POINTS),
        (["flag.jpg", "failed.jpg"], ExitCode.UNREADABLE),
    ],
)
@pytest.mark.parametrize("form", [["--json"], []])
def test_exit_codes(names: list[str], code: int, form: list[str]) -> None:
    assert run(*names, *form).return_value == code


def test_text_for_a_person() -> None:
    text = run("flag.jpg", "clear.jpg", "silent.jpg", "empty.jpg", "failed.jpg").stdout
    assert "flag: core-outside-grip (c1): 6.1 ± 0.6 mm: flag of c1" in text
    assert "no fault seen: core-outside-grip (c1)" in text
    assert "nothing in it looks like a fault, nor shows plainly that there is none" in text
    assert "nothing in it could be judged" in text
    assert "failed.jpg: failed: it is text, not a photo" in text


def test_masks_of_two_photos_of_one_name_are_refused(tmp_path: Path) -> None:
    result = run("a/clear.jpg", "b/clear.jpg", "--masks", str(tmp_path))
    assert "would write files of one name" in str(result.exception)


def test_the_pages_of_the_stages_are_named_beside_the_output(tmp_path: Path) -> None:
    page = tmp_path / "flag.0-stages.html"
    page.write_text("made by the worker", encoding="utf-8")
    told = run("flag.jpg", "failed.jpg", "--json", "--explain", str(tmp_path))
    assert told.stderr.splitlines() == [f"stages as pictures: open {page}"]
    assert len(told.stdout.splitlines()) == 2, "a line a photo and nothing else"


def test_marks_go_to_their_own_photo(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    marks = tmp_path / "marks.json"
    mark = {"photo": "flag.jpg", "kind": "grip", "of": "c1", "points_px": [[1, 2], [30, 40]]}
    marks.write_text(json.dumps({"schema": "lidoff.marks/1", "marks": [mark]}))
    tasks: list[batch.LookTask] = []

    def keep(given, executor):  # type: ignore[no-untyped-def]
        tasks.extend(given)
        return batch.look_all(given, executor)

    monkeypatch.setattr(look, "look_all", keep)
    run("clear.jpg", "flag.jpg", "--marks", str(marks), "--cable", "1.5 T&E")
    assert [len(t.marks) for t in tasks] == [0, 1]
    assert {t.declared.cable_size for t in tasks if t.declared} == {"1.5 T&E"}
