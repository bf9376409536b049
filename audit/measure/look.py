"""Read one photo, from file to findings: the whole of seeing in one call."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from PIL import Image

from audit.card.types import CardSight
from audit.errors import PhotoError
from audit.measure.again import elsewhere, midway, second_says
from audit.measure.bare_findings import bare_findings
from audit.measure.cable_findings import cable_finding, cable_record
from audit.measure.contract import (
    CABLE_CHECKS,
    COPPER_CHECK,
    CableRecord,
    CardRecord,
    CpcRecord,
    Depth,
    EndRecord,
    FindingRecord,
    LookRecord,
    ScaleRecord,
    SegmentRecord,
)
from audit.measure.cpc_findings import adopted, cpc_findings
from audit.measure.declared import Declared
from audit.measure.end_findings import copper_finding, core_segments, end_record
from audit.measure.likely import no_end
from audit.measure.looks import Unmarked, unmarked
from audit.measure.ruled_out import asked
from audit.measure.scale import WorkScale, work_scale
from audit.measure.spot_findings import doubted, shown_of, spot_findings
from audit.measure.two_looks import ONCE
from audit.measure.usable import Usability, judge, work_box
from audit.measure.verdicts import CUT, by_one_look
from audit.photo.decode import read_photo
from audit.photo.types import Photo
from audit.settings import Settings
from audit.sight.laid_bare import BarePiece
from audit.sight.marks import SightMark, apply_marks, sight_marks
from audit.sight.materials import full_size_ids
from audit.sight.spots import Spot
from audit.sight.types import F32, AnalysisImage, MaterialMap, Readings, Strands, Tip


@dataclass(frozen=True)
class Seen:
    """All stages of one photo, for whoever wants to look into them."""

    photo: Photo
    card: CardSight
    image: AnalysisImage
    materials: MaterialMap
    strands: Strands
    readings: Readings
    scale: WorkScale
    usability: Usability
    spots: tuple[Spot, ...] = ()
    bare: tuple[BarePiece, ...] = ()


def see(
    photo: Photo,
    settings: Settings,
    declared: Declared | None = None,
    marks: Sequence[SightMark] = (),
    before: Callable[[Photo], Unmarked] = unmarked,
) -> Seen:
    """Run every stage of seeing on a decoded photo.

    Parameters
    ----------
    photo : Photo
    settings : Settings
    declared : Declared, optional
    marks : sequence of SightMark
        What a person pointed out on this photo; beats what is found.
    before : callable
        Gives the stages before marks; whoever tries mark after mark keeps them.

    Returns
    -------
    Seen
    """
    declared = declared or Declared()
    found = before(photo)
    card, image = found.card, found.image
    strands = found.gauged or found.strands
    readings = apply_marks(found.readings, marks, image.scale)
    size = (photo.width, photo.height)
    judged = readings if marks else found.every
    x0, y0, x1, y1 = work_box(judged, strands, image.scale, size)
    at = ((x0 + x1) / 2, (y0 + y1) / 2)
    scale = work_scale(card, at, strands, image.scale, declared, settings, photo.rgb)
    usability = judge(photo, judged, strands, scale, image.scale, settings, declared.view)
    return Seen(
        photo=photo, card=card, image=image, materials=found.materials, strands=found.strands,
        readings=readings, scale=scale, usability=usability, spots=found.spots, bare=found.bare,
    )  # fmt: skip


def look_photo(
    path: Path,
    *,
    settings: Settings | None = None,
    marks: Sequence[Any] = (),
    declared: Declared | None = None,
    masks_dir: Path | None = None,
    name: str | None = None,
    before: Callable[[Photo], Unmarked] = unmarked,
) -> LookRecord:
    """Read one photo.

    Parameters
    ----------
    path : Path
    settings : Settings, optional
    marks : sequence
        Marks of this photo (`audit.job.marks`), those of other photos are passed over.
    declared : Declared, optional
    masks_dir : Path, optional
        Folder for `NAME.ids.png`, 8-bit, upright, full size.
    name : str, optional
        Name to record; the file's by default.
    before : callable
        As `see` takes it.

    Returns
    -------
    LookRecord
        A photo that can't be read gives `outcome` `failed` and the reason.
    """
    settings = settings or Settings()
    name = name or path.name
    try:
        photo = read_photo(path, settings)
    except PhotoError as error:
        return failed(name, error.one_line())
    seen = see(photo, settings, declared, sight_marks(marks, photo.name, photo.sha256), before)
    if masks_dir is not None:
        masks_dir.mkdir(parents=True, exist_ok=True)
        ids = full_size_ids(seen.materials, seen.image, (photo.width, photo.height))
        _fill_card(ids, seen.card)
        Image.fromarray(ids).save(masks_dir / f"{Path(name).stem}.ids.png", optimize=False)
    return record_of(seen, settings, declared or Declared(), name)


def failed(name: str, reason: str) -> LookRecord:
    """The record of a photo that could not be read."""
    return LookRecord(
        photo=name, sha256=None, size_px=None, outcome="failed", usable=None, reasons=(reason,)
    )


def _fill_card(ids: np.ndarray, card: CardSight) -> None:
    """A found card is known exactly: keep what lies on it, turn the rest to card."""
    if not card.found or card.corners_px is None:
        return
    mask = np.zeros(ids.shape, np.uint8)
    cv2.fillConvexPoly(mask, np.rint(card.corners_px).astype(np.int32), 1)
    ids[(mask == 1) & ((ids == 0) | (ids >= 9))] = 13


def _core_colours(seen: Seen) -> list[FindingRecord]:
    """Old and new colours in one enclosure call for a notice: told for the whole photo."""
    shown = {t.colour for t in seen.readings.tips if len(t.path) > 10}
    new, old = shown & {"brown", "blue"}, shown & {"red"}
    if new and old:
        why = f"{', '.join(sorted(old))} beside {', '.join(sorted(new))}: older and newer colours in one enclosure"
        return [FindingRecord(check="core-colours", of="photo", state="flag", score=0.8, why=why)]
    return []


def _of_cables(
    seen: Seen, settings: Settings, declared: Declared, bare: dict[str, list[Tip]]
) -> tuple[list[CableRecord], list[CpcRecord], list[FindingRecord]]:
    """The cables, what is seen of their CPC, and what is found at their entries."""
    full, size = seen.image.scale, (seen.photo.width, seen.photo.height)
    mm = None if seen.scale.px_per_mm is None else full / seen.scale.px_per_mm
    lead = bool(declared.factory_lead)
    cables: list[CableRecord] = []
    cpcs: list[CpcRecord] = []
    findings: list[FindingRecord] = []
    every: list[FindingRecord] = []  # with what is not asked: it is said already
    for cable in seen.readings.cables:
        tips = [t for t in seen.readings.tips if t.cable == cable.id]
        segments: list[SegmentRecord] = []
        for t in tips:
            segments += core_segments(t, mm, full)
        cables.append(cable_record(cable, seen.scale, full, segments))
        own = [
            _once(
                cable_finding(cable, check, seen.scale, full, size, settings, lead, tips),
                None if lead else cable.evidence,
            )
            for check in CABLE_CHECKS
        ]
        cpc, more = cpc_findings(
            cable, tips, seen.scale, full, size, declared.cpc_expected, bare.get(cable.id, ())
        )
        cpcs.append(cpc)
        own += more
        if cable.evidence is not None:
            for again in seen.readings.again:
                theirs = second_says(
                    cable.id, again, CABLE_CHECKS, seen.scale, full, size, settings, declared
                )
                own = midway(own, theirs, seen.scale.px_per_mm)
                of_cpc = [f for f in theirs if f.check not in CABLE_CHECKS]
                own += elsewhere([*every, *own], of_cpc, seen.scale.px_per_mm)
        every += own
        all_asked = lead or not seen.usability.usable
        # What a reading alone would flag is asked, however little the evidence bears it out.
        none_out = cable.cpc == "none_comes_out" and declared.cpc_expected
        findings += own if all_asked else asked(own, cable.evidence, (CUT,) if none_out else ())
        if cable.once and cable.evidence is not None:  # no person has marked it
            findings = [_doubted(f) if f.of == cable.id else f for f in findings]
    return cables, cpcs, findings


def _of_ends(seen: Seen, settings: Settings) -> tuple[list[EndRecord], list[FindingRecord]]:
    """The cores' ends, and what is found at them."""
    full, size = seen.image.scale, (seen.photo.width, seen.photo.height)
    ends: list[EndRecord] = []
    findings: list[FindingRecord] = []
    for k, tip in enumerate(seen.readings.tips, 1):
        end = f"e{k}"
        ends.append(end_record(tip, end, seen.scale, full, size))
        if no_end(tip):
            continue
        copper = copper_finding(tip, end, seen.scale, full, size, settings, seen.materials.step)
        if copper is None:
            continue
        # The trees learned from what can be seen: what lies hidden they can't rule out.
        hidden = tip.ends_at == "hidden"
        if hidden or not seen.usability.usable or asked([copper], tip.evidence):
            copper = _once(copper, tip.evidence)
            once = tip.once and tip.evidence is not None
            findings.append(_doubted(copper) if once else copper)
    return ends, findings


