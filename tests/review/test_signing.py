"""Signing off and the pack: only when all is decided, and stale when anything moves."""

from __future__ import annotations

import io
import shutil
import time
import uuid
import zipfile
from pathlib import Path

import pytest
from PIL import Image

from audit.record.decisions import photos_of
from audit.record.keys import make_key
from audit.record.store import utc_now
from audit.record.types import Agree, SeenOnSite
from audit.record.verify import verify_job
from audit.review.app import create_app
from audit.review.context import Review
from audit.review.desk import Desk
from tests.review.conftest import Enter, Pages
from tests.review.jobs import SIZE, audit, make_job

PASSPHRASE = "nine green bottles on a wall"
POINT = "closing-up"


@pytest.fixture(scope="module")
def key(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("keys") / "sign-off.pem"
    make_key(path, PASSPHRASE)
    return path


@pytest.fixture
def signer(enter: Enter, key: Path) -> Pages:
    """Nothing is decided yet."""
    return enter("C. Competent", key=key)


@pytest.fixture(scope="module")
def all_decided(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A job whose every item is decided; made once, since each decision is pushed to the disk."""
    root = make_job(tmp_path_factory.mktemp("decided") / "job", fittings=2)
    desk = Desk(root, 0.0)
    desk.adopted("C. Competent")
    _decide_all(desk, "C. Competent")
    return root


@pytest.fixture
def decided(all_decided: Path, key: Path, tmp_path: Path) -> Pages:
    root = tmp_path / "decided"
    shutil.copytree(all_decided, root)
    desk = Desk(root, 0.0)
    app = create_app(Review(desk, key=key, recompute=audit))
    pages = Pages(app.test_client(), desk, "C. Competent")
    body = {"name": pages.name, "key": uuid.uuid4().hex}
    assert pages.post("/do/name", body).status_code == 200
    return pages


def _decide_all(desk: Desk, by: str) -> None:
    """Every item, each by itself: faults of weight stop are put right and seen on site."""
    record, evidence = desk.record, desk.basis().evidence
    for item in evidence.checklist.items:
        key = uuid.uuid4().hex
        if item.weight == "stop":
            files = photos_of(evidence, item)
            record.shown(evidence, item.id, by=by, photos=files, key=key + "s")
        fault = item.weight == "stop" and item.state == "flag"
        decision = SeenOnSite("C. Competent", utc_now(), "no fault") if fault else Agree()
        saw = record.state(evidence).standings[item.id].token
        record.decide(evidence, item.id, decision, by=by, saw=saw, key=key)


def _sign(pages: Pages, **fields: str):  # type: ignore[no-untyped-def]
    body = {
        "hold_point": POINT, "name": "C. Competent", "statement": "I answer for it.",
        "passphrase": PASSPHRASE, "key": uuid.uuid4().hex, **fields,
    }  # fmt: skip
    return pages.post("/do/sign", body)


def _page(pages: Pages) -> str:
    return " ".join(pages.get(f"/sign-off/{POINT}").get_data(as_text=True).split())


def test_nothing_is_signed_while_something_is_undecided(signer: Pages) -> None:
    answer = _sign(signer)
    assert answer.status_code == 422
    assert "not decided" in answer.json["what"]
    assert 'id="sign"' not in _page(signer)
    assert "in the way" in _page(signer)


def test_a_wrong_passphrase_signs_nothing_and_is_told_nowhere(
    decided: Pages, capfd: pytest.CaptureFixture[str]
) -> None:
    answer = _sign(decided, passphrase="wrong but secret words")
    assert answer.status_code == 422
    for text in (answer.get_data(as_text=True), *capfd.readouterr()):
        assert "wrong but secret" not in text
    for bad in ({"statement": "  "}, {"name": ""}, {"hold_point": "never"}):
        assert _sign(decided, **bad).status_code == 422
    assert decided.desk.record.state(decided.desk.basis().evidence).sign_off(POINT).state == "none"


def test_a_signed_job_holds_and_its_pack_can_be_saved(decided: Pages) -> None:
    assert 'id="sign"' in _page(decided)
    assert _sign(decided).status_code == 200
    page = _page(decided)
    assert "Signed off" in page
    assert "I answer for it." in page
    assert 'id="sign"' not in page
    assert verify_job(decided.desk.root).holds
    assert decided.get("/pack").status_code == 404
    assert decided.post("/do/pack", {}).status_code == 200
    with zipfile.ZipFile(io.BytesIO(decided.get("/pack").data)) as pack:
        names = pack.namelist()
        assert "report.pdf" in names
        assert b"sign-off" in pack.read("record.jsonl")


def _photo_changed(desk: Desk) -> None:
    Image.new("RGB", SIZE, "grey").save(desk.root / "photos" / "F02-inside.jpg")


def _fact_changed(desk: Desk) -> None:
    path = desk.root / "job.toml"
    path.write_text(
        path.read_text(encoding="utf-8").replace('"IP20"', '"IP44"', 1), encoding="utf-8"
    )


@pytest.mark.parametrize("change", [_photo_changed, _fact_changed])
def test_a_change_on_the_disk_makes_it_stale_visibly(decided: Pages, change) -> None:  # type: ignore[no-untyped-def]
    assert _sign(decided).status_code == 200
    change(decided.desk)
    decided.desk.basis(fresh=True)
    decided.desk._hashed = -1e9
    decided.desk.changed()
    for _ in range(200):
        if decided.desk.changed():
            break
        time.sleep(0.05)
    assert "stale" in _page(decided)
    assert "is stale" in decided.get("/").get_data(as_text=True)
    audit(decided.desk.root)
    decided.desk.basis(fresh=True)
    assert "stale" in _page(decided)


def test_a_decision_taken_back_makes_it_stale(decided: Pages) -> None:
    assert _sign(decided).status_code == 200
    item = decided.item("core-outside-grip", "F01")
    assert decided.post("/do/undo", decided.body(item)).status_code == 200
    assert "decided again or taken back" in _page(decided)
    assert "Signing opens when all of this is met" in _page(decided)


def test_the_passphrase_can_t_be_guessed_at_leisure(decided: Pages) -> None:
    codes = [_sign(decided, passphrase=f"guess {n}").status_code for n in range(12)]
    assert codes[-1] == 429
