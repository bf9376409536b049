"""The ribbon: a cable's reading drawn as a strip to scale, as SVG.

Lines and words are in `currentColor`, so that the drawing follows the page's
light or dark colours and is black where it stands alone.
"""

from __future__ import annotations

import math
from html import escape

from audit.measure.contract import CableRecord, Length, SegmentRecord
from audit.report.lanes import CROSSED, Placed, Strip, lay_out

PX_PER_MM = 11.0
"""Drawing units a mm."""
_WIDEST = 960.0
"""A long cable is drawn smaller, so that its ribbon fits the page."""
_NARROWEST = 300.0
"""A short cable's drawing is as wide as pages show one at least: stretched, its scale and words would grow."""
_WORDS_APART = 110.0
"""From the start of the word at one end to the end of that at the other, at least."""
_LANE = 18.0
_TOP = 44.0
_SIDE = 18.0
_FONT = 12.5
_COLOURS = {
    "brown": "#6b3f23",
    "blue": "#2f6db5",
    "black": "#1f1f21",
    "grey": "#8b9096",
    "white": "#f3f2ec",
    "red": "#b0272d",
    "bare": "#c47a43",
}
_LEAST_SHOWN = {"mm": 25.0, "px": 1.0, "order": 1.0}
_WORDS = {
    "core": "core",
    "sleeve": "sleeving",
    "copper": "copper",
    "terminal": "terminal",
    "hidden": "hidden",
    "sheath": "sheath",
    "wall": "wall",
    "grip": "grip",
}


def in_words(cable: CableRecord) -> str:
    """The reading as one line of text, outside to inside.

    Parameters
    ----------
    cable : CableRecord

    Returns
    -------
    str
        For instance "grey sheath 14.2 mm, grip 6.0 mm, brown core 20.1 mm".
    """
    if not cable.reading:
        return "nothing was read along this cable"
    return ", ".join(_segment_words(s) for s in cable.reading)


def _segment_words(segment: SegmentRecord) -> str:
    colour = f"{segment.colour} " if segment.colour and segment.what != "copper" else ""
    length = ""
    if segment.from_mm is not None and segment.to_mm is not None:
        length = f" {abs(segment.to_mm - segment.from_mm):.1f} mm"
    return f"{colour}{_WORDS[segment.what]}{length}"


def length_words(length: Length) -> str:
    """A length as a person reads it: value ± U, and whether it is a bound; a known one has no U."""
    bound = {"exact": "", "at_least": "at least ", "at_most": "at most "}[length.bound]
    spread = f" ± {length.u95:.1f}" if length.u95 else ""
    return f"{bound}{length.value:.1f}{spread} mm".replace("-", "−")


def ribbon_svg(cable: CableRecord, identity: str) -> str:
    """Draw one cable's ribbon.

    Parameters
    ----------
    cable : CableRecord
    identity : str
        Distinguishes this drawing's patterns from others on the page; letters,
        digits and hyphens.

    Returns
    -------
    str
        An `<svg>` element; empty when nothing was read along the cable.
    """
    strip = lay_out(cable)
    if strip is None:
        return ""
    scale = _scale(strip)
    band = max(2, strip.lanes) * _LANE
    drawing = _Drawing(strip, scale, band, identity, cable.sheath)
    numbered = tuple(enumerate(strip.placed))
    body = [_one(n, drawing.segment(p)) for n, p in numbered if p.segment.what not in CROSSED]
    body += [_one(n, drawing.crossed(p)) for n, p in numbered if p.segment.what in CROSSED]
    marks, low = drawing.dimensions(cable)
    axis, low = drawing.axis(low)
    width = max(drawing.right, _NARROWEST)
    label = f"Ribbon of cable {cable.id}: {in_words(cable)}"
    return (
        f'<svg class="ribbon" xmlns="http://www.w3.org/2000/svg" role="img" '
        f'viewBox="0 0 {width:.1f} {low:.1f}" width="{width:.0f}" height="{low:.0f}" '
        f'font-family="system-ui, sans-serif" font-size="{_FONT}">'
        f"<title>{escape(label)}</title>{_patterns(identity)}"
        f"{''.join(body)}{drawing.cut()}{''.join(marks)}{axis}</svg>"
    )


