"""The reference page and `lidoff checks` tell what the catalogue holds."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from audit.cli.checks import command
from audit.errors import UsageError
from audit.rules import TOPICS, catalogue
from audit.rules.reference import PAGE, page

REFERENCE = Path(__file__).resolve().parents[2] / "docs" / "reference" / PAGE


def test_the_page_is_that_of_the_catalogue() -> None:
    assert REFERENCE.read_text(encoding="utf-8") == page(), (
        "run: python -m audit.rules.reference docs/reference"
    )


def test_the_page_tells_every_check() -> None:
    text = page()
    for check in catalogue().values():
        assert f"### {check.id}\n" in text
        assert check.question in text and check.why in text and check.settle in text


def run(*args: str) -> str:
    result = CliRunner().invoke(command, list(args), standalone_mode=False)
    if result.exception:
        raise result.exception
    assert result.return_value == 0
    return result.stdout


def test_list() -> None:
    text = run()
    assert all(c.id in text and c.question in text for c in catalogue().values())
    assert all(f"({t}, " in text for t in TOPICS)


def test_list_of_one_topic() -> None:
    text = run("--topic", "fire")
    assert "fire-rating" in text and "zone-water" not in text


@pytest.mark.parametrize("check_id", list(catalogue()))
def test_each_in_full(check_id: str) -> None:
    text, check = " ".join(run(check_id).split()), catalogue()[check_id]
    for part in (check.question, check.why, check.computed, check.settle, check.weight.value):
        assert part in text
    assert all(source.clause in text for source in check.sources)


def test_json() -> None:
    rows = json.loads(run("--json"))["checks"]
    assert [r["id"] for r in rows] == list(catalogue())
    one = json.loads(run("zone-water", "--json", "--region", "international"))
    assert {v["id"]: v["value"] for v in one["values"]}["zone2-reach-m"] == 0.6
    assert one["values"][0]["source"].startswith("IEC 60364-7-701:2006")


def test_unknown_check_and_region() -> None:
    with pytest.raises(UsageError) as caught:
        run("zone-watr")
    assert "did you mean 'zone-water'?" in caught.value.one_line()
    with pytest.raises(UsageError):
        run("--region", "atlantis")
