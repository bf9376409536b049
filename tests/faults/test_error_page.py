"""`docs/errors.md` knows every line that the tool says."""

from __future__ import annotations

from pathlib import Path

import pytest

from audit.errors import ExitCode, JobProblems, LidoffError
from audit.job.read import load_job
from tests.job.folders import write_job

from .error_page import PAGE, all_said, pattern, renewed
from .test_job_folder import WRONG


def test_the_index_is_that_of_the_code() -> None:
    page = PAGE.read_text(encoding="utf-8")
    assert renewed(page) == page, "run: python -m tests.faults.error_page"


def test_the_index_is_read_from_all_packages() -> None:
    said = {s.what: s for s in all_said()}
    assert len(said) > 100
    assert said["the folder photos is missing"].code == 3
    assert said["the demo job is missing"].next_step == "install lidoff again"
    assert said["… leads out of the job folder"].code == 3
    assert any(s.code == 4 for s in said.values())
    assert any(s.code == 5 for s in said.values())


def test_every_exit_code_is_told() -> None:
    page = PAGE.read_text(encoding="utf-8")
    for code in ExitCode:
        assert f"\n| {int(code)} | " in page


@pytest.mark.parametrize("case", WRONG)
def test_what_is_really_said_stands_in_the_index(tmp_path: Path, case: str) -> None:
    """Against lines that came out, not against the source: the reader of the source may miss some."""
    job = write_job(tmp_path / "job", photos=("F01.jpg",))
    WRONG[case][0](job)
    told: list[LidoffError] = []
    try:
        load_job(job)
    except JobProblems as several:
        told = several.problems
    except LidoffError as one:
        told = [one]
    index = [pattern(s.what) for s in all_said()]
    for problem in told:
        hits = [p for p in index if p.fullmatch(problem.what)]
        assert hits, problem.what
