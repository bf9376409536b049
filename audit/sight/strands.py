"""Strands: cores, sheaths and copper as centre lines with widths."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates

from audit.sight.bends import part_hairpins
from audit.sight.chains import chain
from audit.sight.follow import follow_sheaths
from audit.sight.grips import tell_grips, vote_by_body
from audit.sight.joining import JoinLimits, join
from audit.sight.pairs import lightness, part_pairs
from audit.sight.skeleton import Branch, branches, end_direction
from audit.sight.types import CORES, F32, F64, AnalysisImage, Material, MaterialMap, Strand, Strands

_FITTINGS = {Material.TERMINAL, Material.STEEL, Material.BRASS}
_OCCLUDERS = {Material.GRIP, Material.ENCLOSURE, Material.SHEATH, Material.COPPER, *CORES}


def sample(plane: F32, path: F64) -> F64:
    """Values of a (h, w) plane at points x, y of the map, bilinear."""
    return np.asarray(
        map_coordinates(plane, [path[:, 1], path[:, 0]], order=1, mode="nearest"), np.float64
    )


def material_mask(prob: F32, low: float, high: float, min_area: int) -> NDArray[np.uint8]:
    """Hysteresis mask of one probability plane: pixels over `low` in pieces that reach `high`."""
    weak = (prob > low).astype(np.uint8)
    x, y, w, h = cv2.boundingRect(weak)
    whole = np.zeros_like(weak)
    if w:
        # As with `branches`: what lies round a mask changes nothing in it.
        part = np.s_[max(0, y - 3) : y + h + 3, max(0, x - 3) : x + w + 3]
        whole[part] = _hysteresis(prob[part], weak[part], high, min_area)
    return whole


def _hysteresis(
    prob: F32, weak: NDArray[np.uint8], high: float, min_area: int
) -> NDArray[np.uint8]:
    weak = np.asarray(cv2.morphologyEx(weak, cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8)), np.uint8)
    n, lab, stats, _ = cv2.connectedComponentsWithStats(weak, connectivity=8)
    peak = np.zeros(n, np.float32)
    np.maximum.at(peak, lab.ravel(), prob.ravel())
    keep = (peak >= high) & (stats[:, cv2.CC_STAT_AREA] >= min_area)
    keep[0] = False
    mask = keep[lab].astype(np.uint8)
    return _fill_small_holes(mask)


def _fill_small_holes(mask: NDArray[np.uint8], largest: int = 25) -> NDArray[np.uint8]:
    _n, lab, stats, _ = cv2.connectedComponentsWithStats(1 - mask, connectivity=4)
    small = stats[:, cv2.CC_STAT_AREA] < largest
    small[0] = False
    filled = mask.copy()
    filled[small[lab] & (mask == 0)] = 1
    return filled


class _Gap:
    """What the map says of a gap between two pieces of one strand."""

    def __init__(self, materials: MaterialMap, own: tuple[Material, ...]) -> None:
        self.ids = materials.ids
        self.own = own

    def __call__(self, path: F64, width: float) -> float | None:
        h, w = self.ids.shape
        x = np.clip(np.rint(path[:, 0]).astype(int), 0, w - 1)
        y = np.clip(np.rint(path[:, 1]).astype(int), 0, h - 1)
        seen = self.ids[y, x]
        length = float(np.hypot(*np.diff(path, axis=0).T).sum())
        if length < 0.8 * width:
            return 0.0
        # A core that enters a terminal and another that leaves it are two cores.
        sheath = Material.SHEATH in self.own
        if not sheath and (seen == Material.TERMINAL).mean() > 0.3:
            return None
        hiders = _OCCLUDERS | _FITTINGS if sheath else _OCCLUDERS
        hides = np.isin(seen, [int(m) for m in hiders]) | np.isin(seen, self.own)
        open_length = float((~hides).mean()) * length
        if open_length > 1.6 * width:
            return None
        return 0.8 * open_length / width


def _to_strands(found: list[Branch], material: Material, materials: MaterialMap) -> list[Strand]:
    plane = np.ascontiguousarray(materials.prob[..., material])
    k = materials.step
    out = []
    for b in found:
        score = float(sample(plane, b.path).mean())
        out.append(Strand(material, (b.path + 0.5) * k - 0.5, b.width * k, score))
    return out


def _is_long(b: Branch, ratio: float) -> bool:
    return b.length >= ratio * float(np.median(b.width))


PAIR = 1.45
"""Pieces wider than so many usual widths may be two cores of one colour side by side."""


def _parted(pieces: list[Branch], light: F32 | None, usual: float) -> list[Branch]:
    """Two cores of one colour side by side stay two where a seam is seen between them."""
    if light is None or not usual:
        return pieces
    out: list[Branch] = []
    for b in pieces:
        wide = float(np.median(b.width)) > PAIR * usual
        out += part_pairs(light, [b]) if wide else [b]
    return out


def _usual_width(pieces: list[Branch]) -> float:
    long = [b for b in pieces if b.length > 4 * float(np.median(b.width))]
    return float(np.median(np.concatenate([b.width for b in long]))) if long else 0.0


def core_strands(materials: MaterialMap, light: F32 | None = None) -> list[Strand]:
    """Centre lines of all insulated cores, joined through what hides them.

    Parameters
    ----------
    materials : MaterialMap
    light : (h, w) float32, optional
        Square root of luminance at the scale of the map; with it, cores of one
        colour that touch are parted along their seam.

    Returns
    -------
    list of Strand
    """
    pieces = {}
    for m in CORES:
        plane = np.ascontiguousarray(materials.prob[..., m])
        mask = material_mask(plane, 0.38, 0.6, 20)
        pieces[m] = [b for b in branches(mask) if b.length >= 3]
    usual = _usual_width([b for found in pieces.values() for b in found])
    found: list[Strand] = []
    for m, mine in pieces.items():
        joined = join(_parted(mine, light, usual), JoinLimits(), _Gap(materials, (m,)))
        joined = [b for b in joined if _is_long(b, 1.3)]
        joined = chain(materials, joined, _to_strands(joined, m, materials))
        found += _to_strands(joined, m, materials)
    return _drop_slivers(found)


def _drop_slivers(strands: list[Strand]) -> list[Strand]:
    """Drop strands far thinner or wider than the picture's cores are: edges and patches."""
    good = [s for s in strands if s.length > 5 * np.median(s.width)]
    if not good:
        return strands
    weights = np.concatenate([s.width for s in good])
    usual = float(np.median(weights))
    return [
        s
        for s in strands
        if 0.42 * usual <= np.median(s.width) <= 2.6 * usual
        and s.length >= 1.5 * float(np.median(s.width))
    ]


