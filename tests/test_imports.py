"""The shape of the tree: which way imports run, where data lives, how long files and functions are."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest
from importlinter import cli as importlinter

CHECKOUT = Path(__file__).resolve().parent.parent
SOURCES = sorted(
    path
    for top in ("audit", "sample_images", "tests", "tools", "models")
    for path in (CHECKOUT / top).rglob("*.py")
)
MAX_FILE, MAX_FUNCTION = 400, 50


def test_imports_run_one_way(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(CHECKOUT)
    assert importlinter.lint_imports(no_cache=True) == importlinter.EXIT_STATUS_SUCCESS


def test_every_package_has_its_place_in_the_order() -> None:
    order = (CHECKOUT / "pyproject.toml").read_text(encoding="utf-8").split("layers = [")[1]
    for package in (p.parent.name for p in (CHECKOUT / "audit").glob("*/__init__.py")):
        assert package in order, f"audit/{package} is missing in [tool.importlinter]"


def test_data_lives_in_models_alone() -> None:
    for packaged in ("_models", "_demo", "_practice", "_scenes"):
        assert not (CHECKOUT / "audit" / packaged).exists()
    assert not list((CHECKOUT / "models").rglob("*.py"))


@pytest.mark.parametrize("path", SOURCES, ids=lambda p: str(p.relative_to(CHECKOUT)))
def test_files_and_functions_are_short(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert len(text.splitlines()) < MAX_FILE
    long = {
        f"{node.name} (line {node.lineno})": length
        for node in _functions(ast.parse(text))
        if (length := (node.end_lineno or node.lineno) - node.lineno + 1 - _doc_lines(node))
        >= MAX_FUNCTION
    }
    assert not long, f"lines of code: {long}"


def _functions(tree: ast.AST) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield node


def _doc_lines(node: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Lines of the docstring: a long one is wanted, not a fault."""
    first = node.body[0]
    is_text = isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant)
    if not is_text or not isinstance(first.value.value, str):  # type: ignore[attr-defined]
        return 0
    return (first.end_lineno or first.lineno) - first.lineno + 1