def _one(number: int, drawn: str) -> str:
    """A segment by its place in the reading, so that a page can link it with the photo."""
    return f'<g class="seg" data-seg="{number}">{drawn}</g>'


def _scale(strip: Strip) -> float:
    if strip.unit == "mm":
        return min(PX_PER_MM, _WIDEST / max(strip.stop - strip.start, 1.0))
    return 600.0 / max(strip.stop - strip.start, _LEAST_SHOWN[strip.unit])


def _patterns(identity: str) -> str:
    return (
        f'<defs><pattern id="{identity}-gy" width="8" height="8" patternUnits="userSpaceOnUse" '
        'patternTransform="rotate(35)"><rect width="8" height="8" fill="#e8cf2a"/>'
        '<rect width="4" height="8" fill="#2f8a43"/></pattern>'
        f'<pattern id="{identity}-metal" width="6" height="6" patternUnits="userSpaceOnUse" '
        'patternTransform="rotate(45)"><path d="M0 0V6" stroke="currentColor" stroke-width="1.4" '
        'opacity=".55"/></pattern>'
        f'<pattern id="{identity}-none" width="5" height="5" patternUnits="userSpaceOnUse">'
        '<circle cx="1.5" cy="1.5" r=".9" fill="currentColor" opacity=".5"/></pattern></defs>'
    )


