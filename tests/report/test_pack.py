"""The pack: same bytes for the same record, whole, harmless, and refused when it is not."""

from __future__ import annotations

import csv
import io
import json
import os
import random
import shutil
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from PIL import Image

from audit.errors import LidoffError, RecordError
from audit.record.canonical import canonical, parse, sha256
from audit.record.evidence import load_evidence
from audit.record.keys import Signer, make_key
from audit.record.merge import merge
from audit.record.types import Overrule
from audit.report.pack import KEPT, PackOptions, make_pack
from audit.report.pack_csv import COLUMNS, harmless, items_csv
from audit.report.pack_read import verify_pack
from audit.report.pack_zip import write_zip
from tests.record.conftest import CLEAR, Desk, open_desk
from tests.record.jobs import make_job
from tests.record.test_faults import mangled

PACKS = int(os.environ.get("LIDOFF_TEST_PACKS", "250"))


@pytest.fixture(scope="module")
def signer(tmp_path_factory: pytest.TempPathFactory) -> Signer:
    return make_key(tmp_path_factory.mktemp("keys") / "mine.pem", "several words together")


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory, signer: Signer) -> Desk:
    """A job that is decided and signed."""
    desk = open_desk(make_job(tmp_path_factory.mktemp("job") / "job", 2), signer=signer)
    desk.decide_all()
    desk.decide(CLEAR, Overrule('=HYPERLINK("http://x.example","y")'))
    desk.sign()
    return desk


@pytest.fixture(scope="module")
def pack(desk: Desk) -> bytes:
    return packed(desk)


def packed(desk: Desk, options: PackOptions | None = None) -> bytes:
    out = io.BytesIO()
    make_pack(desk.record, desk.job, out, options)
    return out.getvalue()