def record_of(seen: Seen, settings: Settings, declared: Declared, name: str) -> LookRecord:
    """Turn what was seen into the record of the contract.

    A photo that can't be judged keeps its flags (they were seen), while every
    other answer of it becomes `unsure`.
    """
    size = (seen.photo.width, seen.photo.height)
    bare = adopted(seen.readings, seen.scale, seen.image.scale)
    cables, cpcs, findings = _of_cables(seen, settings, declared, bare)
    ends, more = _of_ends(seen, settings)
    shown = shown_of(seen.spots, declared, seen.readings, seen.image.scale, size)
    read = [*findings, *more]
    read += bare_findings(seen.bare, read, seen.image.scale, size)
    findings = doubted(read, shown, seen.scale.px_per_mm)
    # Where a clear answer was put in doubt the spot is told of as well: it may be the next cable's.
    kept = [f for f, was in zip(findings, read, strict=True) if f is was]
    findings += spot_findings(shown, kept, seen.scale.px_per_mm)
    findings += _core_colours(seen)
    if not seen.usability.usable:
        findings = [_weakened(f, seen.usability.reasons) for f in findings]
    return LookRecord(
        photo=name,
        sha256=seen.photo.sha256,
        size_px=size,
        outcome="read" if seen.usability.usable else "retake",
        usable=seen.usability.usable,
        reasons=(*seen.usability.reasons, *seen.scale.notes),
        card=_card(seen.card),
        scale=_scale(seen.scale),
        cables=tuple(cables),
        ends=tuple(ends),
        cpc=tuple(cpcs),
        findings=tuple(findings),
        label=seen.card.label,
        taken=seen.photo.taken.isoformat() if seen.photo.taken else None,
        quality=seen.usability.figures,
    )