def sheath_pieces(materials: MaterialMap) -> list[Branch]:
    """Centre lines of sheath before they are joined, px of the map.

    Print, scuffs and highlights leave holes in a sheath's map; they are closed
    before thinning, or the centre line would run round them.
    """
    plane = cv2.GaussianBlur(
        np.ascontiguousarray(materials.prob[..., Material.SHEATH]), (0, 0), 1.5
    )
    mask = material_mask(np.asarray(plane, np.float32), 0.42, 0.65, 120)
    round7 = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (7, 7))
    closed = cv2.morphologyEx(mask, cv2.MORPH_CLOSE, round7)
    filled = _fill_small_holes(np.asarray(closed, np.uint8), 700)
    opened = cv2.morphologyEx(filled, cv2.MORPH_OPEN, round7)
    found = [b for b in branches(np.asarray(opened, np.uint8), spur=2.2) if b.length >= 6]
    return part_hairpins(found)


def sheath_strands(
    materials: MaterialMap, pieces: list[Branch], core_width: float | None
) -> list[Strand]:
    """Join pieces of sheath across the wall and the grip; drop what is too thin to be a cable.

    Parameters
    ----------
    materials : MaterialMap
    pieces : list of Branch
        From `sheath_pieces`.
    core_width : float or None
        Usual width of the cores, px of the analysis picture.
    """
    joined = join(pieces, JoinLimits(gap=3.0, turn_deg=35.0), _Gap(materials, (Material.SHEATH,)))
    found = _to_strands([b for b in joined if _is_long(b, 0.6)], Material.SHEATH, materials)
    if core_width is None:
        return found
    # The least sheath is a flat cable seen on edge: thicker than its cores by twice the sheath.
    return [s for s in found if 1.3 * core_width <= np.median(s.width) <= 7 * core_width]


