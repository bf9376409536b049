"""The published JSON Schema of `out/checklist.json`.

`python -m audit.checklist.schema` writes it on stdout; the copy in
`docs/reference/checklist.schema.json` is held to it by a test.
"""

from __future__ import annotations

import json
import sys

from audit.checklist.models import Checklist


def schema_text() -> str:
    """JSON Schema (draft 2020-12) of the checklist, as it is published."""
    schema = Checklist.model_json_schema(by_alias=True, mode="serialization")
    schema["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    schema["title"] = "lidoff.checklist/1"
    return json.dumps(schema, indent=1, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    sys.stdout.write(schema_text())
