"""Fail when a required test was skipped: only what needs the extra `render` may be.

Reads pytest's JUnit report, so that it sees what pytest itself counted.
"""

from __future__ import annotations

import re
import sys
import xml.etree.ElementTree as ET

ALLOWED = re.compile(r"extra `render`|mitsuba", re.IGNORECASE)


def main(report: str) -> int:
    """Print every skip that is not allowed; 1 when there is one, or when nothing ran."""
    cases = list(ET.parse(report).getroot().iter("testcase"))
    ran = [c for c in cases if c.find("skipped") is None]
    wrong = [
        (f"{case.get('classname')}::{case.get('name')}", reason)
        for case in cases
        for skip in case.iter("skipped")
        if not ALLOWED.search(reason := f"{skip.get('message')} {skip.text or ''}")
    ]
    for name, reason in wrong:
        print(f"skipped, but required: {name}: {reason.strip()}", file=sys.stderr)
    if not ran:
        print("no test ran", file=sys.stderr)
    return int(bool(wrong) or not ran)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
