"""Docs held to the tree: links lead somewhere, every command is told of, no path of a machine."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest

CHECKOUT = Path(__file__).resolve().parent.parent
PAGES = sorted([*CHECKOUT.glob("*.md"), *(CHECKOUT / "docs").rglob("*.md")])
COMMANDS = sorted(
    path.stem.replace("_", "-")
    for path in (CHECKOUT / "audit" / "cli").glob("[a-z]*.py")
    if path.stem != "main"
)
LINK = re.compile(r"\]\(([^)#\s]+)(#[^)\s]*)?\)")


@pytest.mark.parametrize("page", PAGES, ids=lambda p: str(p.relative_to(CHECKOUT)))
def test_links_lead_somewhere(page: Path) -> None:
    targets = [match[1] for match in LINK.finditer(page.read_text(encoding="utf-8"))]
    broken = [t for t in targets if "://" not in t and not (page.parent / t).exists()]
    assert not broken


@pytest.mark.parametrize("page", sorted((CHECKOUT / "docs").rglob("*.md")), ids=lambda p: p.name)
def test_every_page_is_reached_from_an_index(page: Path) -> None:
    indexes = [CHECKOUT / "docs" / "README.md", CHECKOUT / "docs" / "adr" / "README.md"]
    reached = {
        (index.parent / match[1]).resolve()
        for index in indexes
        for match in LINK.finditer(index.read_text(encoding="utf-8"))
    }
    assert page in reached or page == indexes[0]


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_is_told_of(command: str) -> None:
    assert any(f"lidoff {command}" in page.read_text(encoding="utf-8") for page in PAGES)


def test_commands_in_the_docs_exist() -> None:
    for page in PAGES:
        for block in re.findall(r"```(?:sh)?\n(.*?)```", page.read_text(encoding="utf-8"), re.S):
            for line in block.splitlines():
                if named := re.match(r"(?:\S*bin/)?lidoff ([a-z][a-z-]*)\b(?!:)", line.strip()):
                    assert named[1] in COMMANDS, f"{page.name}: {line}"


def test_no_path_of_a_machine_in_what_is_kept() -> None:
    kept = subprocess.run(
        [
            "git",
            "grep",
            "-nIE",
            r"/(work|home|root|Users)/[a-z]",
            "--",
            ".",
            ":!tests/test_docs.py",
        ],
        cwd=CHECKOUT,
        capture_output=True,
        text=True,
    ).stdout
    if (CHECKOUT / ".git").exists():
        assert not kept


def test_the_walk_through_shows_every_picture_made_for_it_and_none_is_large() -> None:
    text = (CHECKOUT / "docs/how-to/see-what-it-saw.md").read_text(encoding="utf-8")
    pictures = sorted((CHECKOUT / "docs/img/see").iterdir())
    assert pictures
    assert {p.name for p in pictures} == set(re.findall(r"\.\./img/see/([\w.-]+)", text))
    assert not [p.name for p in pictures if p.stat().st_size >= 90_000]
    opened, closed = text.count("<!-- depends on the models -->"), text.count("<!-- until here -->")
    assert opened == closed > 0
