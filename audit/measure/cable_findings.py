"""The two questions of a cable: cores outside the enclosure, cores outside the grip."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from audit.measure.boxes import box_round, cable_box, doubt_box, near_box, part_of, points
from audit.measure.contract import (
    Box,
    CableRecord,
    CheckId,
    EntryRecord,
    FindingRecord,
    Length,
    Point,
    SegmentRecord,
    State,
)
from audit.measure.decide import decide, exceed_probability
from audit.measure.lengths import PixelLength, spread, to_mm
from audit.measure.scale import WorkScale
from audit.measure.verdicts import (
    CLEAR_AT,
    ONE_LOOK_AT,
    UNMEASURED_AT,
    fault_probability,
    looks_of,
    weigh,
)
from audit.settings import Settings
from audit.sight.types import CableReading, Line, Tip

MODEL_SD_MM = 1.5
"""Standard uncertainty of a found line of the grip, mm."""
WALL_SD_MM = 3.0
"""Standard uncertainty of a found wall line, mm: half of its height hides the wall's foot, and rims
differ. Both are how far such lines were off where maps and lines were told by forests that never saw the
photo (renders of the scenes that the forests are fitted on, and sample_images/bench/tune)."""


def _between(cable: CableReading, line: Line, scale: WorkScale, full_scale: float) -> Length | None:
    """Signed length from the sheath's edge to a line further in, mm: positive is core outside."""
    if cable.edge is None or scale.px_per_mm is None or scale.u95_rel is None:
        return None
    parts = [line.sd * full_scale]
    if line.origin != "mark":
        parts.append((WALL_SD_MM if line is cable.wall else MODEL_SD_MM) * scale.px_per_mm)
    read = _read(cable, line)
    parts.append(spread(read) * full_scale)
    px = float(np.median(read)) * full_scale
    length = PixelLength(px, cable.edge.sd * full_scale, float(np.linalg.norm(parts)))
    return to_mm(length, scale.px_per_mm, scale.u95_rel)


def _read(cable: CableReading, line: Line) -> list[float]:
    """How far before a line the sheath ends by each look at the photo, px.

    What a person has marked stands alone, and an end that is seen is not outvoted by looks that did not see it.
    """
    others = () if cable.evidence is None else cable.others
    looks = (cable, *(c for c in others if c.edge_seen or not cable.edge_seen))
    name = next(n for n in ("wall", "grip_in", "grip_out") if getattr(cable, n) is line)
    read = [(c.edge, getattr(c, name)) for c in looks]
    return [ln.at - edge.at for edge, ln in read if edge is not None and ln is not None]


def _positive(length: Length | None) -> Length | None:
    if length is None:
        return None
    return Length(value=max(0.0, length.value), u95=length.u95, bound=length.bound)


def _lower_bound(cable: CableReading, line: Line, scale: WorkScale, full: float) -> Length | None:
    """No sheath in the picture: at least as much core as is seen before the line."""
    if scale.px_per_mm is None or scale.u95_rel is None:
        return None
    model = WALL_SD_MM if line is cable.wall and line.origin != "mark" else MODEL_SD_MM
    sd = float(np.hypot(line.sd * full, model * scale.px_per_mm))
    seen = PixelLength(line.at * full, 2.0 * full, sd, bound="at_least")
    return to_mm(seen, scale.px_per_mm, scale.u95_rel)


def _outside(
    cable: CableReading, line: Line | None, scale: WorkScale, full: float
) -> Length | None:
    """Length of core before a line, as recorded."""
    if line is None:
        return None
    told = _between if cable.has_sheath else _lower_bound
    return _positive(told(cable, line, scale, full))


_MAKERS_LEAD = "declared as the maker's own lead: the maker's instructions decide"


