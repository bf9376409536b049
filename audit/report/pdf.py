"""The report as PDF: for keeping (PDF/A) and for everybody (PDF/UA-1)."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import typst

from audit.errors import ResourceError
from audit.report.pdf_data import PdfPicture, ReportSource, report_data

_TEMPLATE = Path(__file__).with_name("pdf.typ")


@dataclass(frozen=True)
class Report:
    """A finished report.

    Parameters
    ----------
    pdf : bytes
    warnings : tuple of str
        What typst remarked.
    """

    pdf: bytes = field(repr=False)
    warnings: tuple[str, ...]


def make_pdf(source: ReportSource, pictures: Mapping[str, PdfPicture]) -> Report:
    """Set the report.

    Parameters
    ----------
    source : ReportSource
    pictures : mapping of str to PdfPicture
        By photo, as the checklist names it; JPEG without metadata.

    Returns
    -------
    Report
        The same source and pictures give the same bytes.

    Raises
    ------
    ResourceError
        When it can't be set.
    """
    with tempfile.TemporaryDirectory(prefix="lidoff-") as folder:
        root = Path(folder)
        names: dict[str, str] = {}
        for number, (photo, picture) in enumerate(sorted(pictures.items())):
            names[photo] = f"photo-{number}.jpg"
            (root / names[photo]).write_bytes(picture.jpeg)
        data = report_data(source, pictures, names)
        (root / "data.json").write_text(json.dumps(data, ensure_ascii=False), encoding="utf-8")
        (root / "main.typ").write_bytes(_TEMPLATE.read_bytes())
        try:
            pdf, warnings = typst.compile_with_warnings(
                root / "main.typ",
                root=root,
                format="pdf",
                ignore_system_fonts=True,  # else the bytes depend on the machine
                pdf_standards=["a-2a", "ua-1"],
                timestamp=0,
            )
        except typst.TypstError as exc:
            raise ResourceError(f"the report can't be set ({exc})") from exc
    return Report(bytes(pdf), tuple(str(w.message) for w in warnings))
