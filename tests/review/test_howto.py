"""The how-to says what the pages do: keys, options, words of decisions."""

from __future__ import annotations

import re
from pathlib import Path
from typing import get_args

from audit.cli.review import command
from audit.record.types import Choice

CHECKOUT = Path(__file__).resolve().parents[2]
HOWTO = (CHECKOUT / "docs" / "how-to" / "review.md").read_text(encoding="utf-8")
REVIEW = CHECKOUT / "audit" / "review"


def _keys(text: str) -> set[str]:
    return set(re.findall(r"<kbd>([^<]+)</kbd>", text))


def test_keys_are_those_of_the_pages() -> None:
    page = (REVIEW / "templates" / "subject.html").read_text(encoding="utf-8")
    assert _keys(page) <= _keys(HOWTO)
    assert _keys(HOWTO) - {"Shift"} <= _keys(page)
    script = (REVIEW / "static" / "subject.js").read_text(encoding="utf-8")
    for key in _keys(page) - {"Enter", "1", "9"}:
        assert f'"{key}"' in script or re.search(rf"\b{re.escape(key)}: \"", script), key


def test_every_decision_is_told() -> None:
    for choice in get_args(Choice):
        assert f"| {choice} |" in HOWTO


def test_options_exist_and_reaching_options_are_told() -> None:
    options = {o for p in command.params for o in p.opts if o.startswith("--")}
    told = set(re.findall(r"--[a-z][a-z-]*", HOWTO))
    assert told <= options
    assert {"--host", "--tls-cert", "--tls-key", "--second-look"} <= told