def cable_finding(
    cable: CableReading,
    check: CheckId,
    scale: WorkScale,
    full: float,
    size: tuple[int, int],
    settings: Settings,
    factory_lead: bool,
    tips: Sequence[Tip] = (),
) -> FindingRecord:
    """Answer one of the two questions for one cable; `tips` are its own ends."""
    enclosure = check == "core-outside-enclosure"
    line = cable.wall if enclosure else cable.grip_out
    inner = cable.wall if enclosure else cable.grip_in
    name = "enclosure's wall" if enclosure else "grip"
    px_mm = (scale.px_per_mm or cable.width * full / 8.0) / full
    told = None if cable.evidence is None else fault_probability(check, cable.evidence)
    state: State = "unsure"
    length, score = None, 0.5 if told is None else told
    doubtful = doubt_box(cable, tips, px_mm, full, size)
    if line is None:
        found = _without_line(cable, check, name, doubtful, told)
        if factory_lead and found.state != "flag":
            return found.model_copy(update={"state": "unsure", "why": _MAKERS_LEAD})
        return found
    if not cable.has_sheath:
        return _without_sheath(cable, check, line, name, scale, full, size, settings, told)
    if cable.edge is None or inner is None:
        box = cable_box(cable, line, False, px_mm, full, size)
        return _made(check, cable, "unsure", box, None, score, "the sheath's end was not found")
    signed = _between(cable, line, scale, full)
    limit = settings.core_limit_mm
    model = (WALL_SD_MM if enclosure and line.origin != "mark" else MODEL_SD_MM) * px_mm
    through = enclosure and _grip_stands_in(cable)
    earned = through or (_plainly_past(cable, inner, model) and line.at > 0.5 * cable.width)
    length = _positive(signed)
    if signed is not None:
        score = exceed_probability(signed, limit) if told is None else told
        state = decide(signed, limit, earned_clear=earned, smallest_seen=None)
    outside = state == "flag" or (signed is not None and signed.value > 0)
    box = cable_box(cable, line, outside, px_mm, full, size)
    if told is not None:
        measured = signed is not None and signed.value > limit
        state = weigh(check, told, state, measured=measured, looks=_looks(cable))
    if state == "unsure" and not outside:
        box = near_box(cable, line, cable.edge, px_mm, full, size)
    why = _THROUGH if state == "clear" and through else _why(state, name, length, cable, limit)
    if factory_lead and state != "flag":
        state, why = "unsure", _MAKERS_LEAD
    return _made(check, cable, state, box, length, score, why)


def _looks(cable: CableReading) -> int:
    return 2 if cable.evidence is None else looks_of(cable.evidence)


def _unmeasured_from(cable: CableReading) -> float:
    return UNMEASURED_AT if _looks(cable) > 1 else max(UNMEASURED_AT, ONE_LOOK_AT)


def _plainly_past(cable: CableReading, inner: Line, model: float) -> bool:
    """Whether the sheath is seen to end further in than a line, by more than U95; `model` in px."""
    if cable.edge is None or not cable.edge_seen or not cable.lead_seen:
        return False
    doubt = 2.0 * float(np.hypot(np.hypot(cable.edge.sd, inner.sd), model))
    return cable.edge.at - inner.at > doubt


def _without_line(
    cable: CableReading, check: CheckId, name: str, box: Box, told: float | None
) -> FindingRecord:
    """Neither wall nor grip was found: unsure, but for a wall that a read grip stands in for."""
    passed = check == "core-outside-enclosure" and _grip_stands_in(cable)
    if passed and (told is None or told <= CLEAR_AT[check]):
        return _made(
            check,
            cable,
            "clear",
            box,
            None,
            0.05 if told is None else told,
            _THROUGH,
        )
    if told is not None and told >= _unmeasured_from(cable) and cable.edge_seen:
        why = f"the sheath's end is seen and cores beyond it that seem to lie outside the {name}; how much could not be measured, the {name} was not made out"
        return _made(check, cable, "flag", box, None, told, why)
    return _made(
        check,
        cable,
        "unsure",
        box,
        None,
        0.5 if told is None else told,
        f"the {name} was not found where this cable crosses it; a photo square to the opened entry, with the {name} and the sheath's end both in it, would settle it",
    )


_THROUGH = "sheath is seen on both sides of the grip, and the grip lies inside the enclosure"


def _grip_stands_in(cable: CableReading) -> bool:
    """Whether sheath is seen on both sides of a grip: what passes the grip has passed the wall."""
    return bool(
        cable.grip_out is not None
        and cable.grip_in is not None
        and cable.edge is not None
        and cable.edge_seen
        and cable.lead_seen
        and cable.edge.at - cable.grip_in.at > cable.edge.sd + 0.15 * cable.width
        and cable.s[0] < cable.grip_out.at - 1.0 * cable.width
        and (cable.wall is None or cable.wall.at <= cable.grip_in.at)
    )


def _without_sheath(
    cable: CableReading,
    check: CheckId,
    line: Line,
    name: str,
    scale: WorkScale,
    full: float,
    size: tuple[int, int],
    settings: Settings,
    told: float | None,
) -> FindingRecord:
    """No sheath in the picture: the cores seen before the line are a lower bound."""
    length = _lower_bound(cable, line, scale, full)
    box = box_round(part_of(cable, 0.0, line.at), cable.width / 2, full, size)
    limit = settings.core_limit_mm
    state: State = "flag" if length and length.value - length.u95 > limit else "unsure"
    why = f"cores are seen before the {name} and no sheath is in the picture"
    score = exceed_probability(length, limit) if length else 0.5
    if told is not None:
        measured = length is not None and length.value > limit
        state, score = weigh(check, told, state, measured=measured, looks=_looks(cable)), told
    return _made(check, cable, state, box, length, score, why)


