"""The examples in the how-tos are read by the code that they speak of."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from audit.job.read import load_job
from audit.rules import evaluate, load_house

HOW_TO = Path(__file__).resolve().parents[2] / "docs" / "how-to"


def blocks(page: str) -> list[str]:
    return re.findall(r"```toml\n(.*?)```", (HOW_TO / page).read_text(encoding="utf-8"), re.DOTALL)


def test_house_rules(tmp_path: Path) -> None:
    whole = [b for b in blocks("house-rules.md") if b.startswith("schema")]
    assert len(whole) == 2
    read = []
    for number, text in enumerate(whole):
        path = tmp_path / f"house{number}.toml"
        path.write_text(text, encoding="utf-8")
        read.append(load_house(path))
    assert read[0].values and read[0].weights and read[0].rules
    assert read[1].region is not None and "lighting-rcd-ma" not in read[1].region.values


@pytest.mark.parametrize(
    ("number", "zones"), [(0, {"F05": "1", "F06": "2"}), (1, {"F07": "outside"})]
)
def test_rooms(tmp_path: Path, number: int, zones: dict[str, str]) -> None:
    text = f'[job]\nname = "x"\n{blocks("bath-and-shower-rooms.md")[number]}'
    (tmp_path / "job.toml").write_text(text, encoding="utf-8")
    (tmp_path / "photos").mkdir()
    items = evaluate(load_job(tmp_path).facts)
    found = {i.of: i.inputs["zone"] for i in items if i.check == "zone-known"}
    assert found == zones