def _once(finding: FindingRecord, evidence: F32 | None) -> FindingRecord:
    """With the reason told where one more look is all that a flag lacks."""
    if finding.state == "unsure" and by_one_look(evidence, finding.check, finding.score):
        return finding.model_copy(update={"why": ONCE})
    return finding


def _doubted(finding: FindingRecord) -> FindingRecord:
    """A finding of what the second look alone has seen: nothing is called clear by it, and flagged only what is
    so likely that one look is enough (`audit.measure.verdicts.ONE_LOOK_AT`); a CPC never."""
    if finding.state == "flag" and finding.check in (*CABLE_CHECKS, COPPER_CHECK):
        return finding
    return finding.model_copy(update={"state": "unsure", "why": ONCE})


def _weakened(finding: FindingRecord, reasons: tuple[str, ...]) -> FindingRecord:
    if finding.state == "flag":
        return finding
    return finding.model_copy(
        update={"state": "unsure", "why": f"this photo can't be judged: {reasons[0]}"}
    )


def _card(card: CardSight) -> CardRecord:
    corners = None
    if card.found and card.corners_px is not None:
        a, b, c, d = ((round(float(x), 1), round(float(y), 1)) for x, y in card.corners_px)
        corners = (a, b, c, d)
    return CardRecord(found=card.found, corners_px=corners, lost_at=card.lost_at)


def _scale(scale: WorkScale) -> ScaleRecord:
    depth = None
    if scale.depth_mm is not None and scale.depth_u95_mm is not None:
        depth = Depth(value=round(scale.depth_mm, 1), u95=round(scale.depth_u95_mm, 1))
    return ScaleRecord(
        px_per_mm=None if scale.px_per_mm is None else round(scale.px_per_mm, 3),
        u95_rel=None if scale.u95_rel is None else round(scale.u95_rel, 4),
        depth_mm=depth,
        source=scale.source,
    )
