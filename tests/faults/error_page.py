"""The index of `docs/errors.md`, read from the source: every line the tool can say.

`python -m tests.faults.error_page` renews the page between its comments.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from audit import errors

ROOT = Path(__file__).resolve().parents[2]
PAGE = ROOT / "docs" / "errors.md"
BEGIN, END = "<!-- index: made by python -m tests.faults.error_page -->", "<!-- end -->"
HOLE = "…"

_CODES = {
    name: int(kind.exit_code)
    for name, kind in vars(errors).items()
    if isinstance(kind, type) and issubclass(kind, errors.LidoffError)
}
# Where in its arguments each kind of error carries what is wrong and what to do next.
_PLACES: dict[str, tuple[int, int]] = {
    **dict.fromkeys(_CODES, (0, 2)),
    "CellError": (0, 1), "FactProblem": (1, 2), "PydanticCustomError": (1, 9), "IpCodeError": (0, 9),
}  # fmt: skip
_INDIRECT = 3  # these end in a line about the job, whose exit code is 3


@dataclass(frozen=True, order=True)
class Said:
    """One message: what is wrong and what to do next, with … for what varies."""

    what: str
    next_step: str
    code: int


@cache
def all_said(top: Path = ROOT / "audit") -> list[Said]:
    """Every message of the package, in the order of the alphabet."""
    found: set[Said] = set()
    for path in sorted(top.rglob("*.py")):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        for function in ast.walk(tree):
            if isinstance(function, ast.FunctionDef):
                found.update(_in_function(function, path.name == "explain.py"))
    return sorted(found, key=lambda s: (re.sub(r"\W+", "", s.what).lower(), s.next_step, s.code))


def _in_function(function: ast.FunctionDef, pairs: bool) -> Iterator[Said]:
    names = _assigned(function)
    for node in ast.walk(function):
        if isinstance(node, ast.Call):
            kind = node.func.attr if isinstance(node.func, ast.Attribute) else None
            kind = node.func.id if isinstance(node.func, ast.Name) else kind
            if kind in _PLACES:
                yield from _call(node, kind, names)
        elif pairs and isinstance(node, ast.Return) and isinstance(node.value, ast.Tuple):
            first, second = [*node.value.elts, None, None][:2]
            for what in _texts(first, names):
                step = next(iter(_texts(second, names)), HOLE)
                yield Said(what, step, _INDIRECT)


def _call(node: ast.Call, kind: str, names: dict[str, ast.expr]) -> Iterator[Said]:
    first, second = _PLACES[kind]
    keywords = {k.arg: k.value for k in node.keywords}
    what = node.args[first] if len(node.args) > first else keywords.get("what")
    if isinstance(what, ast.Constant) and what.value == "{text}":
        # The whole message is handed in as the one value of the template.
        values = node.args[2]
        what = values.values[0] if isinstance(values, ast.Dict) else what
    step = node.args[second] if len(node.args) > second else keywords.get("next_step")
    for text in _texts(what, names):
        steps = list(_texts(step, names)) or [HOLE if step is not None else ""]
        for next_step in steps:
            yield Said(text, next_step, _CODES.get(kind, _INDIRECT))


def _assigned(function: ast.FunctionDef) -> dict[str, ast.expr]:
    found: dict[str, ast.expr] = {}
    for node in ast.walk(function):
        if isinstance(node, ast.Assign) and len(node.targets) == 1:
            target = node.targets[0]
            if isinstance(target, ast.Name) and isinstance(
                node.value, ast.Constant | ast.JoinedStr | ast.IfExp
            ):
                found[target.id] = node.value
    return found


def _texts(node: ast.expr | None, names: dict[str, ast.expr]) -> Iterator[str]:
    """Texts an expression may give; nothing when it is built elsewhere."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        text = re.sub(r"\{[a-z_]+\}", HOLE, node.value)
        if text not in {"", HOLE}:
            yield text
    elif isinstance(node, ast.JoinedStr):
        parts = [str(v.value) if isinstance(v, ast.Constant) else HOLE for v in node.values]
        if re.search(r"[a-z]{3}", text := "".join(parts)):
            yield text
    elif isinstance(node, ast.IfExp):
        yield from _texts(node.body, names)
        yield from _texts(node.orelse, names)
    elif isinstance(node, ast.Name) and node.id in names:
        yield from _texts(names[node.id], {k: v for k, v in names.items() if k != node.id})


def index() -> str:
    """The index as a Markdown table."""
    rows = ["| what it says | what to do next | code |", "| --- | --- | --- |"]
    rows += [f"| {_cell(s.what)} | {_cell(s.next_step)} | {s.code} |" for s in all_said()]
    return "\n".join(rows)


def _cell(text: str) -> str:
    return re.sub(r"([|<>*_\[\]`\\])", r"\\\1", " ".join(text.split()))


def pattern(text: str) -> re.Pattern[str]:
    """What a line that comes of a message looks like."""
    return re.compile(".*".join(re.escape(part) for part in text.split(HOLE)), re.DOTALL)


def renewed(page: str) -> str:
    """The page with its index made anew."""
    head, rest = page.split(BEGIN)
    return f"{head}{BEGIN}\n{index()}\n{END}{rest.split(END, 1)[1]}"


if __name__ == "__main__":
    PAGE.write_text(renewed(PAGE.read_text(encoding="utf-8")), encoding="utf-8", newline="\n")
