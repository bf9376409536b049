"""The field tables of the reference page on the job folder, made from the models.

`python -m audit.job.reference docs/reference` writes the JSON Schemas and
renews the tables of `job-folder.md` between their comments; a test holds the
page to the models.
"""

from __future__ import annotations

import re
import sys
from pathlib import Path

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from audit.job.circuit import Circuit, Leg
from audit.job.declaration import Declaration
from audit.job.facts import Building, JobInfo, PhotoEntry
from audit.job.fields import Quantity
from audit.job.fitting import Fitting
from audit.job.room import Bath, JoistCut, Outlet, Partition, Room, Slope
from audit.job.schema import schemas
from audit.job.shape import Kind, fields_of, kinds_of, quantity_of
from audit.settings import Settings

PAGE = "job-folder.md"
TABLES: dict[str, type[BaseModel]] = {
    "job": JobInfo, "building": Building, "room": Room, "room.bath": Bath, "room.outlet": Outlet,
    "room.partition": Partition, "room.slope": Slope, "room.joist_cut": JoistCut,
    "fitting": Fitting, "circuit": Circuit, "circuit.leg": Leg, "photo": PhotoEntry,
    "declaration": Declaration, "settings": Settings,
}  # fmt: skip


def field_table(model: type[BaseModel]) -> str:
    """Markdown table of the fields of a model."""
    rows = ["| field | takes | meaning |", "| --- | --- | --- |"]
    kinds = kinds_of(model)
    for name, info in fields_of(model).items():
        must = " **(must be given)**" if info.is_required() else ""
        meaning = (info.description or "").replace("|", "\\|")
        rows.append(f"| `{name}` | {_takes(kinds[name], info)} | {meaning}{must} |")
    return "\n".join(rows)


def _takes(kind: Kind, info: FieldInfo) -> str:
    bounds = quantity_of(info)
    if kind.words:
        words = ", ".join(f"`{w}`" for w in kind.words)
        return f"any of {words}" if kind.base == "list" else words
    if kind.model is not None:
        return "tables" if kind.base == "list" else "table"
    if bounds is not None:
        return f"{kind.base}, {_span(bounds)}"
    limits = [str(v) for m in info.metadata for a in ("gt", "ge", "le")
              if (v := getattr(m, a, None)) is not None]  # fmt: skip
    if limits:
        return f"{kind.base}, {' to '.join(limits)}"
    names = {"list": "list of numbers", "other": "day or time", "yes or no": "true or false"}
    return names.get(kind.base, kind.base)


def _span(bounds: Quantity) -> str:
    unit = f" {bounds.unit}" if bounds.unit else ""
    return f"{bounds.low:g} to {bounds.high:g}{unit}".replace("-", "−")


def renew(page: str) -> str:
    """The page with every table between its comments made anew.

    Raises
    ------
    ValueError
        When a table has no place in the page.
    """
    for name, model in TABLES.items():
        begin, end = f"<!-- fields: {name} -->", "<!-- end -->"
        pattern = re.escape(begin) + r".*?" + re.escape(end)
        block = f"{begin}\n{field_table(model)}\n{end}"
        page, count = re.subn(pattern, lambda _, b=block: b, page, flags=re.DOTALL)  # type: ignore[misc]
        if count != 1:
            raise ValueError(f"the page must hold {begin} once")
    return page


def main(folder: Path) -> None:
    """Write the schemas and renew the page in `folder`."""
    for name, text in schemas().items():
        (folder / name).write_text(text, encoding="utf-8", newline="\n")
    page = folder / PAGE
    page.write_text(renew(page.read_text(encoding="utf-8")), encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