def members(data: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return {n: archive.read(n) for n in archive.namelist()}


def verdict(tmp_path: Path, data: bytes, key: str | None = None) -> list[RecordError]:
    path = tmp_path / "pack.zip"
    path.write_bytes(data)
    return verify_pack(path, key=key).problems


def test_the_same_record_gives_the_same_bytes(desk: Desk, pack: bytes, tmp_path: Path) -> None:
    assert packed(desk) == pack
    copy = tmp_path / "elsewhere"
    shutil.copytree(desk.root, copy)
    assert packed(open_desk(copy)) == pack


def test_it_holds_all_that_is_promised(pack: bytes) -> None:
    names = list(members(pack))
    assert names == [
        "annotated/F01-inside.jpg",
        "annotated/F02-inside.jpg",
        "checklist.json",
        "items.csv",
        "photos/F01-inside.jpg",
        "photos/F02-inside.jpg",
        "record.jsonl",
        "report.pdf",
        "manifest.json",
        "signature.json",
    ]


def test_it_holds_by_itself_and_names_its_signer(
    pack: bytes, tmp_path: Path, signer: Signer
) -> None:
    assert verdict(tmp_path, pack, signer.public_key) == []
    assert "another key" in verdict(tmp_path, pack, "0" * 64)[0].what


def test_a_key_that_is_asked_for_has_to_be_there(tmp_path: Path, signer: Signer) -> None:
    data = packed(open_desk(make_job(tmp_path / "job", 1)))
    assert verdict(tmp_path, data) == []
    assert "nothing in it is signed" in verdict(tmp_path, data, signer.public_key)[0].what


def test_place_and_device_do_not_leave(pack: bytes) -> None:
    for name, data in members(pack).items():
        for secret in (b"SERIAL0000", b"Maker of phones", b"Phone 9"):
            assert secret not in data, (name, secret)
        if name.startswith(("photos/", "annotated/")):
            with Image.open(io.BytesIO(data)) as image:
                assert set(image.getexif()) <= {0x0112}


def test_they_leave_when_asked_for(desk: Desk, tmp_path: Path) -> None:
    data = packed(desk, PackOptions(keep_metadata=True))
    found = members(data)
    assert found["photos/F01-inside.jpg"] == (desk.root / "photos/F01-inside.jpg").read_bytes()
    manifest = json.loads(found["manifest.json"])
    assert {p["how"] for p in manifest["photos"]} == {KEPT}
    assert verdict(tmp_path, data) == []


def test_a_signed_pack_is_signed_as_a_whole(
    desk: Desk, tmp_path: Path, signer: Signer, pack: bytes
) -> None:
    data = packed(desk, PackOptions(signer=signer))
    assert verdict(tmp_path, data, signer.public_key) == []
    whole = members(data)
    signature = parse(whole["signature.json"][:-1])
    signature["pack"]["signature"] = "0" * 128
    whole["signature.json"] = canonical(signature) + b"\n"
    assert "signature does not hold" in verdict(tmp_path, zipped(whole))[0].what


def zipped(whole: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    write_zip(out, whole.items())
    return out.getvalue()


def relisted(whole: dict[str, bytes]) -> bytes:
    """What somebody makes who changes a pack and puts list and hashes right again."""
    manifest = parse(whole["manifest.json"][:-1])
    for file in manifest["files"]:
        data = whole[file["file"]]
        file["sha256"], file["size"] = sha256(data), len(data)
    for photo in manifest["photos"]:
        photo["sha256"] = sha256(whole[photo["file"]])
    whole["manifest.json"] = canonical(manifest) + b"\n"
    signature = parse(whole["signature.json"][:-1])
    signature["manifest_sha256"] = sha256(whole["manifest.json"])
    whole["signature.json"] = canonical(signature) + b"\n"
    return zipped(whole)


def _later(lines: list[dict[str, object]]) -> None:
    lines[-1]["body"]["data"]["statement"] = "I looked at none."  # type: ignore[index]


def _other_reason(lines: list[dict[str, object]]) -> None:
    lines[4]["body"]["by"] = "Somebody Else"  # type: ignore[index]


def _dropped(lines: list[dict[str, object]]) -> None:
    del lines[-1]


@pytest.mark.parametrize(
    ("change", "entry"), [(_later, "its signature"), (_other_reason, "entry 5"), (_dropped, "gone")]
)
def test_a_record_that_is_changed_with_care_is_named(
    pack: bytes, tmp_path: Path, change: object, entry: str
) -> None:
    whole = members(pack)
    lines = [parse(x) for x in whole["record.jsonl"].splitlines()]
    change(lines)  # type: ignore[operator]
    for line in lines:
        line["hash"] = sha256(canonical(line["body"]))
    whole["record.jsonl"] = b"".join(canonical(x) + b"\n" for x in lines)
    problems = verdict(tmp_path, relisted(whole))
    assert problems
    assert entry in " ".join(p.what for p in problems) or "follow" in problems[0].what


def test_another_checklist_is_named_by_its_entry(pack: bytes, tmp_path: Path) -> None:
    whole = members(pack)
    whole["checklist.json"] = whole["checklist.json"].replace(b"unsure", b"clear ")
    assert "entry 2: out/checklist.json" in verdict(tmp_path, relisted(whole))[0].what


def test_what_is_added_or_left_out_is_named(pack: bytes, tmp_path: Path) -> None:
    whole = members(pack)
    assert verdict(tmp_path, zipped({**whole, "more.txt": b"x"}))
    for name in whole:
        assert verdict(tmp_path, zipped({k: v for k, v in whole.items() if k != name}))
    assert verdict(tmp_path, pack + b"x")
    assert verdict(tmp_path, b"x" + pack)


@pytest.mark.parametrize("name", ["../x", "/etc/x", "photos/../../x", "a\\..\\x", "C:/x", "x/"])
def test_names_that_lead_out_are_refused(pack: bytes, tmp_path: Path, name: str) -> None:
    data = zipped({**members(pack), name: b"x"})
    problems = verdict(tmp_path, data)
    assert problems
    assert [p.name for p in tmp_path.rglob("*")] == ["pack.zip"]
    assert not (tmp_path.parent / "x").exists()


def test_a_bomb_is_refused_unopened(tmp_path: Path) -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("record.jsonl", b"\n" * 50_000_000)
    assert verdict(tmp_path, out.getvalue())


def test_mangled_packs_are_told_and_lose_nothing(desk: Desk, pack: bytes, tmp_path: Path) -> None:
    """None holds, none raises anything but ours, none changes the record they are merged into."""
    choose = random.Random(4)
    before = desk.record.entries()
    path = tmp_path / "pack.zip"
    for _ in range(PACKS):
        changed = rebuilt(pack, choose) if choose.random() < 0.5 else mangled(pack, choose)
        if changed == pack:
            continue
        path.write_bytes(changed)
        found = verify_pack(path)
        assert not found.holds
        try:
            merge(desk.record, desk.job, found.entries, name="pack.zip")
        except LidoffError:
            continue
    assert desk.record.entries() == before


def rebuilt(pack: bytes, choose: random.Random) -> bytes:
    """A sound container around one mangled member."""
    whole = members(pack)
    small = [n for n in whole if not n.endswith((".pdf", ".jpg"))]
    name = choose.choice(small)
    changed = mangled(whole[name], choose)
    return pack if changed == whole[name] else zipped({**whole, name: changed})


def test_a_job_that_does_not_hold_is_not_packed(tmp_path: Path) -> None:
    desk = open_desk(make_job(tmp_path / "job", 1))
    (desk.root / "photos" / "F01-inside.jpg").write_bytes(b"another")
    with pytest.raises(RecordError, match=r"F01-inside\.jpg is not the one"):
        packed(desk)


def test_a_photo_that_is_none_is_left_out_and_told(tmp_path: Path) -> None:
    root = make_job(tmp_path / "job", 1)
    (root / "photos" / "F01-inside.jpg").write_bytes(b"no picture, SERIAL000000")
    text = (root / "out" / "checklist.json").read_text(encoding="utf-8")
    old = load_evidence(root).photos["F01-inside.jpg"]
    new = sha256(b"no picture, SERIAL000000")
    (root / "out" / "checklist.json").write_text(text.replace(str(old), new), encoding="utf-8")
    desk = open_desk(root)
    data = packed(desk)
    assert b"SERIAL000000" not in data
    assert verdict(tmp_path, data) == []
    assert json.loads(members(data)["manifest.json"])["left_out"][0]["of"] == "F01-inside.jpg"


@pytest.mark.parametrize(
    "text",
    [
        "=1+1",
        "+1",
        "-1",
        "@SUM(A1)",
        "\t=1",
        "\r=1",
        "  =1",
        "\n=1",
        "|calc",
        "＝1",
        "\x00=1",
        "%0A",
    ],
)
def test_no_cell_begins_like_a_formula(text: str) -> None:
    said = harmless(text)
    assert said.startswith("'")
    assert not set(said) & set("\t\r\n\x00")


@pytest.mark.parametrize("text", ["", "F01", "no fault seen", "6.1 ± 0.6 mm"])
def test_plain_text_stays_as_it_is(text: str) -> None:
    assert harmless(text) == text


def test_the_table_reads_back(desk: Desk) -> None:
    data = items_csv(desk.state)
    assert data.startswith(b"\xef\xbb\xbf")
    rows = list(csv.reader(io.StringIO(data.decode("utf-8-sig"), newline="")))
    assert rows[0] == list(COLUMNS)
    assert len(rows) == 1 + len(desk.job.items)
    assert {len(r) for r in rows} == {len(COLUMNS)}
    reasons = {r[0]: r[COLUMNS.index("reason or request")] for r in rows}
    assert reasons[CLEAR] == '\'=HYPERLINK("http://x.example","y")'


@pytest.fixture(autouse=True)
def _untouched(desk: Desk) -> Iterator[None]:
    """No test of a pack changes the job it came from."""
    before = {p: p.read_bytes() for p in desk.root.rglob("*") if p.is_file()}
    yield
    after = {p: p.read_bytes() for p in desk.root.rglob("*") if p.is_file()}
    assert after == before
