"""What a photo's file name says: the fitting's label, then the view.

Grammar: `LABEL [VIEW] [anything]`, parts apart by blank, `-`, `_`, `.`, `,`,
`+` or brackets; case does not matter; `F01-inside.jpg`, `F01_entry_2.JPG`,
`f01 terminals.jpeg`. The label is one the job declares, as declared (`F1` is
not `F01`); of several that fit the longest is taken. A view word may follow the
label's last digit directly (`F01inside`). `entry` together with `terminals`
means `inside`. The name alone decides: nothing is guessed from the order of
files.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import PurePosixPath
from typing import get_args

from audit.job.explain import did_you_mean
from audit.job.facts import ViewName
from audit.job.text import same_key

VIEWS: tuple[ViewName, ...] = get_args(ViewName)

_APART = re.compile(r"[\s\-_.,+()\[\]{}#&;=~]+")
_CAMERA = re.compile(
    r"(img|imag|image|dsc|dscn|dscf|dcim|pxl|mvimg|cimg|pic|pict|photo|p|vid|mov|screenshot"
    r"|scan|whatsapp|signal|telegram|received|burst|capture|copy|unnamed|file|picture|camera"
    r"|untitled|new|final)\d*"
)


def label_key(label: str) -> str:
    """What labels are compared by in file names and on cards: `Bath-1` and `BATH 1` are one."""
    return " ".join(_parts(label))


def _parts(text: str) -> list[str]:
    return [p for p in _APART.split(same_key(text)) if p]


@dataclass(frozen=True)
class NameSays:
    """What one file name says.

    Parameters
    ----------
    label : str or None
        A label of the job, as declared.
    view : str or None
        A view word.
    unknown_label : str or None
        What looks like a label but is none of this job.
    note : str
        What a person should know about the reading, or empty.
    """

    label: str | None
    view: ViewName | None
    unknown_label: str | None = None
    note: str = ""


class Labels:
    """The labels of a job, ready to be looked up.

    Parameters
    ----------
    labels : iterable of str
        As declared; no two with the same `label_key`.
    """

    def __init__(self, labels: Iterable[str]) -> None:
        self.declared = tuple(labels)
        self._by_key: Mapping[str, str] = {label_key(x): x for x in self.declared}
        self._most = max((len(k.split()) for k in self._by_key), default=0)

    def find(self, text: str) -> str | None:
        """The declared label that `text` (read from a card, say) is, or None."""
        return self._by_key.get(label_key(text)) if label_key(text) else None

    def near(self, text: str) -> str:
        """A suggestion for a label that is not known, or an empty string."""
        return did_you_mean(text, self.declared)

    @cached_property
    def _forms(self) -> frozenset[str]:
        return frozenset(_form(k.split()[0]) for k in self._by_key)

    def read(self, name: str) -> NameSays:
        """Read a file name.

        Parameters
        ----------
        name : str
            With or without folders and ending.
        """
        parts = _parts(_stem(name))
        for count in range(min(self._most, len(parts)), 0, -1):
            label = self._by_key.get(" ".join(parts[:count]))
            if label is not None:
                return self._rest(label, parts[count:])
            glued = self._glued(parts[:count])
            if glued is not None:
                return self._rest(glued[0], [glued[1], *parts[count:]])
        return self._no_label(parts)

    def _glued(self, parts: list[str]) -> tuple[str, str] | None:
        """Label and view word where nothing stands between them."""
        for view in VIEWS:
            head = parts[-1].removesuffix(view)
            if head != parts[-1] and head[-1:].isdigit():
                label = self._by_key.get(" ".join([*parts[:-1], head]))
                if label is not None:
                    return label, view
        return None

    def _rest(self, label: str, rest: list[str]) -> NameSays:
        other = self._other_label(label, rest)
        if other is not None:
            note = f"the name holds two labels, {label!r} and {other!r}"
            return NameSays(None, None, None, note)
        view, note = read_view(rest)
        return NameSays(label, view, None, note)

    def _other_label(self, label: str, rest: list[str]) -> str | None:
        for start in range(len(rest)):
            for count in range(1, self._most + 1):
                other = self._by_key.get(" ".join(rest[start : start + count]))
                # A lone number after a label counts photos; it is a label only to a computer.
                if other is not None and other != label and not label_key(other).isdigit():
                    return other
        return None

    def _no_label(self, parts: list[str]) -> NameSays:
        view, _ = read_view(parts)
        if not parts:
            return NameSays(None, None)
        alike = _form(parts[0]) in self._forms
        camera = _CAMERA.fullmatch(parts[0]) or parts[0].isdigit() or parts[0] in VIEWS
        if alike or (view is not None and not camera):
            return NameSays(None, view, parts[0], self.near(parts[0]))
        return NameSays(None, view)


def _stem(name: str) -> str:
    last = PurePosixPath(name.replace("\\", "/")).name
    head, dot, ending = last.rpartition(".")
    return head if dot and head and len(ending) <= 5 and not ending[:1].isspace() else last


def _form(part: str) -> str:
    return re.sub(r"\d", "9", part)


def read_view(parts: Iterable[str]) -> tuple[ViewName | None, str]:
    """The view that words name, with a note where it is doubtful.

    Parameters
    ----------
    parts : iterable of str
        Words in lower case.
    """
    words = [re.sub(r"\d+$", "", p) for p in parts]
    named: list[ViewName] = []
    for word in words:
        match = next((v for v in VIEWS if word in {v, v.removesuffix("s")}), None)
        if match is not None and match not in named:
            named.append(match)
    if len(named) == 1:
        return named[0], ""
    if named and set(named) <= {"entry", "terminals", "inside"}:
        return "inside", ""
    if named:
        return None, f"the name holds several views: {', '.join(named)}"
    for word in words:
        near = did_you_mean(word, VIEWS) if len(word) >= 4 else ""
        if near and not word.isdigit():
            return None, f"{word!r} is not a view: {near}"
    return None, ""