STUB = 5.0
"""Copper up to so many widths of a core is a stripped end where it starts at a core's end."""


def _is_stub(piece: Branch, cores: list[Strand], step: float) -> bool:
    """Whether a piece of copper carries straight on from the end of an insulated core."""
    for c in cores:
        width = float(np.median(c.width)) / step
        if piece.length > STUB * width:
            continue
        for core_start in (True, False):
            end = (c.path[0 if core_start else -1] + 0.5) / step - 0.5
            out = end_direction(c.path, core_start, 1.8 * width)
            for at_start in (True, False):
                p = piece.path[0 if at_start else -1]
                away = float(np.hypot(*(p - end)))
                onward = float(-(end_direction(piece.path, at_start, 6) @ out))
                if away < width and (onward > 0.5 or piece.length < 1.5 * width):
                    return True
    return False


def copper_pieces(materials: MaterialMap) -> list[Branch]:
    """Centre lines of bare copper that is seen, down to spots of a few pixels, px of the map."""
    plane = np.ascontiguousarray(materials.prob[..., Material.COPPER])
    mask = material_mask(plane, 0.35, 0.5, 4)
    return [b for b in branches(mask, min_length=1.0) if b.length >= 1.5]


def copper_strands(
    materials: MaterialMap, cores: list[Strand], pieces: list[Branch]
) -> list[Strand]:
    """Centre lines of bare copper, joined through what hides it.

    Parameters
    ----------
    materials : MaterialMap
    cores : list of Strand
        Insulated cores; what starts at the end of one is joined with nothing.
    pieces : list of Branch
        From `copper_pieces`.
    """
    stubs = [b for b in pieces if _is_stub(b, cores, materials.step)]
    others = [b for b in pieces if not any(b is s for s in stubs)]
    # A bare conductor is thin: a core that crosses it hides more of its widths than of a core's.
    joined = join(others, JoinLimits(gap=11.0), _Gap(materials, (Material.COPPER,)))
    return _to_strands([*joined, *stubs], Material.COPPER, materials)


def find_strands(
    materials: MaterialMap, image: AnalysisImage | None = None
) -> tuple[Strands, MaterialMap]:
    """All strands of a picture.

    Parameters
    ----------
    materials : MaterialMap
    image : AnalysisImage, optional
        The picture itself; with it, cables that touch are parted along their seam.

    Returns
    -------
    Strands
    MaterialMap
        The map with grips told from terminals by what runs into them.
    """
    pieces = sheath_pieces(materials)
    h, w = materials.prob.shape[:2]
    light = None if image is None else lightness(image.linear, (w, h))
    if light is not None:
        pieces = part_pairs(light, pieces)
    materials = tell_grips(vote_by_body(materials), pieces)
    pieces = follow_sheaths(materials, pieces)
    cores = core_strands(materials, light)
    long = [s for s in cores if s.length > 4 * np.median(s.width)]
    usual = float(np.median([np.median(s.width) for s in long])) if long else None
    copper = copper_pieces(materials)
    strands = Strands(
        cores=tuple(cores),
        sheaths=tuple(sheath_strands(materials, pieces, usual)),
        coppers=tuple(copper_strands(materials, cores, copper)),
        copper_pieces=tuple(_to_strands(copper, Material.COPPER, materials)),
        step=materials.step,
    )
    return strands, materials
