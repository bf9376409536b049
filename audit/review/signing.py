"""Signing a hold point off, and the pack that leaves."""

from __future__ import annotations

import threading
from pathlib import Path

from flask import Blueprint, abort, render_template, send_file
from flask.typing import ResponseReturnValue
from pydantic import BaseModel, ConfigDict, Field

from audit.batch.outputs import OUT
from audit.checklist.models import HOLD_POINTS, HoldPoint
from audit.record.errors import DecisionError
from audit.record.keys import fingerprint, load_key
from audit.review.acts import reviewer
from audit.review.bodies import read_body
from audit.review.context import review
from audit.review.door import who
from audit.review.packing import write_pack
from audit.review.pages import ask_who, present
from audit.review.words import count

blueprint = Blueprint("signing", __name__)
blueprint.before_request(ask_who)
STATEMENT = (
    "I answer for this work at the hold point named here. I have decided every item that belongs "
    "to it, each beside its photo or on site, and I hold that it may go on."
)
"""A statement to begin from; the person who signs words their own."""
_packing = threading.Lock()


class _Sign(BaseModel):
    model_config = ConfigDict(extra="forbid", hide_input_in_errors=True)
    hold_point: HoldPoint
    name: str = Field(max_length=200)
    statement: str = Field(max_length=4000)
    passphrase: str = Field(max_length=1000, repr=False)
    key: str = Field(min_length=8, max_length=100)


@blueprint.get("/sign-off/<hold_point>")
def sign_off(hold_point: str) -> ResponseReturnValue:
    """What a sign-off asks for, and the place to sign."""
    point = next((p for p in HOLD_POINTS if p == hold_point), None)
    if point is None:
        abort(404)
    basis, state = present()
    key = review().key
    return render_template(
        "sign_off.html",
        list=basis.checklist,
        basis=basis,
        state=state,
        point=point,
        progress=state.progress(point),
        status=state.sign_off(point),
        changed=review().desk.changed(),
        statement=STATEMENT,
        key_there=key is not None and key.is_file(),
        by=who(),
        fingerprint=fingerprint,
    )


@blueprint.post("/do/sign")
def sign() -> ResponseReturnValue:
    """Sign a hold point off; the passphrase opens the key for this one signature."""
    reviewer()
    body = read_body(_Sign)
    key = review().key
    if key is None:
        raise DecisionError("there is no key to sign with", next_step="make one with: lidoff key")
    signer = load_key(key, body.passphrase)
    basis, _ = review().desk.adopted(body.name)
    entry = review().desk.record.sign_off(
        basis.evidence,
        body.hold_point,
        by=body.name.strip(),
        statement=body.statement,
        signer=signer,
        key=body.key,
    )
    return {"seq": entry.seq, "hash": entry.hash}


@blueprint.post("/do/pack")
def make_pack() -> ResponseReturnValue:
    """Make the pack of the job as it stands now, and keep it until it is saved."""
    by = reviewer()
    desk = review().desk
    basis, _ = desk.adopted(by)
    path = _pack_file()
    with _packing:
        left_out = write_pack(desk.record, basis.evidence, desk.settings, path)
        size = path.stat().st_size
    said = f"; {count(left_out, 'photo')} left out" if left_out else ""
    return {"name": path.name, "size": f"{size / 1e6:.1f} MB{said}"}


@blueprint.get("/pack")
def pack() -> ResponseReturnValue:
    """The pack that was made last."""
    path = _pack_file()
    if not path.is_file():
        abort(404)
    return send_file(path, mimetype="application/zip", as_attachment=True, download_name=path.name)


def _pack_file() -> Path:
    return review().desk.root / OUT / "pack.zip"
