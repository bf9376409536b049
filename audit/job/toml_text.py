"""TOML with the line of every field.

Values come from the standard library's `tomllib`. It keeps no positions, so
the lines come from the TOML grammar of tree-sitter, which does: the two are
joined by the path of each key.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

import tree_sitter
import tree_sitter_toml

from audit.errors import JobError, Where

Path = tuple[str | int, ...]

_AT = re.compile(r"\s*\(at (?:line (\d+), column (\d+)|end of document)\)$")
_MAX_DEPTH = 40
"""Deepest nesting of brackets and dotted names, in nodes of the syntax tree; a job needs some 8."""


@dataclass(frozen=True)
class TomlText:
    """A parsed TOML document and where its fields stand.

    Parameters
    ----------
    data : dict
        As `tomllib` gives it.
    lines : mapping of path to int
        Line, counted from 1, of each table, array element and key; a path is a
        tuple of keys and, within arrays, indices from 0.
    """

    data: dict[str, Any]
    lines: Mapping[Path, int]

    def line(self, path: Path) -> int | None:
        """Line of `path`, or of the nearest parent that stands in the text."""
        for end in range(len(path), 0, -1):
            if path[:end] in self.lines:
                return self.lines[path[:end]]
        return None


@cache
def _parser() -> tree_sitter.Parser:
    return tree_sitter.Parser(tree_sitter.Language(tree_sitter_toml.language()))


def parse_toml(text: str, name: str) -> TomlText:
    """Parse TOML and note the line of every field.

    Parameters
    ----------
    text : str
    name : str
        How messages name the file.

    Raises
    ------
    JobError
        Not TOML, with line and column; or nested too deeply.
    """
    source = text.replace("\r\n", "\n").encode("utf-8", "surrogatepass")
    tree = _parser().parse(source)
    # Before tomllib sees it: that recurses on brackets, and long dotted names cost it
    # time that grows with the square of their length.
    deep = _too_deep(tree)
    if deep is not None:
        raise JobError(
            "brackets or dotted names are nested too deeply", Where(name, deep), "write it flatter"
        )
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as exc:
        raise _not_toml(str(exc), text, name) from exc
    except RecursionError as exc:
        raise JobError(
            "brackets or dotted names are nested too deeply", Where(name), "write it flatter"
        ) from exc
    except ValueError as exc:  # the interpreter's bound on the digits of an integer
        raise JobError("a number has too many digits", Where(name), "write it shorter") from exc
    parsed = TomlText(data, dict(_lines(tree.root_node)))
    wide = _too_wide(data)
    if wide is not None:
        raise JobError(
            "a number has too many digits", Where(name, parsed.line(wide)), "write it shorter"
        )
    return parsed


def _too_wide(data: dict[str, Any]) -> Path | None:
    """Path of the first whole number beyond 64 bits, which is all that TOML promises, or None."""
    pending: list[tuple[Path, Any]] = [((), data)]
    while pending:
        path, value = pending.pop()
        if isinstance(value, dict):
            pending.extend(((*path, key), inner) for key, inner in value.items())
        elif isinstance(value, list):
            pending.extend(((*path, index), inner) for index, inner in enumerate(value))
        elif isinstance(value, int) and not -(2**63) <= value < 2**63:
            return path
    return None


def _too_deep(tree: tree_sitter.Tree) -> int | None:
    """Line of the first node that is nested more than `_MAX_DEPTH` deep, or None."""
    cursor = tree.walk()
    while True:
        if cursor.depth > _MAX_DEPTH:
            return cursor.node.start_point[0] + 1 if cursor.node else 1
        if cursor.goto_first_child() or cursor.goto_next_sibling():
            continue
        while cursor.goto_parent():
            if cursor.goto_next_sibling():
                break
        else:
            return None


_PLAIN = {
    "Invalid value": "a value is missing or can't be understood here",
    "Invalid statement": "a line must be `name = value`, `[table]` or a comment that begins with #",
    "Expected '=' after a key in a key/value pair": "an equals sign is missing after the name",
    "Expected newline or end of document after a statement": "something is left over after a value",
    "Cannot overwrite a value": "this name is already given in the same table",
    "Unterminated string": "a text has no closing quote",
    "Unclosed array": "a list has no closing bracket",
    "Unclosed inline table": "a table has no closing brace",
}


def _not_toml(message: str, text: str, name: str) -> JobError:
    found = _AT.search(message)
    reason = message[: found.start()] if found else message
    row, column = (int(found[1]), int(found[2])) if found and found[1] else (None, None)
    if found and row is None:
        row = text.rstrip().count("\n") + 1
    plain = _PLAIN.get(reason)
    place = f", column {column}" if column else ""
    said = f"not valid TOML{place}: {plain or reason}"
    step = "texts stand in quotes; numbers have a point and no unit"
    return JobError(said, Where(name, row), step)


def _lines(root: tree_sitter.Node) -> Iterator[tuple[Path, int]]:
    """Paths and lines, table by table; later elements of an array of tables count up."""
    counts: dict[Path, int] = {}
    for node in root.children:
        if node.type == "pair":
            yield from _pair((), node)
        elif node.type in {"table", "table_array_element"}:
            keys = _key_parts(node)
            if not keys:
                continue
            base = (*_resolve(keys[:-1], counts), keys[-1])
            if node.type == "table_array_element":
                counts[base] = counts.get(base, -1) + 1
            base = _resolve(keys, counts)
            yield base, node.start_point[0] + 1
            for child in node.children:
                if child.type == "pair":
                    yield from _pair(base, child)


def _resolve(keys: tuple[str, ...], counts: Mapping[Path, int]) -> Path:
    path: Path = ()
    for key in keys:
        path += (key,)
        if path in counts:
            path += (counts[path],)
    return path


def _pair(base: Path, node: tree_sitter.Node) -> Iterator[tuple[Path, int]]:
    keys = _key_parts(node)
    if not keys:
        return
    line = node.start_point[0] + 1
    for end in range(1, len(keys) + 1):
        yield base + keys[:end], line
    yield from _value(base + keys, node.children[-1])


def _value(path: Path, node: tree_sitter.Node) -> Iterator[tuple[Path, int]]:
    if node.type == "inline_table":
        for child in node.children:
            if child.type == "pair":
                yield from _pair(path, child)
    elif node.type == "array":
        values = [c for c in node.children if c.is_named and c.type != "comment"]
        for index, child in enumerate(values):
            yield (*path, index), child.start_point[0] + 1
            yield from _value((*path, index), child)


def _key_parts(node: tree_sitter.Node) -> tuple[str, ...]:
    for child in node.children:
        if child.type in {"bare_key", "quoted_key", "dotted_key"}:
            return tuple(_flat_key(child))
    return ()


def _flat_key(node: tree_sitter.Node) -> Iterator[str]:
    stack = [node]
    while stack:
        part = stack.pop()
        if part.type == "dotted_key":
            stack.extend(reversed(part.children))
        elif part.type in {"bare_key", "quoted_key"}:
            raw = (part.text or b"").decode("utf-8", "replace")
            # tomllib already accepted the text, so it can unquote a key of it.
            yield next(iter(tomllib.loads(f"{raw} = 0"))) if part.type == "quoted_key" else raw
