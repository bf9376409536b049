"""The stages of seeing that no mark and no declared fact changes: a photo is looked at twice, at two scales."""

from __future__ import annotations

from dataclasses import dataclass, replace

from audit.card.colour import fit_colour
from audit.card.find import find_card
from audit.card.types import CardSight
from audit.measure.likely import likely, likely_together
from audit.measure.told_once import told_once
from audit.measure.two_looks import both
from audit.photo.types import Photo
from audit.sight.analysis import analysis_image
from audit.sight.crossings import Tell, told_along
from audit.sight.grips import lay_card
from audit.sight.joint_map import Tell as TellMap
from audit.sight.joint_map import joint_map
from audit.sight.laid_bare import BarePiece, bare_pieces
from audit.sight.materials import coarse_map, forest_probability, material_map
from audit.sight.near_told import two_scales
from audit.sight.nearness import Nearness
from audit.sight.readings import read_cables
from audit.sight.relook import look_again
from audit.sight.spots import Spot, spots_of
from audit.sight.strands import find_strands
from audit.sight.types import AnalysisImage, MaterialMap, Readings, Strands


@dataclass(frozen=True)
class Unmarked:
    """The stages that no mark and no declared fact changes; they take nearly all of the time."""

    card: CardSight
    image: AnalysisImage
    materials: MaterialMap
    """Where the photo was looked at twice, of what both looks saw (`audit.sight.joint_map`)."""
    strands: Strands
    readings: Readings
    """What is told of (`audit.measure.likely`, `audit.measure.told_once`)."""
    every: Readings
    """With what is passed over: scale and refusal were fitted on all that is found."""
    spots: tuple[Spot, ...] = ()
    """What looks like a fault, whether or not a cable was followed to it."""
    bare: tuple[BarePiece, ...] = ()
    """Copper along cores, between their insulation."""
    gauged: Strands | None = None
    """By which scale and refusal go; None: by `strands`."""


def first_seen(photo: Photo) -> tuple[CardSight, AnalysisImage, MaterialMap]:
    """The card, the picture that is analysed and the first map of it, before any strand is sought."""
    card, image = pictured(photo)
    coarse = coarse_map(image)
    scales = two_scales(coarse)
    return card, image, _mapped(card, image, coarse, scales and scales[0])


def pictured(photo: Photo) -> tuple[CardSight, AnalysisImage]:
    """The site card in a photo, and the picture that is analysed."""
    card = find_card(photo)
    colour = fit_colour(photo, card)
    gains = None
    if colour.method != "none" and colour.confidence > 0.4:
        r, g, b = (float(v) for v in colour.gains)
        gains = (r, g, b)
    return card, analysis_image(photo.rgb, gains)


def _mapped(
    card: CardSight, image: AnalysisImage, coarse: MaterialMap, near: Nearness | None
) -> MaterialMap:
    found = material_map(image, coarse, near)
    return lay_card(found, card, image.scale * found.step)


def unmarked(photo: Photo, tell: Tell = told_along) -> Unmarked:
    """Run the stages that come before marks; `tell` as `read_cables` takes it.

    The photo is looked at twice, at two scales (`audit.sight.near_told.two_scales`), and a third reading is made of
    what both maps say together. What is handed on is of that reading, but for cables and ends that one of the looks
    alone has seen; scale and refusal go by the first look.
    """
    card, image = pictured(photo)
    coarse = coarse_map(image)
    scales = two_scales(coarse)
    first = _read(card, image, coarse, scales and scales[0], tell)
    if scales is None:
        return replace(first, readings=_told(first))
    second = _read(card, image, coarse, scales[1], tell)
    joint = joined(first, second, tell)
    told = _told(joint)
    for look in (first, second):
        told = both(told, _told(look))
    told = told_once(likely_together(told))
    maps = (first.materials, second.materials, joint.materials)
    bare = bare_pieces(joint.materials, first.materials, second.materials)
    return replace(joint, readings=told, every=first.every, spots=spots_of(image, *maps), bare=bare)


def _told(look: Unmarked) -> Readings:
    """What is told of what one look found: what is likely there, each cable once."""
    return told_once(likely(look.readings))


def joined(
    first: Unmarked, second: Unmarked, tell: Tell = told_along, by: TellMap = forest_probability
) -> Unmarked:
    """What is read of both looks' maps together; `by` stands in for the stored trees that join them."""
    materials = joint_map(first.image, first.materials, second.materials, by)
    strands, materials = find_strands(materials, first.image)
    readings = read_cables(first.image, materials, strands, tell)
    return replace(
        first, materials=materials, strands=strands, readings=readings, every=readings,
        gauged=first.strands,
    )  # fmt: skip


def looked_once(photo: Photo, which: int = 0, tell: Tell = told_along) -> Unmarked:
    """One of the two looks alone, with all that it found: what trees learn from."""
    card, image = pictured(photo)
    coarse = coarse_map(image)
    scales = two_scales(coarse)
    return _read(card, image, coarse, scales and scales[which], tell)


def _read(
    card: CardSight,
    image: AnalysisImage,
    coarse: MaterialMap,
    near: Nearness | None,
    tell: Tell,
) -> Unmarked:
    """One look: map, strands, a second telling along them, and what is read of that."""
    rough, materials = find_strands(_mapped(card, image, coarse, near), image)
    strands, materials = find_strands(look_again(materials, image, rough), image)
    # Widths and refusal limits are of the first strands: the second telling pinches their ends.
    readings = read_cables(image, materials, strands, tell)
    return Unmarked(card, image, materials, rough, readings, readings)
