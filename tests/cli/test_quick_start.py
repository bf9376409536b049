"""The quick start speaks of commands, options and codes that there are."""

from __future__ import annotations

import re
from pathlib import Path

import click
import pytest

from audit.cli.main import cli
from audit.errors import ExitCode

TEXT = (Path(__file__).parents[2] / "docs" / "quick-start.md").read_text(encoding="utf-8")
CALLS = re.findall(r"\.venv/bin/lidoff (.+)", TEXT)


@pytest.mark.parametrize("call", CALLS)
def test_commands_and_their_options_exist(call: str) -> None:
    name, *rest = call.split()
    command = cli.get_command(click.Context(cli), name)
    assert command is not None
    known = {o for p in command.params for o in p.opts}
    assert {r for r in rest if r.startswith("--")} <= known


def test_options_of_audit_that_are_named_exist() -> None:
    command = cli.get_command(click.Context(cli), "audit")
    assert command is not None
    known = {o for p in command.params for o in p.opts}
    assert set(re.findall(r"`(--[a-z-]+)", TEXT)) <= known


def test_exit_codes_are_all_told() -> None:
    told = {int(c) for c in re.findall(r"^\| (\d+) \|", TEXT, re.MULTILINE)}
    assert told == {int(c) for c in ExitCode}


def test_links_lead_to_files() -> None:
    for target in re.findall(r"\]\(([^)#]+)\)", TEXT):
        assert (Path(__file__).parents[2] / "docs" / target).exists()