class _Drawing:
    """Turns places along the strip into elements."""

    def __init__(self, strip: Strip, scale: float, band: float, identity: str, sheath: str) -> None:
        self._sheath = sheath
        self._strip = strip
        self._scale = scale
        self._band = band
        self._id = identity
        self.right = self.x(strip.stop) + _SIDE

    def x(self, along: float) -> float:
        return _SIDE + (along - self._strip.start) * self._scale

    def _fill(self, segment: SegmentRecord) -> str:
        if segment.what == "copper":
            return _COLOURS["bare"]
        if segment.what == "terminal":
            return f"url(#{self._id}-metal)"
        if segment.what == "hidden":
            return f"url(#{self._id}-none)"
        if segment.colour == "green-and-yellow" or (
            segment.what == "sleeve" and segment.colour is None
        ):
            return f"url(#{self._id}-gy)"
        colour = segment.colour or (self._sheath if segment.what == "sheath" else None)
        return _COLOURS.get(str(colour), f"url(#{self._id}-none)")

    def segment(self, placed: Placed) -> str:
        """A sheath fills the band; a core is a thinner strip in its lane, copper thinner still."""
        what = placed.segment.what
        x, width = self.x(placed.start), max(0.8, (placed.stop - placed.start) * self._scale)
        if placed.lane is None:
            top, height = _TOP, self._band
        else:
            share = {"copper": 0.4, "terminal": 0.95, "sleeve": 0.8}.get(what, 0.68)
            pitch = self._band / self._strip.lanes
            height = min(pitch, _LANE) * share
            top = _TOP + pitch * (placed.lane + 0.5) - height / 2
        dash = ' stroke-dasharray="3 2"' if what == "hidden" else ""
        return (
            f'<rect x="{x:.1f}" y="{top:.1f}" width="{width:.1f}" height="{height:.1f}" '
            f'fill="{self._fill(placed.segment)}" stroke="currentColor" stroke-width=".8"{dash}>'
            f"<title>{escape(_segment_words(placed.segment))}</title></rect>"
        )

    def cut(self) -> str:
        """The sign that the cable goes on: a broken edge."""
        if not self._strip.cut:
            return ""
        x, steps = self.x(self._strip.start), 4
        step = self._band / steps
        zigzag = "".join(f"l{5 if n % 2 else -5} {step:.1f}" for n in range(steps))
        return (
            f'<path d="M{x + 2:.1f} {_TOP:.1f}{zigzag}" fill="none" stroke="currentColor" '
            'stroke-width="3"/>'
        )

    def crossed(self, placed: Placed) -> str:
        """Wall and grip: an open frame; what lies under it is dotted, as everything hidden is."""
        a, b = self.x(placed.start), self.x(placed.stop)
        top, low = _TOP - 7, _TOP + self._band + 7
        middle = (a + b) / 2
        name = _WORDS[placed.segment.what]
        weight = 2.4 if placed.segment.what == "wall" else 1.5
        return (
            f'<rect x="{a:.1f}" y="{_TOP:.1f}" width="{b - a:.1f}" height="{self._band:.1f}" '
            f'fill="url(#{self._id}-none)"/>'
            f'<path d="M{a:.1f} {top:.1f}V{low:.1f}M{b:.1f} {top:.1f}V{low:.1f}'
            f'M{a:.1f} {top:.1f}H{b:.1f}M{a:.1f} {low:.1f}H{b:.1f}" fill="none" '
            f'stroke="currentColor" stroke-width="{weight}"/>'
            f'<text x="{middle:.1f}" y="{top - 6 - (13 if name == "wall" else 0):.1f}" '
            f'text-anchor="middle" fill="currentColor">{name}</text>'
        )

    def dimensions(self, cable: CableRecord) -> tuple[list[str], float]:
        """Dimension lines under the strip, as on a working drawing."""
        y = _TOP + self._band + 24
        parts: list[str] = []
        if self._strip.unit != "mm":
            return parts, y
        grip = self._extent("grip")
        entered = self._extent("wall")
        if entered is None and cable.core_outside_enclosure_mm == cable.core_outside_grip_mm:
            entered = grip  # it sits at the wall: both begin in one place
        for words, length, edge in (
            ("core outside the grip", cable.core_outside_grip_mm, grip and grip[0]),
            ("core outside the enclosure", cable.core_outside_enclosure_mm, entered and entered[0]),
        ):
            if length is not None and length.value > 0 and edge is not None:
                parts.append(self._dimension(edge - length.value, edge, y, words, length))
                y += 26
        past = cable.sheath_past_grip_mm
        if past is not None and grip is not None and past.value > 0:
            line = self._dimension(grip[1], grip[1] + past.value, y, "sheath past the grip", past)
            parts.append(line)
            y += 26
        return parts, y

    def _extent(self, what: str) -> tuple[float, float] | None:
        spans = [(p.start, p.stop) for p in self._strip.placed if p.segment.what == what]
        return spans[0] if spans else None

    def _dimension(self, start: float, stop: float, y: float, words: str, length: Length) -> str:
        a, b = self.x(start), self.x(stop)
        text = f"{words} {length_words(length)}"
        self.right = max(self.right, b + 7 + _FONT * 0.55 * len(text))
        return (
            f'<path d="M{a:.1f} {y:.1f}H{b:.1f}M{a:.1f} {y - 5:.1f}v10M{b:.1f} {y - 5:.1f}v10" '
            'stroke="currentColor" stroke-width="1.3" fill="none"/>'
            f'<text x="{b + 7:.1f}" y="{y + 4:.1f}" fill="currentColor">{escape(text)}</text>'
        )

    def axis(self, y: float) -> tuple[str, float]:
        """The scale under the strip: a tick each mm, a figure every 10 mm; and the direction."""
        left, right = self.x(self._strip.start), self.x(self._strip.stop)
        y += 6
        ends = (
            f'<text x="{left:.1f}" y="{y + 34:.1f}" fill="currentColor">outside</text>'
            f'<text x="{max(right, left + _WORDS_APART):.1f}" y="{y + 34:.1f}" '
            'text-anchor="end" fill="currentColor">'
            "inside</text>"
        )
        if self._strip.unit != "mm":
            middle = (left + right) / 2
            note = f'<text x="{middle:.1f}" y="{y + 12:.1f}" text-anchor="middle" '
            return f'{note}fill="currentColor">not to scale: no mm known</text>{ends}', y + 40
        first, last = math.ceil(self._strip.start), math.floor(self._strip.stop)
        ticks = "".join(
            f"M{self.x(n):.1f} {y:.1f}v{9 if n % 10 == 0 else 6 if n % 5 == 0 else 3}"
            for n in range(first, last + 1)
        )
        figures = "".join(
            f'<text x="{self.x(n):.1f}" y="{y + 19:.1f}" text-anchor="middle" font-size="10" '
            f'fill="currentColor">{str(n).replace("-", "−")}{" mm" if n == 0 else ""}</text>'
            for n in range(first, last + 1)
            if n % 10 == 0
        )
        line = (
            f'<path d="M{left:.1f} {y:.1f}H{right:.1f}{ticks}" stroke="currentColor" '
            'stroke-width=".8" fill="none"/>'
        )
        return f"{line}{figures}{ends}", y + 40
