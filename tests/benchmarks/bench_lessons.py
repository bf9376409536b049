"""Ten sheets as PDF: `python -m tests.benchmarks.bench_lessons`.

Prints seconds of the whole way (photos read, covered, drawn; handout and answers set; pages
written) and of the answers' PDF alone, and whether the bar holds: a PDF of 10 sheets in less than
10 s, all told. Leaves with 1 when it does not.
"""

from __future__ import annotations

import io
import sys
import time

from pypdf import PdfReader

from audit.settings import Settings
from audit.training.lessons import pdf
from audit.training.lessons.make import Choice, from_practice, sheet_files

SHEETS = 10
MAX_SECONDS = 10.0


def main() -> int:
    """Print the figures; 0 when the bar holds."""
    began = time.perf_counter()
    made = from_practice(Choice(each=2), Settings())
    sheets = made.sheets[:SHEETS]
    read = time.perf_counter() - began
    data = pdf.sheets_pdf(sheets)
    both = time.perf_counter() - began
    sheet_files(sheets)
    whole = time.perf_counter() - began
    pages = len(PdfReader(io.BytesIO(data)).pages)
    held = "bar held" if len(sheets) == SHEETS and both < MAX_SECONDS else "BAR NOT HELD"
    print(
        f"{len(sheets)} sheets, {pages} pages, {len(data) / 1e6:.1f} MB: photos {read:.1f} s, "
        f"with the PDF {both:.1f} s: {held}; with handout and pages {whole:.1f} s"
    )
    return int(held != "bar held")


if __name__ == "__main__":
    sys.exit(main())
