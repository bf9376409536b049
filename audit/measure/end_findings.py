"""The question of a core's end: copper beyond the terminal."""

from __future__ import annotations

import numpy as np

from audit.measure.boxes import box_round, points
from audit.measure.contract import (
    Bound,
    CheckId,
    EndRecord,
    FindingRecord,
    Length,
    SegmentRecord,
)
from audit.measure.decide import decide, exceed_probability
from audit.measure.lengths import PixelLength, spread, to_mm
from audit.measure.scale import WorkScale
from audit.measure.verdicts import fault_probability, looks_of, weigh
from audit.settings import Settings
from audit.sight.types import Tip

CHECK: CheckId = "copper-beyond-terminal"
MODEL_SD_MM, MODEL_SD_SHARE = 0.9, 0.3
"""Standard uncertainty of a length of copper that was seen, mm, and as a share of it: how far such
readings were off on photos whose maps were made by forests that never saw them (86 % within U95 of 365;
sample_images/bench/tune and renders of the same scenes as the forests'). Glints, shadows and a core's
cut end are taken for copper, and copper in the shade is not."""


def copper_length(tip: Tip, scale: WorkScale, full: float) -> Length | None:
    """Bare copper between the insulation's end and the terminal, mm."""
    if scale.px_per_mm is None or scale.u95_rel is None:
        return None
    sd = tip.copper_sd * full / np.sqrt(2)
    read = _read(tip)
    px = float(np.median(read))
    if tip.evidence is not None and px > 0:
        # Where a person marked the end, or none was seen, the reading is not in doubt this way.
        mm = px * full / scale.px_per_mm
        model = float(np.hypot(MODEL_SD_MM, MODEL_SD_SHARE * mm)) * scale.px_per_mm
        sd = float(np.hypot(sd, model / np.sqrt(2)))
    sd = float(np.hypot(sd, spread(read) * full / np.sqrt(2)))
    bound: Bound = "exact" if tip.ends_at in ("terminal", "open") else "at_least"
    return to_mm(
        PixelLength(px * full, sd, sd, bound=bound),
        scale.px_per_mm,
        scale.u95_rel,
    )


def _read(tip: Tip) -> list[float]:
    """Length of copper beyond an insulated end by each look at the photo, px; what a person has marked stands alone."""
    others = () if tip.evidence is None else tip.others
    return [tip.copper_px, *(t.copper_px for t in others if t.colour != "bare")]


def end_record(
    tip: Tip, name: str, scale: WorkScale, full: float, size: tuple[int, int]
) -> EndRecord:
    """One core's end in the words of the contract."""
    at = tip.copper_path[-1]
    return EndRecord(
        id=name,
        cable=tip.cable,
        colour=tip.colour,
        ends_at=tip.ends_at,
        at_px=points(at[None], full)[0],
        box_px=_box(tip, scale, full, size),
        copper_mm=copper_length(tip, scale, full) if tip.colour != "bare" else None,
    )


def _box(
    tip: Tip, scale: WorkScale, full: float, size: tuple[int, int]
) -> tuple[float, float, float, float]:
    if tip.copper_px > 0:
        return box_round(tip.copper_path, tip.width / 2, full, size)
    mm = (scale.px_per_mm or tip.width * full / 2.65) / full
    tail = tip.path[-max(2, int(_BACK_MM * mm / 2)) :]
    # Copper that was not made out would lie ahead of the core's end.
    way = tail[-1] - tail[0]
    ahead = tail[-1] + way / max(float(np.hypot(*way)), 1e-9) * _AHEAD_MM * mm
    return box_round(np.concatenate([tail, ahead[None]]), tip.width / 2, full, size)


_BACK_MM, _AHEAD_MM = 1.5, 3.0
"""How far before and beyond a core's end is shown where no copper was made out, mm."""


def copper_finding(
    tip: Tip,
    name: str,
    scale: WorkScale,
    full: float,
    size: tuple[int, int],
    settings: Settings,
    step: float,
) -> FindingRecord | None:
    """Copper beyond the terminal, for one insulated core's end; None for ends of another kind.

    A core that leaves the picture has no end to ask of, but copper seen where it does is flagged or doubted.

    `step` is px of the analysis picture for one px of the map: what is shorter
    than two of the map (where the evidence is weighed, than one) was never to be
    seen, and clear would be said blindly.
    """
    leaves = tip.ends_at == "leaves_picture"
    if tip.colour == "bare" or (leaves and tip.copper_px <= 0):
        return None
    length = copper_length(tip, scale, full)
    limit = settings.copper_limit_mm
    box = _box(tip, scale, full, size)
    smallest = None
    if scale.px_per_mm and length is not None:
        # Two map pixels in a row are the least that is taken for copper; the evidence
        # looks finer than that along the line.
        pixels = 2.0 if tip.evidence is None else 1.0
        smallest = pixels * step * full / scale.px_per_mm
    earned = tip.ends_at == "terminal" and tip.mouth_seen and tip.copper_px == 0
    if tip.evidence is not None:
        # On scraps of some other thing the trees rightly find no copper; that clears no core's end.
        earned = earned and tip.cable is not None and _plain_end(tip)
    state = decide(length, limit, earned_clear=earned, smallest_seen=smallest)
    score = 0.5 if length is None else exceed_probability(length, limit)
    if tip.evidence is not None:
        score = fault_probability(CHECK, tip.evidence)
        measured = length is not None and length.value > limit
        state = weigh(CHECK, score, state, measured=measured, looks=looks_of(tip.evidence))
    elif tip.colour == "unknown":
        # Metal of a terminal looks like copper: without a core it is shown, not flagged.
        state, score = "unsure", 0.4
    elif not _plain_end(tip):
        # Copper beside something that hides the end may be another conductor's.
        state, score = "unsure", min(max(score, 0.3), 0.6)
    why = _why(tip, state, length, limit)
    return FindingRecord(
        check=CHECK,
        of=name,
        state=state,
        box_px=box,
        value_mm=None if length is None else round(length.value, 2),
        u95_mm=None if length is None else round(length.u95, 2),
        score=round(float(score), 4),
        why=why,
    )