def _why(state: str, name: str, length: Length | None, cable: CableReading, limit: float) -> str:
    if length is None:
        return f"no scale: the length before the {name} could not be told in mm"
    text = f"{length.value:.1f} ± {length.u95:.1f} mm"
    beyond = length.value - length.u95 > limit
    if state == "flag" and length.value < length.u95:
        return f"cores are likely outside the {name}: the sheath seems to end before it, by up to {length.value + length.u95:.0f} mm; the length is told roughly"
    if state == "flag" and not beyond:
        return f"cores are likely outside the {name}: the sheath seems to end about {text} before it; the length is told roughly"
    if state == "flag":
        return f"the sheath ends {text} before the {name}: cores are seen outside it"
    if state == "clear":
        return f"sheath is seen before and behind the {name}"
    if not cable.edge_seen:
        return "the sheath's end is covered or lies under the grip; a photo from the side of the cable, without moving anything, would settle it"
    if not cable.lead_seen and not beyond:
        return f"what lies before and behind the {name} does not plainly look like one sheath; a photo from the side of the cable, without moving anything, would settle it"
    if beyond:
        return f"the sheath was read to end {text} before the {name}, but the rest of what is seen speaks against it; a photo square to the opened entry would settle it"
    return f"the sheath's end and the {name} lie too close together to tell ({text})"


def _made(
    check: CheckId,
    cable: CableReading,
    state: str,
    box: Box,
    length: Length | None,
    score: float,
    why: str,
) -> FindingRecord:
    return FindingRecord(
        check=check,
        of=cable.id,
        state=state,
        box_px=box,
        value_mm=None if length is None else round(length.value, 2),
        u95_mm=None if length is None else round(length.u95, 2),
        score=round(float(np.clip(score, 0, 1)), 4),
        why=why,
    )


def _line_px(line: Line | None, full: float) -> tuple[Point, Point] | None:
    if line is None:
        return None
    a, b = points(line.points, full)
    return (a, b)


def _line_sd_mm(cable: CableReading, line: Line, mm: float) -> float:
    """Standard uncertainty of a line, mm; `mm` is mm for one px of the analysis picture."""
    if line.origin == "mark":
        return line.sd * mm
    return float(np.hypot(line.sd * mm, WALL_SD_MM if line is cable.wall else MODEL_SD_MM))


def cable_record(
    cable: CableReading, scale: WorkScale, full: float, cores: list[SegmentRecord]
) -> CableRecord:
    """One cable in the words of the contract."""
    grip = None
    if cable.grip_out is not None and cable.grip_in is not None:
        a, b = points(cable.grip_out.points, full)
        d, c = points(cable.grip_in.points, full)
        grip = (a, b, c, d)
    mm = None if scale.px_per_mm is None else full / scale.px_per_mm
    zero = cable.wall.at if cable.wall else (cable.edge.at if cable.edge else 0.0)
    reading = [
        SegmentRecord(
            what=what,
            colour=cable.sheath_colour if what == "sheath" else None,
            path_px=points(part_of(cable, a, b)[:: max(1, int((b - a) / 30))], full),
            from_mm=None if mm is None else round((a - zero) * mm, 2),
            to_mm=None if mm is None else round((b - zero) * mm, 2),
        )
        for what, a, b in cable.spans
    ]
    wanted = [ln for ln in (cable.wall, cable.grip_out) if ln is not None]
    lines = max((_line_sd_mm(cable, ln, mm) for ln in wanted), default=None) if mm else None
    marked = any(ln.origin == "mark" for ln in wanted)
    past = _between(cable, cable.grip_in, scale, full) if cable.grip_in else None
    if past is not None:
        past = Length(value=-past.value, u95=past.u95, bound=past.bound)
    return CableRecord(
        id=cable.id,
        one_look=_looks(cable) == 1,
        sheath=cable.sheath_colour,
        entry=EntryRecord(
            kind=cable.kind,
            origin="mark" if marked else ("found" if wanted else "none"),
            wall_px=_line_px(cable.wall, full),
            grip_px=grip,
            u95_mm=None if lines is None else round(2 * lines, 2),
        ),
        sheath_edge_px=_line_px(cable.edge, full) if cable.edge_seen else None,
        sheath_past_grip_mm=past if cable.edge_seen else None,
        core_outside_grip_mm=_outside(cable, cable.grip_out, scale, full),
        core_outside_enclosure_mm=_outside(cable, cable.wall, scale, full),
        reading=tuple(reading + cores),
    )