_SHORT, _LONG = 2.5, 8.0
_LONGEST_COPPER = 5.0


def _plain_end(tip: Tip) -> bool:
    """Whether an end was read plainly enough to clear its copper, without evidence to flag it too.

    The bounds (in widths of the core) are of sample_images/bench/tune: stumps of
    a colour that wood, rust or shadow has as well, and ends that something
    hides, were false alarms there more often than not.
    """
    length = float(np.hypot(*np.diff(tip.path, axis=0).T).sum()) / max(tip.width, 1e-6)
    if tip.ends_at == "hidden":
        short = tip.copper_px < _LONGEST_COPPER * tip.width
        return short and tip.confidence > 0.9 and length > 10
    if tip.ends_at != "terminal":
        return False
    own = tip.cable is not None or tip.colour in ("blue", "green-and-yellow") or length > _LONG
    return own and length > _SHORT and tip.colour_score > 0.5


def _why(tip: Tip, state: str, length: Length | None, limit: float) -> str:
    if length is None:
        return "no scale: the length of bare copper could not be told in mm"
    text = f"{length.value:.1f} ± {length.u95:.1f} mm"
    core = "a core that was not made out" if tip.colour == "unknown" else f"the {tip.colour} core"
    if tip.ends_at == "leaves_picture":
        bare = f"{text} of bare copper are seen where {core} leaves the picture"
        if state == "flag":
            return f"{bare}, and that is the least of it; {limit:g} mm is tolerated"
        return f"{bare}; a photo with its terminal in the frame would settle it"
    place = "beyond the terminal" if tip.ends_at == "terminal" else "at the core's end"
    if state == "flag":
        if length.value - length.u95 <= limit:
            # The evidence weighed as a whole flags it, not the length.
            return f"bare copper is likely {place} on {core}: about {text}, more than the {limit:g} mm that are tolerated; its length is told roughly"
        return f"{text} of bare copper {place} on {core}; {limit:g} mm is tolerated"
    if state == "clear":
        return f"the {tip.colour} core's insulation runs to the terminal's mouth"
    if tip.doubt:
        return f"{tip.doubt}; a photo square to the terminal's mouth would settle it"
    if tip.ends_at != "terminal":
        return "no terminal was found at this end; a photo square to the core's end would settle it"
    if length.value - length.u95 > limit:
        return f"{text} of bare copper were read, but the rest of what is seen speaks against it; a photo square to the terminal's mouth would settle it"
    if length.value > 0:
        return f"{text} of bare copper: too close to the limit of {limit:g} mm to tell; a closer photo would settle it"
    if tip.mouth_seen:
        return "no copper was found, but so little as the limit would not be told from none; look at the terminal's mouth"
    return "the terminal's mouth is not seen plainly; a closer photo square to it would settle it"


def core_segments(tip: Tip, mm: float | None, full: float) -> list[SegmentRecord]:
    """Core and copper of one end as segments of its cable's reading."""
    s = np.r_[0.0, np.cumsum(np.hypot(*np.diff(tip.path, axis=0).T))]
    end = float(s[-1])
    step = max(1, len(tip.path) // 40)
    what = "copper" if tip.colour == "bare" else "core"

    def at(v: float) -> float | None:
        return None if mm is None else round(v * mm, 2)

    out = [
        SegmentRecord(
            what=what,
            colour=tip.colour,
            path_px=points(np.concatenate([tip.path[::step], tip.path[-1:]]), full),
            from_mm=at(0.0),
            to_mm=at(end),
        )
    ]
    if tip.copper_px > 0:
        out.append(
            SegmentRecord(
                what="copper",
                path_px=points(tip.copper_path[:: max(1, len(tip.copper_path) // 12)], full),
                from_mm=at(end),
                to_mm=at(end + tip.copper_px),
            )
        )
    if tip.ends_at in ("terminal", "hidden"):
        last = points(tip.copper_path[-1:], full)
        far = at(end + tip.copper_px)
        out.append(SegmentRecord(what=tip.ends_at, path_px=last, from_mm=far, to_mm=far))
    return out
